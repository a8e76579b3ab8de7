"""An invite that went out and the answer to it, for tests."""

import itertools
from datetime import timedelta

from school.models import Invitation, Reply, Ride
from school.services.inbox import take_mail
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import ClientFactory, RiderFactory
from tests.school.calendars.reply_mails import (
    CLIENT,
    answer_lines,
    calendar_text,
    reply_mail,
)

LATER = NOW + timedelta(minutes=10)
_numbers = itertools.count()


def guardian(**changes):
    return ClientFactory(person__email=CLIENT, person__first_name="Sam", **changes)


def invited(**changes) -> Ride:
    """A place in a lesson whose invite went out."""
    ride = RideFactory(rider=RiderFactory(client=guardian()), **changes)
    lesson_changed(lesson=ride.lesson, now=NOW)
    deliver_due(now=LATER)
    return ride


def answer(partstat: str = "ACCEPTED", *, now=LATER, **changes) -> Reply:
    """Take one answer to the one invitation there is, as a mail of its own."""
    mail = {
        name: changes.pop(name)
        for name in ("sender", "headers", "message_id")
        if name in changes
    }
    method = changes.pop("method", "REPLY")
    uid = str(Invitation.objects.get().uid)
    lines = answer_lines(**({"uid": uid, "partstat": partstat} | changes))
    text = calendar_text([lines], method)
    message_id = mail.pop("message_id", f"<{next(_numbers)}@example.org>")
    raw = reply_mail(text, method=method, message_id=message_id, **mail)
    (reply,) = take_mail(raw, now=now)
    return reply


def kept() -> str:
    return Invitation.objects.get().answer


def booked() -> bool:
    return Ride.objects.get().state == "booked"
