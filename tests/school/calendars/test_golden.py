"""Every kind of calendar message beside a file of its own, as four readers see it.

Links in texts are signed by each installation's secret, so they are written as LINK.
`GOLDEN=write pytest …/test_golden.py` writes the files anew: look at the difference.
"""

import os
import re
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from uuid import UUID

import pytest
from django.core import mail

from school.models import Invitation, LessonSeries
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson, move_lesson
from school.services.messages import deliver_due
from school.services.series import start_series
from school.services.series_changes import change_series_from
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import LAST_TUESDAY, TUESDAY, plan
from tests.mailserver import calendar_of
from tests.readers.expand import agreed

pytestmark = pytest.mark.django_db

GOLDEN = Path(__file__).with_name("golden")
WEEK = timedelta(days=7)
FOURTH = TUESDAY + 3 * WEEK
YEAR = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(local_bodies="the local federation", phone="555 0100")


def family() -> dict[str, str]:
    return {
        "person__first_name": "Mira",
        "client__person__first_name": "Sam",
        "client__person__email": "sam@example.org",
    }


def named() -> None:
    """Give entries UIDs in the order in which they were made."""
    for n, one in enumerate(Invitation.objects.order_by("pk"), start=1):
        Invitation.objects.filter(pk=one.pk).update(uid=UUID(int=n))


def sent() -> bytes:
    """Send what is due; return the calendar of the last mail."""
    named()
    deliver_due(now=NOW)
    return calendar_of(read(mail.outbox[-1]))


def read(message) -> EmailMessage:

    return message_from_bytes(message.message().as_bytes(), policy=policy.default)


def single():
    riders = {f"rider__{name}": value for name, value in family().items()}
    ride = RideFactory(
        **riders,
        lesson__arena=ArenaFactory(name="Hall"),
        lesson__instructor=InstructorFactory(person__first_name="Ines"),
    )
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride.lesson


def series() -> LessonSeries:
    return start_series(
        plan=plan(),
        first_date=TUESDAY,
        last_date=LAST_TUESDAY,
        skip={TUESDAY + 5 * WEEK: "public holiday"},
        rides=[(RiderFactory(**family()), None)],
        by=None,
        now=NOW,
    )


def move(lesson, clock: str, day) -> None:
    lesson.refresh_from_db()
    move_lesson(
        lesson=lesson,
        starts_at=at(clock, day),
        version=lesson.version,
        by=None,
        now=NOW,
    )


def book() -> bytes:
    single()
    return sent()


def moved() -> bytes:
    lesson = single()
    sent()
    move(lesson, "11:30", lesson.starts_at.date())
    return sent()


def cancelled() -> bytes:
    lesson = single()
    sent()
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)
    return sent()


def weekly() -> bytes:
    series()
    return sent()


def exception() -> bytes:
    one = series()
    sent()
    move(one.lessons.get(series_date=FOURTH), "18:30", FOURTH)
    return sent()


def dropped_day() -> bytes:
    one = series()
    sent()
    lesson = one.lessons.get(series_date=FOURTH)
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)
    return sent()


def whole_with_exceptions() -> bytes:
    one = series()
    move(one.lessons.get(series_date=FOURTH), "18:30", FOURTH)
    return sent()


def split() -> LessonSeries:
    one = series()
    sent()
    change_series_from(
        series=one,
        plan=plan(arena=one.arena, instructor=one.instructor, local_start=time(18)),
        first_date=FOURTH,
        by=None,
        now=NOW,
    )
    return one


def split_begun() -> bytes:
    split()
    return sent()


def split_ended() -> bytes:
    split()
    sent()
    return calendar_of(read(mail.outbox[-2]))


MESSAGES = {
    "book": book,
    "move": moved,
    "cancel": cancelled,
    "series": weekly,
    "series-exception": exception,
    "series-day-dropped": dropped_day,
    "series-with-exception": whole_with_exceptions,
    "series-split-ended": split_ended,
    "series-split-begun": split_begun,
}

OCCURRENCES = {
    "book": ["03-06 08:00"],
    "move": ["03-06 10:30"],
    "series": [
        "03-09 16:00", "03-16 16:00", "03-23 16:00", "03-30 15:00", "04-06 15:00",
        "04-20 15:00", "04-27 15:00", "05-04 15:00", "05-11 15:00",
    ],
    "series-with-exception": [
        "03-09 16:00", "03-16 16:00", "03-23 16:00", "03-30 16:30", "04-06 15:00",
        "04-20 15:00", "04-27 15:00", "05-04 15:00", "05-11 15:00",
    ],
    "series-split-ended": ["03-09 16:00", "03-16 16:00", "03-23 16:00"],
    "series-split-begun": [
        "03-30 16:00", "04-06 16:00", "04-20 16:00", "04-27 16:00", "05-04 16:00",
        "05-11 16:00",
    ],
}  # fmt: skip
"""Starts in UTC, worked out by hand: 17:00 in Amsterdam is 16:00 until 28 March."""


def unfolded(body: bytes) -> str:
    """Return the lines unfolded (RFC 5545 section 3.1), with links written as LINK."""
    text = body.decode().replace("\r\n ", "").replace("\r\n", "\n")
    return re.sub(r"https?://[^\s\\]+/my/[^\s\\]+", "LINK", text)


@pytest.mark.parametrize("name", MESSAGES)
def test_a_message_is_as_its_file_has_it(name: str) -> None:
    path = GOLDEN / f"{name}.ics"
    written = unfolded(MESSAGES[name]())
    if os.environ.get("GOLDEN") == "write":
        path.write_text(written)

    assert written == path.read_text()


@pytest.mark.parametrize("name", OCCURRENCES)
def test_every_reader_sees_the_occurrences_worked_out_by_hand(name: str) -> None:
    body = (GOLDEN / f"{name}.ics").read_text().replace("\n", "\r\n").encode()

    seen = [f"{one.starts_at:%m-%d %H:%M}" for one in agreed(body, *YEAR)]

    assert seen == OCCURRENCES[name]


def test_every_file_belongs_to_a_message() -> None:
    assert {one.stem for one in GOLDEN.iterdir()} == set(MESSAGES)
