import logging
import time
from typing import Any

from celery import shared_task
from django.utils import timezone

from school.services import consent_ends, endings, inbox, lessons, mailbox, reminders
from school.services.messages import Delivered, deliver_due
from school.services.table_files import forget_old_files
from school.services.yard import lay_out

log = logging.getLogger(__name__)

LONGEST_S = 180
"""Seconds after which a round ends, well before a worker is told to stop."""


@shared_task
def deliver_messages(**unknown: Any) -> None:
    """Send what is due in the outbox, one by one, each by its own clock."""
    done, end = Delivered(), time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        one = deliver_due(now=timezone.now(), limit=1)
        if not one.sent and not one.failed:
            break
        done.sent += one.sent
        done.failed += one.failed
    if done.sent or done.failed:
        log.info("messages: %s sent, %s failed", done.sent, done.failed)


@shared_task
def write_reminders(**unknown: Any) -> None:
    """Write the reminders that are due."""
    now = timezone.now()
    written = reminders.write_reminders(now=now) + endings.write_endings(now=now)
    written += consent_ends.write_consent_ends(now=now)
    if written:
        log.info("reminders: %s written", written)


@shared_task
def finish_lessons(**unknown: Any) -> None:
    """Note the lessons of the days that are over as done."""
    done = lessons.finish_lessons(now=timezone.now())
    if done:
        log.info("lessons: %s done", done)


@shared_task
def read_mailbox(**unknown: Any) -> None:
    """Take the answers that came to the school's mailbox, and forget old ones."""
    now = timezone.now()
    inbox.drop_old_replies(now=now)
    try:
        taken = mailbox.read_mailbox(now=now)
    except mailbox.UnableToRead as error:
        log.warning("%s; it is tried again", error)
        return
    if taken:
        log.info("mailbox: %s mails taken", taken)


@shared_task
def forget_tables(**unknown: Any) -> None:
    """Forget the files of tables whose time is over."""
    forget_old_files(now=timezone.now())


@shared_task
def lay_out_yard_work(**unknown: Any) -> None:
    """Put the weekly work of the ground of the coming weeks in the book."""
    for one in lay_out(now=timezone.now()):
        log.info("%s on %s finds no room: %s", one.rule, one.date, one.says)
