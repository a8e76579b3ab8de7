"""Weekly lessons within a window: each lesson of it is planned in its own."""

from datetime import UTC, datetime, time, timedelta

import pytest

from school.models import Lesson, LessonSeries
from school.services.lessons import move_lesson
from school.services.refusals import UnableToBook
from school.services.series import skip_days
from school.services.series_changes import change_series_from
from tests.clock import NOW
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import TUESDAY, plan, weekly

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)
WINDOW = {"window_from": time(15), "window_to": time(18)}


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def windows(series: LessonSeries) -> list[str]:
    """Start and window of each lesson that is held, in UTC."""
    lessons = series.lessons.exclude(state="cancelled").order_by("starts_at")
    return [
        " ".join(
            "-" if x is None else f"{x.astimezone(UTC):%H:%M}"
            for x in (one.starts_at, one.window_from, one.window_to)
        )
        for one in lessons
    ]


def day_of(series: LessonSeries, n: int) -> Lesson:
    return series.lessons.get(series_date=TUESDAY + n * WEEK)


def moved(lesson: Lesson, starts_at: datetime) -> Lesson:
    return move_lesson(
        lesson=lesson,
        starts_at=starts_at,
        version=lesson.version,
        by=None,
        now=NOW,
    )


def test_each_lesson_may_start_in_its_days_window_by_the_clock() -> None:
    """Amsterdam is an hour ahead of UTC until 28 March 2027, then two."""
    series = weekly(plan=plan(**WINDOW))

    assert windows(series)[:4] == [
        "16:00 14:00 17:00",
        "16:00 14:00 17:00",
        "16:00 14:00 17:00",
        "15:00 13:00 16:00",
    ]


@pytest.mark.parametrize(
    "window",
    [
        {"window_from": time(15)},
        {"window_to": time(18)},
        {"window_from": time(17, 30), "window_to": time(18)},
        {"window_from": time(15), "window_to": time(16)},
    ],
    ids=["no-end", "no-beginning", "start-before", "start-after"],
)
def test_a_window_that_does_not_hold_the_start_is_refused(window: dict) -> None:
    with pytest.raises(UnableToBook, match="within its window"):
        weekly(plan=plan(**window))

    assert not LessonSeries.objects.exists()


def test_one_day_is_moved_in_its_window_and_the_others_stay() -> None:
    series = weekly(plan=plan(**WINDOW))
    second = day_of(series, 1)

    moved(second, second.starts_at - timedelta(minutes=90))

    assert windows(series)[:3] == [
        "16:00 14:00 17:00",
        "14:30 14:00 17:00",
        "16:00 14:00 17:00",
    ]


def test_one_day_is_not_moved_out_of_what_was_agreed() -> None:
    second = day_of(weekly(plan=plan(**WINDOW)), 1)

    with pytest.raises(UnableToBook, match=r"may start from .* to Tue 16 Mar 18:00"):
        moved(second, second.starts_at + timedelta(hours=3))


def test_one_day_is_skipped_and_the_others_keep_their_windows() -> None:
    series = weekly(plan=plan(**WINDOW))

    skip_days(series=series, days={TUESDAY + WEEK: "show"}, by=None, now=NOW)

    assert len(windows(series)) == 9
    assert {one[5:] for one in windows(series)[:2]} == {" 14:00 17:00"}


@pytest.mark.parametrize(
    ("n", "summer"), [(0, 0), (2, 1)], ids=["whole", "split, into summer time"]
)
def test_a_window_comes_and_goes_with_a_change_from_a_day_on(
    n: int, summer: int
) -> None:
    first = plan(**WINDOW)
    series = weekly(plan=first, rides=[(RiderFactory(), None)])
    given = {"arena": first.arena, "instructor": first.instructor}
    day = TUESDAY + n * WEEK

    new = change_series_from(
        series=series,
        plan=plan(**given, local_start=time(10)),
        first_date=day,
        by=None,
        now=NOW,
    )
    again = change_series_from(
        series=new,
        plan=plan(
            **given, local_start=time(19), window_from=time(19), window_to=time(20)
        ),
        first_date=day + WEEK,
        by=None,
        now=NOW,
    )

    assert windows(new) == ["09:00 - -"]
    first_h = 18 - summer
    assert windows(again)[0] == f"{first_h}:00 {first_h}:00 {first_h + 1}:00"
