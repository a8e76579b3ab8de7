"""Reads the school's mailbox over IMAP; leaves every mail where it is."""

import imaplib
import logging
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction

from school.calendars.replies import LONGEST_MAIL
from school.models import MailboxMark
from school.services.inbox import take_mail

log = logging.getLogger(__name__)

MOST_AT_ONCE = 50
TIMEOUT_S = 20


class UnableToRead(RuntimeError):
    """The mailbox does not answer as it should; it is tried again later."""


def read_mailbox(*, now: datetime, most: int = MOST_AT_ONCE) -> int:
    """Take what is new in the mailbox; return how many mails were taken.

    How far it was read is kept by the mails' own numbers, which only rise while
    UIDVALIDITY stays (RFC 3501 section 2.3.1.1), so no flag of a mail is needed. A
    crash between two mails takes one again, which is harmless. A mail over the
    limit is not fetched; only its head is.
    """
    if not settings.IMAP_HOST:
        return 0
    with _signed_in() as box:
        validity = _selected(box)
        mark = _mark(validity)
        keys = [one for one in _search(box, mark.last_uid + 1) if one > mark.last_uid]
        for uid in sorted(keys)[:most]:
            raw = _fetch(box, uid)
            if raw is not None:
                take_mail(raw, now=now)
            with transaction.atomic():
                MailboxMark.objects.filter(pk=mark.pk).update(last_uid=uid)
        return min(len(keys), most)


@contextmanager
def _signed_in() -> Iterator[imaplib.IMAP4]:
    try:
        if settings.IMAP_TLS:
            box: imaplib.IMAP4 = imaplib.IMAP4_SSL(
                settings.IMAP_HOST,
                settings.IMAP_PORT,
                ssl_context=ssl.create_default_context(),
                timeout=TIMEOUT_S,
            )
        else:
            box = imaplib.IMAP4(settings.IMAP_HOST, settings.IMAP_PORT, TIMEOUT_S)
        with box:
            box.login(settings.IMAP_USER, settings.IMAP_PASSWORD)
            yield box
    except (imaplib.IMAP4.error, OSError) as error:
        raise UnableToRead(f"the mailbox can't be read: {error}") from error


def _selected(box: imaplib.IMAP4) -> int:
    # Read-only: no mail is marked as seen by being looked at.
    status, data = box.select(f'"{settings.IMAP_FOLDER}"', readonly=True)
    if status != "OK":
        raise UnableToRead(f"there is no folder {settings.IMAP_FOLDER}: {data!r}")
    _, found = box.response("UIDVALIDITY")
    return int(found[0] or 0) if found else 0


def _mark(validity: int) -> MailboxMark:
    """Return how far the mailbox was read; from its start if it was made anew."""
    name = f"{settings.IMAP_USER}@{settings.IMAP_HOST}/{settings.IMAP_FOLDER}"[:200]
    with transaction.atomic():
        mark, _ = MailboxMark.objects.get_or_create(
            mailbox=name, defaults={"uid_validity": validity}
        )
        if mark.uid_validity != validity:
            mark.uid_validity, mark.last_uid = validity, 0
            mark.save()
        return mark


def _search(box: imaplib.IMAP4, first: int) -> list[int]:
    _, data = box.uid("SEARCH", f"UID {first}:*")
    return [int(one) for one in (data[0] or b"").split()]


def _fetch(box: imaplib.IMAP4, uid: int) -> bytes | None:
    """Return a mail's bytes, or of a large one its head and a hint of its size."""
    size = _size(box, uid)
    if size is None:
        return None
    what = "BODY.PEEK[]" if size <= LONGEST_MAIL else "BODY.PEEK[HEADER]"
    _, data = box.uid("FETCH", str(uid), f"({what})")
    raw = next((one[1] for one in data if isinstance(one, tuple)), None)
    if raw is None or size <= LONGEST_MAIL:
        return raw
    # Long enough to be known for too large.
    return bytes(raw[:LONGEST_MAIL]).ljust(LONGEST_MAIL + 1, b"\n")


def _size(box: imaplib.IMAP4, uid: int) -> int | None:
    _, data = box.uid("FETCH", str(uid), "(RFC822.SIZE)")
    text: Any = data[0]
    if not isinstance(text, bytes) or b"RFC822.SIZE" not in text:
        return None
    return int(text.partition(b"RFC822.SIZE ")[2].split(b")")[0].split()[0])
