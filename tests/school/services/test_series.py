"""Weekly lessons: all weeks or none, at a clock time that stays."""

from datetime import UTC, date, time, timedelta

import pytest

from school.models import (
    ArenaClosure,
    AuditEntry,
    Invitation,
    Lesson,
    LessonSeries,
    MakeUpCredit,
    OutboxMessage,
    Ride,
    SeriesException,
)
from school.services import series as services
from school.services.lessons import cancel_lesson
from school.services.refusals import UnableToBook
from school.services.series import (
    end_series,
    join_series,
    leave_series,
    skip_days,
    start_series,
)
from school.services.series_changes import change_series_from
from tests.clock import NOW, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import LAST_TUESDAY, TUESDAY, plan, weekly

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)
FOURTH = TUESDAY + 3 * WEEK


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def starts(series: LessonSeries) -> list[str]:
    lessons = series.lessons.exclude(state="cancelled").order_by("starts_at")
    return [f"{one.starts_at.astimezone(UTC):%m-%d %H:%M}" for one in lessons]


def test_a_series_keeps_its_clock_time_when_the_clocks_change() -> None:
    """Amsterdam is an hour ahead of UTC until 28 March 2027, then two."""
    assert starts(weekly())[:4] == [
        "03-09 16:00",
        "03-16 16:00",
        "03-23 16:00",
        "03-30 15:00",
    ]


def test_days_to_skip_are_kept_with_their_reason_and_not_booked() -> None:
    series = weekly(skip={TUESDAY + WEEK: "public holiday"})

    assert len(starts(series)) == 9
    exception = SeriesException.objects.get()
    assert (exception.date, exception.reason) == (TUESDAY + WEEK, "public holiday")


def test_one_week_that_clashes_refuses_all_and_names_the_day_and_why() -> None:
    mine = plan()
    LessonFactory(arena=mine.arena, title="Clinic", starts_at=at("17:30", FOURTH))

    with pytest.raises(UnableToBook) as refused:
        weekly(plan=mine)

    assert refused.value.fields["dates"] == ["2027-03-30"]
    assert "1 of 10 weeks can't be booked, so none was." in refused.value.says
    assert "Tue 30 Mar: Hall is taken by Clinic until 18:30." in refused.value.says
    assert LessonSeries.objects.count() == 0
    assert Lesson.objects.count() == 1


@pytest.mark.parametrize("last", [date(2027, 3, 1), date(2028, 12, 1)])
def test_a_series_of_no_weeks_or_too_many_is_refused(last: date) -> None:
    with pytest.raises(UnableToBook, match="from 1 to 60 weeks"):
        weekly(last_date=last)


def test_a_rider_joins_every_lesson_from_a_day_on() -> None:
    series, rider, horse = weekly(), RiderFactory(), HorseFactory()

    rides = join_series(
        series=series, rider=rider, horse=horse, first_date=FOURTH, by=None, now=NOW
    )

    assert len(rides) == 7
    assert rider.rides.count() == 7


def test_a_rider_may_join_up_to_a_day() -> None:
    series, rider = weekly(), RiderFactory()

    rides = join_series(
        series=series,
        rider=rider,
        horse=None,
        first_date=TUESDAY,
        last_date=FOURTH,
        by=None,
        now=NOW,
    )

    assert len(rides) == 4


def test_a_full_week_keeps_a_rider_out_of_all_and_is_named() -> None:
    series = weekly(plan=plan(places=1))
    other = RiderFactory()
    join_series(
        series=series,
        rider=other,
        horse=None,
        first_date=FOURTH,
        last_date=FOURTH,
        by=None,
        now=NOW,
    )

    with pytest.raises(UnableToBook, match="Tue 30 Mar: Tuesday group is full"):
        join(series)
    assert Ride.objects.count() == 1


def join(series: LessonSeries, first: date = TUESDAY, **of: object):
    rider = of.pop("rider", None) or RiderFactory(**of)
    join_series(
        series=series, rider=rider, horse=None, first_date=first, by=None, now=NOW
    )
    return rider


def test_nobody_joins_a_series_that_is_over() -> None:
    with pytest.raises(UnableToBook) as refused:
        join(weekly(), first=LAST_TUESDAY + WEEK)

    assert refused.value.code == "series-over"


def test_leaving_gives_back_the_places_from_a_day_on_once() -> None:
    series = weekly()
    rider = join(series)

    first = leave(series, rider, FOURTH)
    second = leave(series, rider, FOURTH)

    assert (first, second) == (7, 0)
    assert rider.rides.filter(state="booked").count() == 3


def leave(series: LessonSeries, rider, day: date) -> int:
    return leave_series(
        series=series,
        rider=rider,
        first_date=day,
        reason="moves away",
        by=None,
        now=NOW,
    )


def test_a_holiday_cancels_its_lesson_with_its_reason_and_twice_is_harmless() -> None:
    series = weekly()

    for _ in range(2):
        skip_days(series=series, days={FOURTH: "frost"}, by=None, now=NOW)

    assert series.lessons.get(state="cancelled").state_reason == "frost"
    assert SeriesException.objects.count() == 1


def test_a_holiday_without_a_reason_is_refused() -> None:
    with pytest.raises(UnableToBook, match="Say why"):
        skip_days(series=weekly(), days={FOURTH: " "}, by=None, now=NOW)


def test_ending_cancels_what_comes_after_and_keeps_what_was() -> None:
    series = end(weekly(), FOURTH)

    assert len(starts(series)) == 4
    assert series.last_date == FOURTH
    assert end(series, FOURTH).last_date == FOURTH


def end(series: LessonSeries, day: date) -> LessonSeries:
    return end_series(
        series=series, last_date=day, reason="term over", by=None, now=NOW
    )


def test_ending_before_the_first_lesson_cancels_all() -> None:
    series = end(weekly(), TUESDAY - WEEK)

    assert starts(series) == []
    assert series.last_date == series.first_date


def change(series: LessonSeries, day: date, weekday: int | None = None, **to: object):
    fields = {"arena": series.arena, "instructor": series.instructor}
    return change_series_from(
        series=series,
        plan=plan(**(fields | to)),
        first_date=day,
        weekday=weekday,
        by=None,
        now=NOW,
    )


def test_a_change_from_a_day_on_ends_the_series_and_begins_the_next() -> None:
    old = weekly()
    new = change(old, FOURTH, local_start=time(18, 30))

    old.refresh_from_db()
    assert starts(old) == ["03-09 16:00", "03-16 16:00", "03-23 16:00"]
    assert starts(new)[0] == "03-30 16:30"
    assert len(starts(new)) == 7
    assert (old.last_date, new.first_date) == (FOURTH - WEEK, FOURTH)
    assert new.split_from == old


def test_a_change_takes_riders_and_horses_along() -> None:
    series = weekly()
    rider = join(series)
    new = change(series, FOURTH, local_start=time(18, 30))

    assert rider.rides.filter(lesson__series=new, state="booked").count() == 7


def test_a_change_of_the_whole_series_splits_nothing() -> None:
    series = weekly()

    assert change(series, TUESDAY, local_start=time(16)) == series
    assert LessonSeries.objects.count() == 1
    assert starts(series)[0] == "03-09 15:00"


def test_a_change_of_the_weekday_keeps_each_lesson_in_its_week() -> None:
    series = weekly(skip={FOURTH + WEEK: "holiday"})
    new = change(series, FOURTH, weekday=3)

    assert starts(new)[0] == "04-01 15:00"
    assert new.weekday == 3
    assert [one.date for one in new.exceptions.all()] == [date(2027, 4, 8)]


def test_a_whole_series_may_go_to_another_weekday() -> None:
    series = weekly(skip={FOURTH: "holiday"})
    join(series)
    change(series, TUESDAY, weekday=3)

    assert starts(series)[0] == "03-11 16:00"
    assert series.exceptions.get().date == date(2027, 4, 1)


def test_a_sick_instructor_is_replaced_in_one_go() -> None:
    other = InstructorFactory()
    new = change(weekly(), FOURTH, instructor=other)

    assert {one.instructor for one in new.lessons.all()} == {other}


def test_an_instructor_whose_level_is_too_low_is_refused_for_the_riders_there() -> None:
    series = weekly()
    join(series, level="advanced")

    with pytest.raises(UnableToBook) as refused:
        change(series, FOURTH, instructor=InstructorFactory(level="novice"))

    assert set(refused.value.fields["codes"].values()) == {"instructor-level"}


def test_a_change_that_clashes_in_one_week_changes_nothing() -> None:
    series = weekly()
    ArenaClosure.objects.create(
        arena=series.arena,
        closed_from=at("18:00", FOURTH + WEEK),
        closed_to=at("20:00", FOURTH + WEEK),
        reason="hire",
    )
    before = starts(series)

    with pytest.raises(UnableToBook, match="Tue 6 Apr: Hall is closed"):
        change(series, FOURTH, local_start=time(18))

    assert starts(series) == before
    assert LessonSeries.objects.count() == 1


def test_a_change_into_what_is_over_is_refused() -> None:
    series = weekly()

    with pytest.raises(UnableToBook, match="is over already"):
        change_series_from(
            series=series,
            plan=plan(arena=series.arena, instructor=series.instructor),
            first_date=TUESDAY,
            weekday=0,
            by=None,
            now=at("12:00", TUESDAY),
        )


def test_a_series_without_lessons_left_is_not_changed() -> None:
    with pytest.raises(UnableToBook, match="no lessons left"):
        change(weekly(), LAST_TUESDAY + WEEK)


def test_what_is_done_to_a_series_is_audited() -> None:
    series = weekly()
    change(series, FOURTH, local_start=time(18))
    end(series, TUESDAY)

    entries = AuditEntry.objects.filter(subject="lessonseries").order_by("pk")
    assert [one.action for one in entries] == ["book", "change from here on", "end"]


def test_a_zone_without_a_yearly_rule_gets_single_invites(monkeypatch) -> None:
    def refuse(zone: str) -> None:
        raise services.UnableToSayZone(zone)

    monkeypatch.setattr(services, "vtimezone", refuse)
    start_series(
        plan=plan(),
        first_date=TUESDAY,
        last_date=FOURTH,
        rides=[(RiderFactory(), None)],
        by=None,
        now=NOW,
    )

    assert Invitation.objects.filter(lesson__isnull=False).count() == 4
    assert OutboxMessage.objects.count() == 4


def test_one_week_alone_is_a_single_invite() -> None:
    weekly(last_date=TUESDAY, rides=[(RiderFactory(), None)])

    assert Invitation.objects.get().lesson is not None


def test_a_cancelled_lesson_stays_with_the_series_that_was() -> None:
    series = weekly()
    lesson = series.lessons.get(series_date=FOURTH)
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)
    new = change(series, FOURTH, local_start=time(18))

    assert series.lessons.filter(pk=lesson.pk).exists()
    assert len(starts(new)) == 6


AFTER_TWO = at("19:00", TUESDAY + WEEK)
"""When two of the ten lessons are over, on the evening of the second."""


def test_what_has_been_ridden_is_neither_joined_left_skipped_changed_nor_ended() -> (
    None
):
    series = weekly()
    rider = join(series)
    same = plan(arena=series.arena, instructor=series.instructor)
    first = {"series": series, "by": None, "now": AFTER_TWO}
    verbs = {
        "join": lambda: join_series(
            rider=RiderFactory(), horse=None, first_date=TUESDAY, **first
        ),
        "leave": lambda: leave_series(
            rider=rider, first_date=TUESDAY, reason="away", **first
        ),
        "skip": lambda: skip_days(days={TUESDAY: "frost"}, **first),
        "change": lambda: change_series_from(plan=same, first_date=TUESDAY, **first),
        "end": lambda: end_series(
            last_date=TUESDAY - WEEK, reason="no horses", **first
        ),
    }
    for verb, do in verbs.items():
        with pytest.raises(UnableToBook) as refused:
            do()
        assert refused.value.code == "past", verb
        assert "stays as it was" in refused.value.says
    assert series.lessons.filter(state="cancelled").count() == 0
    assert rider.rides.filter(state="booked").count() == 10
    assert not MakeUpCredit.objects.exists()


def test_a_lesson_of_today_that_has_begun_stays_when_a_rider_leaves_from_today() -> (
    None
):
    series = weekly()
    rider = join(series)
    running = at("17:30", TUESDAY)

    left = leave_series(
        series=series, rider=rider, first_date=TUESDAY, reason="away", by=None,
        now=running,
    )  # fmt: skip

    assert left == 9
    assert rider.rides.get(state="booked").lesson.series_date == TUESDAY


def test_who_joins_from_today_gets_the_lessons_still_to_come() -> None:
    series, rider = weekly(), RiderFactory()

    rides = join_series(
        series=series, rider=rider, horse=None, first_date=TUESDAY, by=None,
        now=at("17:30", TUESDAY),
    )  # fmt: skip

    assert len(rides) == 9


def test_a_series_that_ends_yesterday_keeps_todays_lesson_that_has_begun() -> None:
    series = weekly()

    end_series(
        series=series, last_date=TUESDAY + timedelta(days=6), reason="no horses",
        by=None, now=AFTER_TWO,
    )  # fmt: skip

    assert starts(series) == ["03-09 16:00", "03-16 16:00"]


@pytest.mark.parametrize("day", [TUESDAY + timedelta(days=1), LAST_TUESDAY + WEEK])
def test_a_day_on_which_it_is_not_held_can_not_be_skipped(day: date) -> None:
    series = weekly()

    with pytest.raises(UnableToBook) as refused:
        skip_days(series=series, days={day: "frost"}, by=None, now=NOW)

    assert refused.value.code == "not-held"
    assert "Tuesday group is not held on" in refused.value.says
    assert not SeriesException.objects.exists()


def test_a_skipped_day_is_audited_once_with_its_reason() -> None:
    series = weekly()
    for _ in range(2):
        skip_days(series=series, days={FOURTH: "frost"}, by=None, now=NOW)

    entry = AuditEntry.objects.get(action="skip day", subject="lessonseries")
    assert entry.after == {"day": "2027-03-30", "reason": "frost"}
