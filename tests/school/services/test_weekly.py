"""A client's weekly entry: one UID, told anew only by what is new.

RFC 5545 and 5546 are named beside what they demand.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from email import message_from_bytes, policy

import pytest
from django.core import mail

from school.models import Invitation, InvitedDay, LessonSeries, OutboxMessage
from school.queries.holidays import holidays_of
from school.services.lessons import cancel_lesson, move_lesson
from school.services.messages import deliver_due
from school.services.rides import add_ride, cancel_ride
from school.services.series import (
    end_series,
    join_series,
    leave_series,
    skip_days,
)
from school.services.series_changes import change_series_from
from tests.clock import NOW, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.people import ClientFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import LAST_TUESDAY, TUESDAY, plan, weekly
from tests.readers.expand import agreed

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)
FOURTH = TUESDAY + 3 * WEEK
YEAR = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(local_bodies="the local federation")


@pytest.fixture
def rider():
    return RiderFactory(
        person__first_name="Mira",
        person__last_name="Secretname",
        client__person__first_name="Sam",
        client__person__email="sam@example.org",
    )


@pytest.fixture
def series(rider) -> LessonSeries:
    return weekly(rides=[(rider, None)])


def told() -> list[tuple[str, str, int, str]]:
    rows = OutboxMessage.objects.order_by("pk")
    return [(one.kind, one.method, one.sequence, one.state) for one in rows]


def sent_calendar(n: int = -1) -> bytes:
    read = message_from_bytes(
        mail.outbox[n].message().as_bytes(), policy=policy.default
    )
    (part,) = [p for p in read.walk() if p.get_content_type() == "text/calendar"]
    return part.get_payload(decode=True)


def sent_text(n: int = -1) -> str:
    read = message_from_bytes(
        mail.outbox[n].message().as_bytes(), policy=policy.default
    )
    return read.get_body(("plain",)).get_content()


def lines(body: bytes) -> list[str]:
    return body.decode().replace("\r\n ", "").split("\r\n")


def local(body: bytes) -> list[str]:
    """Return the starts that the readers agree on, by Amsterdam's clock."""
    zone = at("12:00").tzinfo
    return [
        f"{one.starts_at.astimezone(zone):%m-%d %H:%M}" for one in agreed(body, *YEAR)
    ]


def move(series: LessonSeries, day: date, clock: str) -> None:
    lesson = series.lessons.get(series_date=day)
    move_lesson(
        lesson=lesson,
        starts_at=at(clock, day),
        version=lesson.version,
        by=None,
        now=NOW,
    )


def cancel(series: LessonSeries, day: date) -> None:
    lesson = series.lessons.get(series_date=day)
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)


def test_a_series_is_one_invite_that_every_reader_expands_alike(series) -> None:
    """RFC 5545 sections 3.3.10, 3.6.5 and 3.8.5.3: local time, UNTIL in UTC."""
    deliver_due(now=NOW)

    body = sent_calendar()
    assert len(mail.outbox) == 1
    assert "DTSTART;TZID=Europe/Amsterdam:20270309T170000" in lines(body)
    assert "RRULE:FREQ=WEEKLY;UNTIL=20270511T150000Z;BYDAY=TU" in lines(body)
    assert local(body) == [f"{TUESDAY + n * WEEK:%m-%d} 17:00" for n in range(10)]
    assert told() == [("series", "REQUEST", 0, "sent")]


def test_its_mail_says_every_week_what_a_family_must_know(series) -> None:
    skip_days(series=series, days={FOURTH: "holiday"}, by=None, now=NOW)
    deliver_due(now=NOW)

    text = sent_text()
    for words in (
        "A weekly group jumping lesson for Mira at Example School.",
        "When: every Tuesday, 17:00 to 18:00 (60 minutes)",
        "From Tuesday 9 March 2027 to Tuesday 11 May 2027",
        "Not on: Tue 30 Mar",
        "Be there: by 16:45",
        "Where: Hall",
        "With: Ines",
        "body protector",
        "until 24 hours before the lesson, that is Monday 17:00",
        "the local federation",
    ):
        assert words in text
    assert "Secretname" not in text + str(mail.outbox[0].message().as_bytes())


def test_a_moved_day_is_told_alone_with_its_original_start(series) -> None:
    """RFC 5546 section 3.2.2.1 and RFC 5545 section 3.8.4.4."""
    deliver_due(now=NOW)
    move(series, FOURTH, "18:30")
    deliver_due(now=NOW)

    read = lines(sent_calendar())
    assert told()[-1] == ("changed", "REQUEST", 1, "sent")
    assert "RECURRENCE-ID;TZID=Europe/Amsterdam:20270330T170000" in read
    assert "DTSTART;TZID=Europe/Amsterdam:20270330T183000" in read
    assert "SEQUENCE:1" in read
    assert read.count("BEGIN:VEVENT") == 1
    assert not any(one.startswith("RRULE:FREQ=WEEKLY") for one in read)
    assert "Before: Tuesday" not in sent_text(0)


def test_a_day_moved_twice_before_it_was_told_is_told_once(series) -> None:
    deliver_due(now=NOW)
    move(series, FOURTH, "18:30")
    move(series, FOURTH, "19:00")
    deliver_due(now=NOW)

    assert len(mail.outbox) == 2
    assert told()[-1] == ("changed", "REQUEST", 2, "sent")


def test_a_day_moved_and_moved_back_before_it_was_told_is_not_told(series) -> None:
    deliver_due(now=NOW)
    move(series, FOURTH, "18:30")
    move(series, FOURTH, "17:00")
    deliver_due(now=NOW)

    assert len(mail.outbox) == 1


def test_a_day_moved_and_moved_back_after_it_was_told_is_told_again(series) -> None:
    deliver_due(now=NOW)
    move(series, FOURTH, "18:30")
    deliver_due(now=NOW)
    move(series, FOURTH, "17:00")
    deliver_due(now=NOW)

    assert "DTSTART;TZID=Europe/Amsterdam:20270330T170000" in lines(sent_calendar())
    assert told()[-1] == ("changed", "REQUEST", 2, "sent")


def test_a_day_before_the_invite_went_changes_only_the_invite(series) -> None:
    move(series, FOURTH, "18:30")
    deliver_due(now=NOW)

    assert len(mail.outbox) == 1
    assert local(sent_calendar())[3] == "03-30 18:30"


def test_a_dropped_day_is_cancelled_alone(series) -> None:
    """RFC 5546 section 3.2.5: RECURRENCE-ID, and STATUS:CANCELLED."""
    deliver_due(now=NOW)
    cancel(series, FOURTH)
    deliver_due(now=NOW)

    read = lines(sent_calendar())
    assert told()[-1] == ("cancelled", "CANCEL", 1, "sent")
    assert "METHOD:CANCEL" in read
    assert "STATUS:CANCELLED" in read
    assert "RECURRENCE-ID;TZID=Europe/Amsterdam:20270330T170000" in read
    assert "Why: storm" in sent_text()


def test_a_place_given_back_for_one_day_is_cancelled_alone_with_its_reason(
    series, rider
) -> None:
    deliver_due(now=NOW)
    ride = rider.rides.get(lesson__series_date=FOURTH)
    cancel_ride(ride=ride, reason="on holiday", by=None, now=NOW)
    deliver_due(now=NOW)

    assert told()[-1] == ("cancelled", "CANCEL", 1, "sent")
    assert "Why: on holiday" in sent_text()


def test_after_a_dropped_day_the_whole_set_says_so(series) -> None:
    """RFC 5545 section 3.8.5.1: EXDATE, of DTSTART's kind."""
    deliver_due(now=NOW)
    cancel(series, FOURTH)
    deliver_due(now=NOW)
    end_series(
        series=series, last_date=FOURTH + WEEK, reason="term over", by=None, now=NOW
    )
    deliver_due(now=NOW)

    body = sent_calendar()
    assert "EXDATE;TZID=Europe/Amsterdam:20270330T170000" in lines(body)
    assert local(body) == ["03-09 17:00", "03-16 17:00", "03-23 17:00", "04-06 17:00"]


def test_a_day_that_comes_back_is_told_with_the_whole_set(series, rider) -> None:
    deliver_due(now=NOW)
    ride = rider.rides.get(lesson__series_date=FOURTH)
    cancel_ride(ride=ride, reason="ill", by=None, now=NOW)
    deliver_due(now=NOW)
    add_ride(lesson=ride.lesson, rider=rider, horse=None, by=None, now=NOW)
    deliver_due(now=NOW)

    assert told()[-1] == ("series-changed", "REQUEST", 2, "sent")
    assert len(local(sent_calendar())) == 10


def test_many_days_at_once_are_told_as_a_whole(series) -> None:
    deliver_due(now=NOW)
    days = {TUESDAY + n * WEEK: "frost" for n in range(1, 4)}
    skip_days(series=series, days=days, by=None, now=NOW)
    deliver_due(now=NOW)

    assert len(mail.outbox) == 2
    assert told()[-1] == ("series-changed", "REQUEST", 1, "sent")
    assert len(local(sent_calendar())) == 7


def test_from_here_on_ends_one_entry_and_begins_another(series) -> None:
    """No THISANDFUTURE, which readers don't agree on: UNTIL, and a new UID."""
    deliver_due(now=NOW)
    change_series_from(
        series=series,
        plan=plan(
            arena=series.arena, instructor=series.instructor, local_start=time(18, 30)
        ),
        first_date=FOURTH,
        by=None,
        now=NOW,
    )
    deliver_due(now=NOW)

    ended, begun = sent_calendar(1), sent_calendar(2)
    uids = [re.search(rb"UID:(\S+)", body)[1] for body in (ended, begun)]
    assert uids[0] == re.search(rb"UID:(\S+)", sent_calendar(0))[1]
    assert uids[0] != uids[1]
    assert local(ended) == ["03-09 17:00", "03-16 17:00", "03-23 17:00"]
    assert local(begun)[0] == "03-30 18:30"
    assert len(local(begun)) == 7
    assert [one[:3] for one in told()[1:]] == [
        ("series-changed", "REQUEST", 1),
        ("series", "REQUEST", 0),
    ]


def test_a_whole_series_on_another_hour_keeps_its_entry(series) -> None:
    deliver_due(now=NOW)
    InvitedDay.objects.update(answer="ACCEPTED")
    Invitation.objects.update(answer="ACCEPTED")
    change_series_from(
        series=series,
        plan=plan(
            arena=series.arena, instructor=series.instructor, local_start=time(16)
        ),
        first_date=TUESDAY,
        by=None,
        now=NOW,
    )
    deliver_due(now=NOW)

    assert Invitation.objects.get().answer == "NEEDS-ACTION"
    assert set(InvitedDay.objects.values_list("answer", flat=True)) == {"NEEDS-ACTION"}
    assert told()[-1] == ("series-changed", "REQUEST", 1, "sent")
    assert local(sent_calendar())[:1] == ["03-09 16:00"]


def test_another_day_voids_only_the_answer_for_that_day(series) -> None:
    deliver_due(now=NOW)
    InvitedDay.objects.update(answer="ACCEPTED")
    Invitation.objects.update(answer="ACCEPTED")
    move(series, FOURTH, "18:30")

    answers = dict(InvitedDay.objects.values_list("lesson__series_date", "answer"))
    assert answers.pop(FOURTH) == "NEEDS-ACTION"
    assert set(answers.values()) == {"ACCEPTED"}
    assert Invitation.objects.get().answer == "ACCEPTED"


def test_leaving_from_a_day_on_shortens_the_entry(series, rider) -> None:
    deliver_due(now=NOW)
    leave(series, rider, FOURTH)
    deliver_due(now=NOW)

    assert told()[-1] == ("series-changed", "REQUEST", 1, "sent")
    assert local(sent_calendar()) == ["03-09 17:00", "03-16 17:00", "03-23 17:00"]


def leave(series: LessonSeries, rider, day: date) -> None:
    leave_series(
        series=series, rider=rider, first_date=day, reason="moves", by=None, now=NOW
    )


def test_leaving_altogether_withdraws_the_entry(series, rider) -> None:
    """RFC 5546 section 3.2.5: the whole series, so no RECURRENCE-ID."""
    deliver_due(now=NOW)
    leave(series, rider, TUESDAY)
    deliver_due(now=NOW)

    read = lines(sent_calendar())
    assert told()[-1] == ("series-cancelled", "CANCEL", 1, "sent")
    assert not any(one.startswith("RECURRENCE-ID") for one in read)
    assert "The weekly lesson for Mira at Example School" in sent_text()
    assert "Why: moves" in sent_text()


def test_a_series_booked_and_ended_before_it_was_told_is_not_told(series) -> None:
    end_series(
        series=series, last_date=TUESDAY - WEEK, reason="mistake", by=None, now=NOW
    )

    assert deliver_due(now=NOW).sent == 0


def test_who_comes_back_is_invited_again_under_the_same_uid(series, rider) -> None:
    deliver_due(now=NOW)
    leave(series, rider, TUESDAY)
    deliver_due(now=NOW)
    join_series(
        series=series, rider=rider, horse=None, first_date=FOURTH, by=None, now=NOW
    )
    deliver_due(now=NOW)

    assert Invitation.objects.count() == 1
    assert told()[-1] == ("series", "REQUEST", 2, "sent")
    assert local(sent_calendar())[0] == "03-30 17:00"


def test_who_left_and_takes_one_day_gets_an_entry_for_that_day(series, rider) -> None:
    deliver_due(now=NOW)
    leave(series, rider, TUESDAY)
    lesson = series.lessons.get(series_date=FOURTH)
    add_ride(lesson=lesson, rider=rider, horse=None, by=None, now=NOW)

    assert Invitation.objects.get(lesson=lesson).withdrawn is False
    assert Invitation.objects.get(series=series).withdrawn is True


def test_a_day_that_has_its_own_entry_is_not_in_the_weekly_one_too(rider) -> None:
    """Two entries for one lesson is what a client curses first."""
    series = weekly()
    lesson = series.lessons.get(series_date=FOURTH)
    add_ride(lesson=lesson, rider=rider, horse=None, by=None, now=NOW)
    later = RiderFactory(client=rider.client)
    join_series(
        series=series, rider=later, horse=None, first_date=TUESDAY, by=None, now=NOW
    )
    deliver_due(now=NOW)

    single, whole = sent_calendar(0), sent_calendar(1)
    assert local(single) == ["03-30 17:00"]
    assert "03-30 17:00" not in local(whole)
    assert len(local(whole)) == 9


def test_a_sibling_for_some_weeks_is_named_on_those_days_only(series, rider) -> None:
    other = RiderFactory(person__first_name="Tom", client=rider.client)
    join_series(
        series=series,
        rider=other,
        horse=None,
        first_date=TUESDAY,
        last_date=TUESDAY,
        by=None,
        now=NOW,
    )
    deliver_due(now=NOW)

    seen = [one.summary for one in agreed(sent_calendar(), *YEAR)]
    assert seen == ["Lesson Mira and Tom: jumping"] + ["Lesson Mira: jumping"] * 9


def test_another_client_learns_nothing_of_this_one(series) -> None:
    """RFC 5546 section 6.3: each message lists only its own attendee."""
    other = RiderFactory(
        person__first_name="Ada", client=ClientFactory(person__email="ada@example.org")
    )
    join_series(
        series=series, rider=other, horse=None, first_date=TUESDAY, by=None, now=NOW
    )
    deliver_due(now=NOW)

    raw = [one.message().as_bytes() for one in mail.outbox if one.to != other]
    to_ada = next(one for one in raw if b"ada@example.org" in one)
    body = sent_calendar(1)
    assert b"sam@example.org" not in to_ada + body
    assert b"Mira" not in body
    assert Invitation.objects.values("uid").distinct().count() == 2


def test_moving_one_of_two_lessons_at_the_same_hour_moves_only_that(series) -> None:
    """Some readers give one series' exception to another at the same hour, so each
    message speaks of one UID alone (RFC 5546 section 3.2.2)."""
    deliver_due(now=NOW)
    beside = plan(arena=ArenaFactory(name="Field"))
    other = RiderFactory(client__person__email="b@example.org")
    weekly(plan=beside, rides=[(other, None)])
    deliver_due(now=NOW)
    move(series, FOURTH, "18:30")
    deliver_due(now=NOW)

    assert mail.outbox[-1].to == ["sam@example.org"]
    assert lines(sent_calendar()).count("BEGIN:VEVENT") == 1


def test_the_last_lesson_dropped_is_an_exception_and_not_a_new_rule(series) -> None:
    deliver_due(now=NOW)
    cancel(series, LAST_TUESDAY)
    deliver_due(now=NOW)

    assert told()[-1] == ("cancelled", "CANCEL", 1, "sent")


def test_a_year_keeps_its_clock_time_over_both_changes_and_leaves_holidays_out(
    rider,
) -> None:
    """The EU changes clocks on the last Sundays of March and October (directive
    2000/84/EC, from memory); in the Netherlands 25 December is a public holiday
    (`holidays`)."""
    first, last = date(2027, 3, 6), date(2028, 4, 1)
    skip = holidays_of(SchoolFactory.build(country="NL"), first, last)
    assert skip[date(2027, 12, 25)] == "Christmas Day"

    saturdays = weekly(
        first_date=first, last_date=last, rides=[(rider, None)], skip=skip
    )

    starts = [
        one.starts_at
        for one in saturdays.lessons.exclude(state="cancelled").order_by("starts_at")
    ]
    assert {one.astimezone(ZONE).time() for one in starts} == {time(17)}
    assert len({one.utcoffset() for one in (s.astimezone(ZONE) for s in starts)}) == 2
    days = {one.astimezone(ZONE).date() for one in starts}
    assert not days & set(skip)
    deliver_due(now=NOW + timedelta(hours=1))
    span = (datetime(2027, 3, 1, tzinfo=UTC), datetime(2028, 5, 1, tzinfo=UTC))
    told = {one.starts_at for one in agreed(sent_calendar(), *span)}
    assert told == set(starts)
