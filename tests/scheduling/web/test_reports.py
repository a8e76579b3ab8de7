"""Reports count by local weeks what the records hold, whatever the number of rows."""

import csv
import io
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from scheduling.services.reset_minutes import reset_weeks
from scheduling.web.reports import REPORTS
from school.models import LessonGrid
from school.queries.reports import Period, arena_minutes, ridden_by_week
from tests.clock import NOW, SATURDAY, SPRING_CHANGE, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.plans import DayPlanFactory
from tests.factories.ride_logs import STAGES, RideLogFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

MONDAY = date(2027, 3, 1)
MARCH = "?first=2027-03-01&last=2027-03-28"


@pytest.fixture
def manager(client: Browser, monkeypatch: pytest.MonkeyPatch) -> Browser:
    monkeypatch.setattr("django.utils.timezone.now", lambda: at("20:00"))
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def table(browser: Browser, slug: str, asked: str = MARCH) -> list[list[str]]:
    answer = browser.get(f"/reports/{slug}.csv{asked}")
    assert answer.status_code == 200
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def with_grid(log: dict | None = None, **lesson) -> None:
    made = LessonFactory(**lesson)
    LessonGrid.objects.create(
        lesson=made, revision=ExerciseRevisionFactory(), tradition="continental",
        start=[], end=[], approach_cm=0, runout_cm=0,
    )  # fmt: skip
    if log is not None:
        RideLogFactory(lesson=made, **log)


def test_arena_use_is_in_hours_and_of_the_opening_hours(manager: Browser) -> None:
    hall = ArenaFactory(name="Hall")
    LessonFactory(arena=hall)
    LessonFactory(arena=hall, starts_at=at("11:00"), ends_at=at("12:30"))
    LessonFactory(
        arena=hall, starts_at=at("13:00"), state="cancelled", state_reason="x"
    )

    rows = table(manager, "arena-use")

    assert rows[0] == ["Week of", "Hall, hours", "Hall, % of opening hours"]
    assert rows[1] == ["2027-03-01", "2.5", "3"]
    assert [row[0] for row in rows[1:]] == [
        "2027-03-01", "2027-03-08", "2027-03-15", "2027-03-22",
    ]  # fmt: skip


def test_weeks_end_at_local_midnight_also_when_the_clocks_change() -> None:
    SchoolFactory()
    late = LessonFactory(starts_at=at("23:30", SPRING_CHANGE))
    LessonFactory(starts_at=at("00:30", SPRING_CHANGE + timedelta(days=1)))
    period = Period(date(2027, 3, 22), SPRING_CHANGE, ZONE)

    assert arena_minutes(period) == {(date(2027, 3, 22), late.arena_id): 60}


def test_weeks_that_are_cut_have_fewer_days() -> None:
    period = Period(date(2027, 3, 3), date(2027, 3, 9), ZONE)

    assert period.weeks() == [MONDAY, MONDAY + timedelta(days=7)]
    assert [period.days_of(week) for week in period.weeks()] == [5, 2]


def test_horse_hours_are_those_under_a_rider(manager: Browser) -> None:
    HorseFactory(name="Fern")
    ride = RideFactory(horse__name="Bramble", lesson__starts_at=at("09:00"))
    RideFactory(
        horse=ride.horse, state="cancelled", cancelled_at=NOW, cancelled_reason="x",
        lesson__starts_at=at("12:00"),
    )  # fmt: skip

    rows = table(manager, "horse-hours")

    # An hour in the six days from 1 to 6 March.
    assert rows[1] == ["Bramble", "1", "1.0", "1.2", "0.0", "180"]
    assert rows[2] == ["Fern", "0", "0.0", "0.0", "0.0", "180"]


def test_what_is_still_to_come_is_neither_ridden_nor_kept(manager: Browser) -> None:
    """A report that counts a booking as a ride tells what was planned."""
    ride = RideFactory(
        horse__name="Bramble", rider__level="novice", lesson__starts_at=at("20:00")
    )
    RideFactory(
        horse=ride.horse,
        rider=ride.rider,
        lesson__starts_at=at("20:01", SATURDAY + timedelta(days=1)),
    )

    assert table(manager, "horse-hours")[1][1:5] == ["1", "1.0", "1.2", "1.0"]
    assert table(manager, "levels")[1] == ["Novice", "1", "1", "1"]
    assert table(manager, "places")[1] == ["2027-03-01", "1", "0", "0", "0", "1", "2"]


def test_a_period_that_has_not_begun_has_no_hours_a_week(manager: Browser) -> None:
    RideFactory(lesson__starts_at=at("09:00", date(2027, 3, 10)))

    row = table(manager, "horse-hours", "?first=2027-03-08&last=2027-03-14")[1]

    assert row[1:5] == ["0", "0.0", "0.0", "1.0"]


def test_resets_are_compared_over_the_same_days(manager: Browser) -> None:
    DayPlanFactory(state="published")
    DayPlanFactory(
        state="published", date=SATURDAY - timedelta(days=1), as_booked_reset_s=None
    )
    DayPlanFactory(state="draft", date=SATURDAY - timedelta(days=2))

    rows = table(manager, "reset-minutes")

    assert rows[1] == ["2027-03-01", "1", "15", "10", "5", "1"]
    week = reset_weeks(Period(MONDAY, SATURDAY, ZONE))[MONDAY]
    assert (week.days, week.unknown) == (1, 1)


def test_places_are_kept_missed_or_given_back_in_time_or_late(
    manager: Browser,
) -> None:
    lesson = LessonFactory()
    RideFactory(lesson=lesson)
    RideFactory(lesson=lesson, state="missed")
    for hours in (25, 23):
        RideFactory(
            lesson=lesson, state="cancelled", cancelled_reason="x",
            cancelled_at=lesson.starts_at - timedelta(hours=hours),
        )  # fmt: skip

    assert table(manager, "places")[1] == ["2027-03-01", "1", "1", "1", "1", "0", "4"]


def test_levels_count_each_rider_once(manager: Browser) -> None:
    rider = RiderFactory(level="advanced")
    RiderFactory(level="novice")
    for start in ("09:00", "12:00"):
        RideFactory(rider=rider, lesson__starts_at=at(start))

    assert table(manager, "levels")[1:] == [
        ["Novice", "0", "0", "1"],
        ["Intermediate", "0", "0", "0"],
        ["Advanced", "1", "0", "1"],
    ]


def test_what_was_ridden_is_told_by_the_log_that_holds() -> None:
    SchoolFactory()
    every = len(STAGES)
    starts = iter(at(f"{hour:02d}:00") for hour in range(8, 20))
    with_grid({"stage": every}, starts_at=next(starts))
    with_grid(
        {"stage": every, "measured": [{"gap": 2, "cm": 640}]}, starts_at=next(starts)
    )
    with_grid({"stage": 1}, starts_at=next(starts))
    with_grid({"stage": 0, "passes": 0}, starts_at=next(starts))
    with_grid(None, starts_at=next(starts))
    with_grid(None, starts_at=at("19:00"))

    found = ridden_by_week(Period(MONDAY, SATURDAY, ZONE), at("18:00"))

    assert found == {
        MONDAY: {
            "as planned": 1, "built otherwise": 1, "fewer stages": 1, "not jumped": 1,
            "not logged": 1,
        }
    }  # fmt: skip


@pytest.mark.parametrize("slug", REPORTS)
def test_a_report_asks_the_same_for_one_and_three_rows(manager, slug) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert manager.get(f"/reports/{slug}/{MARCH}").status_code == 200
        return len(queries)

    def rows(hour: int) -> None:
        RideFactory(lesson__starts_at=at(f"{hour:02d}:00"))
        with_grid({"stage": 1}, starts_at=at(f"{hour:02d}:00"))
        DayPlanFactory(state="published", date=MONDAY + timedelta(days=hour - 9))

    rows(9)
    one = asked()
    rows(12)
    rows(15)
    assert asked() == one


@pytest.mark.parametrize("slug", REPORTS)
def test_a_report_has_a_picture_and_says_the_same_in_a_table(manager, slug) -> None:
    RideFactory()
    with_grid({"stage": 1}, starts_at=at("12:00"))
    DayPlanFactory(state="published")

    page = manager.get(f"/reports/{slug}/{MARCH}").content.decode()

    assert page.count("<svg") == 1
    assert "<table" in page
    for cell in table(manager, slug)[1]:
        assert f">{cell}<" in page


def test_a_school_without_records_is_told_so(manager: Browser) -> None:
    for slug in REPORTS:
        page = manager.get(f"/reports/{slug}/").content.decode()
        assert "Nothing to count in this period" in page
    assert table(manager, "arena-use", "")[0] == ["Week of"]


@pytest.mark.parametrize(
    "asked", ["?first=2027-03-02&last=2027-03-01", "?first=2027-03-02&last=2029-03-01"]
)
def test_a_period_that_cannot_be_drawn_is_said(manager: Browser, asked: str) -> None:
    page = manager.get(f"/reports/places/{asked}")

    assert page.status_code == 409
    assert "53 weeks at most" in page.content.decode()
    assert manager.get(f"/reports/places.csv{asked}").status_code == 404


@pytest.mark.parametrize("path", ["/reports/weather/", "/reports/weather.csv"])
def test_there_is_no_other_report(manager: Browser, path: str) -> None:
    assert manager.get(path).status_code == 404
