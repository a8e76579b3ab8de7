"""A term of weekly lessons over both changes of clocks, a holiday and a half-term.

The clocks of Europe change on the last Sundays of October and March, at 01:00 UTC
(Directive 2000/84/EC): told here by dateutil's rules of recurrence. Easter Monday is
told by dateutil's computation of Easter. The calendar is read by readers that did not
write it.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from email import message_from_bytes, policy

import pytest
from dateutil.easter import easter
from dateutil.relativedelta import SU, relativedelta
from django.core import mail
from icalendar import Calendar, Component

from school.enums import HOLDING_STATES, LessonState
from school.models import Client, Lesson, LessonSeries, Rider, Term
from school.queries.schools import the_school
from school.queries.terms import breaks_of, days_without_lessons
from school.services.carry_over import carry_over, try_carrying
from school.services.lessons import move_lesson
from school.services.messages import deliver_due
from school.services.rides import cancel_ride
from school.services.series import (
    join_series,
    leave_series,
    skip_days,
    start_series,
)
from school.services.series_changes import change_series_from
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


@dataclass
class Program:
    """A client's calendar program: takes each mail as it comes.

    A REQUEST is the whole entry of its UID or, with a RECURRENCE-ID, one day of it
    (RFC 5546 section 3.2.2); a CANCEL takes away as much (section 3.2.5). What it then
    shows is told by the readers.
    """

    address: str
    read: int = 0
    zones: dict[str, Component] = field(default_factory=dict)
    entries: dict[str, dict[str, Component]] = field(default_factory=dict)

    def shows(self) -> list[Occurrence]:
        """Take what is new in the mailbox, and return what is seen."""
        deliver_due(now=NOW)
        new, self.read = mail.outbox[self.read :], len(mail.outbox)
        for one in new:
            if self.address in one.to:
                sent = message_from_bytes(
                    one.message().as_bytes(), policy=policy.default
                )
                self._take(Calendar.from_ical(calendar_of(sent)))
        whole = Calendar({"version": "2.0", "prodid": "-//test//"})
        for zone in self.zones.values():
            whole.add_component(zone)
        for days in self.entries.values():
            for event in days.values():
                whole.add_component(event)
        return agreed(
            whole.to_ical(),
            datetime(2027, 9, 1, tzinfo=UTC),
            datetime(2029, 1, 1, tzinfo=UTC),
        )

    def _take(self, sent: Component) -> None:
        self.zones |= {str(one["TZID"]): one for one in sent.walk("VTIMEZONE")}
        events = sent.walk("VEVENT")
        for event in events:
            uid, day = str(event["UID"]), event.get("RECURRENCE-ID")
            key = day.dt.isoformat() if day else ""
            days = self.entries.setdefault(uid, {})
            if sent["METHOD"] == "REQUEST":
                if not day:
                    days.clear()
                days[key] = event
            elif not day:
                del self.entries[uid]
            else:
                days.pop(key, None)
                days[""].add("exdate", day.dt)


def ridden(rider: Rider) -> list[tuple[datetime, datetime]]:
    """Return the times for which a rider is booked, by the rows."""
    rides = rider.rides.filter(state="booked", lesson__state__in=HOLDING_STATES)
    times = rides.values_list("lesson__starts_at", "lesson__ends_at")
    return [tuple(one) for one in times.order_by("lesson__starts_at")]


def times(seen: list[Occurrence]) -> list[tuple[datetime, datetime]]:
    return [(one.starts_at, one.ends_at) for one in seen]


def test_all_that_becomes_of_a_term_reaches_the_calendars(client: Client) -> None:
    mila, nele = client.riders.get(), RiderFactory(person__first_name="Nele")
    hers, other = (Program(one.client.person.email) for one in (mila, nele))
    term = term_with_half_term()
    series = booked_for(term, client)
    assert times(hers.shows()) == ridden(mila)

    # One lesson in winter is held later, another is not held, a place given back.
    later, dropped, away = (
        series.lessons.get(series_date=day)
        for day in (date(2027, 11, 8), date(2027, 11, 22), date(2028, 1, 17))
    )
    move_lesson(
        lesson=later, starts_at=at("18:30", date(2027, 11, 8)), version=later.version,
        by=None, now=NOW,
    )  # fmt: skip
    assert times(hers.shows()) == ridden(mila)
    skip_days(series=series, days={dropped.series_date: "a show"}, by=None, now=NOW)
    assert times(hers.shows()) == ridden(mila)
    cancel_ride(ride=away.rides.get(), reason="away", by=None, now=NOW)
    assert times(hers.shows()) == ridden(mila)
    assert len(ridden(mila)) == 31 - 2 - 2

    # From the last winter weeks on an hour later: over the change of clocks.
    new = change_series_from(
        series=series,
        plan=plan(
            name="Monday group", local_start=time(18), arena=series.arena,
            instructor=series.instructor,
        ),
        first_date=date(2028, 3, 13), by=None, now=NOW,
    )  # fmt: skip
    seen = hers.shows()
    assert times(seen) == ridden(mila)
    assert len({one.uid for one in seen}) == 2
    hours = [one.starts_at.hour for one in seen if one.starts_at.month in (3, 4)]
    # 17:00, then 18:00, in winter (UTC+1); 18:00 in summer (UTC+2).
    assert hours == [16, 17, 17, 16, 16, 16, 16]

    # One joins after the change of clocks, the other leaves.
    join_series(
        series=new, rider=nele, horse=None, first_date=date(2028, 3, 27), by=None,
        now=NOW,
    )  # fmt: skip
    leave_series(
        series=new, rider=mila, first_date=date(2028, 4, 24), reason="moves away",
        by=None, now=NOW,
    )  # fmt: skip
    assert times(hers.shows()) == ridden(mila)
    assert times(other.shows()) == ridden(nele)
    assert ridden(mila)[-1][0] == at("18:00", date(2028, 4, 10))
    assert [one[0].astimezone(ZONE).hour for one in ridden(nele)] == [18] * 5

    # The next term has a change of clocks of its own; who left does not go on.
    autumn = set_term(
        name="Autumn", first_date=date(2028, 8, 28), last_date=date(2028, 12, 10),
        by=None, now=NOW,
    )  # fmt: skip
    carry_over(old=term, new=autumn, chosen=[new.pk], by=None, now=NOW)
    seen = other.shows()
    assert times(hers.shows()) == ridden(mila)
    assert times(seen) == ridden(nele)
    assert len(seen) == 5 + 15
    change = date(2028, 10, 1) + relativedelta(day=31, weekday=SU(-1))
    for one in seen[5:]:
        day = one.starts_at.astimezone(ZONE).date()
        assert one.starts_at.hour == (17 if day >= change else 16)
