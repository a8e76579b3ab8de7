"""A term of weekly lessons over both changes of clocks, a holiday and a half-term.

The clocks of Europe change on the last Sundays of October and March, at 01:00 UTC
(Directive 2000/84/EC): told here by dateutil's rules of recurrence. Easter Monday is
told by dateutil's computation of Easter. The calendar is read by readers that did not
write it.
"""

from datetime import UTC, date, datetime, time, timedelta
from email import message_from_bytes, policy

import pytest
from dateutil.easter import easter
from dateutil.relativedelta import SU, relativedelta
from django.core import mail

from school.enums import HOLDING_STATES, LessonState
from school.models import Client, Lesson, LessonSeries, Term
from school.queries.schools import the_school
from school.queries.terms import breaks_of, days_without_lessons
from school.services.carry_over import carry_over, try_carrying
from school.services.messages import deliver_due
from school.services.series import start_series
from school.services.terms import add_break, set_term
from tests.clock import ZONE, at
from tests.factories.horses import HorseFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan
from tests.mailserver import calendar_of
from tests.readers.expand import Occurrence, agreed

pytestmark = pytest.mark.django_db

NOW = at("12:00", date(2027, 9, 1))
MONDAYS = [date(2027, 10, 4) + timedelta(weeks=n) for n in range(31)]
HALF_TERM = date(2028, 2, 21)
AUTUMN, SPRING = (
    date(year, month, 1) + relativedelta(day=31, weekday=SU(-1))
    for year, month in ((2027, 10), (2028, 3))
)
EASTER_MONDAY = easter(2028) + timedelta(days=1)


@pytest.fixture
def client() -> Client:
    SchoolFactory(country="NL")
    return RiderFactory(person__first_name="Mila").client


def term_with_half_term() -> Term:
    term = set_term(
        name="The long term", first_date=MONDAYS[0], last_date=date(2028, 5, 7),
        by=None, now=NOW,
    )  # fmt: skip
    add_break(
        term=term, name="Half-term", first_date=HALF_TERM,
        last_date=HALF_TERM + timedelta(days=6), by=None, now=NOW,
    )  # fmt: skip
    return term


def booked_for(term: Term, client: Client) -> LessonSeries:
    without = days_without_lessons(the_school(), term)
    return start_series(
        plan=plan(name="Monday group", local_start=time(17)),
        first_date=MONDAYS[0],
        last_date=term.last_date,
        skip={day: without[day] for day in MONDAYS if day in without},
        rides=[(client.riders.get(), HorseFactory())],
        term=term,
        by=None,
        now=NOW,
    )


def lessons(series: LessonSeries) -> list[Lesson]:
    return list(
        series.lessons.filter(state__in=HOLDING_STATES).order_by("starts_at", "pk")
    )


def calendar() -> list[Occurrence]:
    """Return what the readers agree that the newest mail puts into a calendar."""
    deliver_due(now=NOW)
    sent = message_from_bytes(
        mail.outbox[-1].message().as_bytes(), policy=policy.default
    )
    body = calendar_of(sent)
    return agreed(
        body, datetime(2027, 9, 1, tzinfo=UTC), datetime(2028, 9, 1, tzinfo=UTC)
    )


def test_a_term_keeps_the_wall_clock_and_leaves_its_days_out(client: Client) -> None:
    series = booked_for(term_with_half_term(), client)
    booked = lessons(series)

    days = [one.starts_at.astimezone(ZONE).date() for one in booked]
    assert EASTER_MONDAY in MONDAYS
    assert days == [day for day in MONDAYS if day not in {HALF_TERM, EASTER_MONDAY}]
    assert {one.starts_at.astimezone(ZONE).time() for one in booked} == {time(17)}
    # Five in the afternoon is 15:00 UTC in summer, 16:00 UTC in winter.
    for one, day in zip(booked, days, strict=True):
        winter = AUTUMN <= day < SPRING
        assert one.starts_at.astimezone(UTC).hour == (16 if winter else 15)
    assert {AUTUMN, SPRING} & set(MONDAYS) == set()
    assert days[0] < AUTUMN < SPRING < days[-1]


def test_the_calendar_agrees_with_the_rows(client: Client) -> None:
    series = booked_for(term_with_half_term(), client)

    seen = calendar()

    assert [(one.starts_at, one.ends_at) for one in seen] == [
        (one.starts_at, one.ends_at) for one in lessons(series)
    ]
    assert len({one.uid for one in seen}) == 1


def test_a_break_added_after_booking_goes_from_rows_and_calendar(
    client: Client,
) -> None:
    term = term_with_half_term()
    series = booked_for(term, client)
    calendar()

    first = date(2027, 12, 20)
    add_break(
        term=term, name="Christmas", first_date=first,
        last_date=first + timedelta(days=20), by=None, now=NOW,
    )  # fmt: skip
    seen = calendar()

    booked = lessons(series)
    days = {one.starts_at.astimezone(ZONE).date() for one in booked}
    assert not days & set(breaks_of(term))
    assert len(booked) == 31 - 2 - 3
    assert [one.starts_at for one in seen] == [one.starts_at for one in booked]
    cancelled = series.lessons.filter(state=LessonState.CANCELLED)
    assert {one.state_reason for one in cancelled} == {"Christmas"}


def test_the_next_term_goes_on_at_the_same_hour(client: Client) -> None:
    term = term_with_half_term()
    old = booked_for(term, client)
    summer = set_term(
        name="Summer", first_date=date(2028, 5, 8), last_date=date(2028, 7, 2),
        by=None, now=NOW,
    )  # fmt: skip

    (tried,) = try_carrying(old=term, new=summer, by=None, now=NOW)
    (new,) = carry_over(old=term, new=summer, chosen=[old.pk], by=None, now=NOW)

    # Whit Monday is the day after the fiftieth day of Easter.
    whit_monday = easter(2028) + timedelta(days=50)
    booked = lessons(new)
    assert tried.left_out.keys() == {whit_monday}
    assert [one.starts_at.astimezone(ZONE) for one in booked] == [
        at("17:00", day)
        for day in (date(2028, 5, 8) + timedelta(weeks=n) for n in range(8))
        if day != whit_monday
    ]
    assert [one.starts_at for one in calendar()] == [one.starts_at for one in booked]
