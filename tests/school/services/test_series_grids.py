"""The grid of a weekly lesson: on each of its days, fitted to that day's horses.

A bounce is ridden by a larger horse in longer strides: what the library's rows are
fitted by, which `tests/exercises/geometry` holds against its sources.
"""

import pytest

from exercises.geometry.elements import Piece
from exercises.models import Exercise, ExerciseRevision
from exercises.services import load_library
from school.models import (
    Arena,
    Horse,
    Lesson,
    LessonGrid,
    LessonSeries,
    Rider,
    School,
    StorePiece,
)
from school.queries.series import WEEK
from school.services.booking import looked_at
from school.services.grids import attach_grid
from school.services.refusals import UnableToBook
from school.services.series import join_series
from school.services.series_changes import change_series_from
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory, KeepingPlaceFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import LAST_TUESDAY, TUESDAY, plan, weekly

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def yard() -> None:
    SchoolFactory()
    load_library(now=NOW)
    place = KeepingPlaceFactory(name="store")
    for piece in Piece.__members__.values():
        StorePiece.objects.update_or_create(
            piece=piece, place=place, defaults={"working": 99, "weight_g": 1000}
        )


@pytest.fixture
def hall() -> Arena:
    arena = ArenaFactory(name="Hall", length_cm=6000)
    arena.lines.create(name="Centre", length_cm=5500, datum="gate")
    return arena


def exercise(slug: str = "bounce-pair") -> ExerciseRevision:
    found = Exercise.objects.get(slug=slug).current
    assert found is not None
    return found


def strong(name: str) -> Horse:
    return HorseFactory(
        name=name, height_cm=168, level="advanced", highest_fence_cm=130
    )


def able(name: str) -> Rider:
    return RiderFactory(person__first_name=name, level="advanced", highest_fence_cm=120)


def booked(hall: Arena, **changes) -> LessonSeries:
    fields = {"plan": plan(arena=hall), "revision": exercise()}
    if "rides" not in changes:
        fields["rides"] = [(able("Mila"), strong("Brook"))]
    return weekly(**(fields | changes))


def fitted_to(lesson: Lesson) -> set[str]:
    gaps = LessonGrid.objects.get(lesson=lesson).fitted["gaps"]
    return {one["horse"] for gap in gaps for one in gap["horses"]}


def lessons(series: LessonSeries) -> list[Lesson]:
    return list(series.lessons.order_by("starts_at"))


def test_each_lesson_is_booked_with_the_grid_fitted_to_its_horses(hall: Arena) -> None:
    series = booked(hall)

    assert len(lessons(series)) == 10
    assert all(fitted_to(one) == {"Brook"} for one in lessons(series))


def test_a_grid_that_does_not_fit_books_no_week_and_is_said_once(hall: Arena) -> None:
    with pytest.raises(UnableToBook) as caught:
        booked(hall, rides=[(able("Mila"), None)])

    assert not LessonSeries.objects.exists()
    assert not Lesson.objects.exists()
    assert caught.value.says.count("a horse first") == 1
    assert "Tue 9 Mar, Tue 16 Mar" in caught.value.says


def test_efforts_over_a_horses_limit_are_overruled_for_all_weeks(hall: Arena) -> None:
    School.objects.update(welfare={"efforts": {"warn": 1, "refuse": 1}})

    with pytest.raises(UnableToBook) as caught:
        booked(hall, rides=[(able("Mila"), strong("Brook"))])
    assert caught.value.overridable

    series = booked(
        hall,
        rides=[(able("Nele"), strong("Onyx"))],
        overrule="agreed with the vet",
        by=AccountFactory(manager=True),
    )
    assert LessonGrid.objects.filter(lesson__series=series).count() == 10


def test_what_is_to_be_looked_at_on_some_days_is_said_with_them(hall: Arena) -> None:
    series = booked(hall)
    look = {"fit": "look at it", "says": "Brook lands short.", "cure": "Shorten it."}
    for one in lessons(series)[:2]:
        grid = LessonGrid.objects.get(lesson=one)
        grid.fitted["verdicts"] = [look]
        grid.save()

    for grid in LessonGrid.objects.exclude(lesson__in=lessons(series)[:2]):
        grid.fitted["verdicts"] = []
        grid.save()

    assert looked_at(lessons(series)) == [
        "Brook lands short. Shorten it. (On 9 March, 16 March.)"
    ]
    assert looked_at(lessons(series)[:2]) == ["Brook lands short. Shorten it."]


def test_from_a_day_on_another_grid_is_fitted_to_who_rides_then(hall: Arena) -> None:
    series = booked(hall)
    join_series(
        series=series, rider=able("Nele"), horse=strong("Onyx"),
        first_date=LAST_TUESDAY, by=None, now=NOW,
    )  # fmt: skip

    new = change_series_from(
        series=series, plan=plan(arena=hall, instructor=series.instructor),
        first_date=TUESDAY + WEEK, grids=exercise("bounce-then-stride"),
        by=None, now=NOW,
    )  # fmt: skip

    kept, *others = [*lessons(series), *lessons(new)]
    slugs = [one.grid.revision.exercise.slug for one in others]
    assert kept.grid.revision == exercise()
    assert set(slugs) == {"bounce-then-stride"}
    assert fitted_to(others[0]) == {"Brook"}
    assert fitted_to(others[-1]) == {"Brook", "Onyx"}


def test_from_a_day_on_without_a_word_of_grids_each_keeps_its_own(hall: Arena) -> None:
    series = booked(hall, revision=None)
    own = lessons(series)[4]
    attach_grid(lesson=own, revision=exercise(), by=None, now=NOW)

    new = change_series_from(
        series=series, plan=plan(arena=hall, instructor=series.instructor),
        first_date=TUESDAY + WEEK, by=None, now=NOW,
    )  # fmt: skip

    assert list(LessonGrid.objects.values_list("lesson", flat=True)) == [own.pk]
    assert own in lessons(new)


@pytest.mark.parametrize("how", ["off", "flat"])
def test_grids_are_taken_off_by_a_word_or_where_lessons_become_flat(
    hall: Arena, how: str
) -> None:
    series = booked(hall)
    changes = {"grids": "off"} if how == "off" else {}
    work = "flat" if how == "flat" else "jumping"

    change_series_from(
        series=series,
        plan=plan(arena=hall, instructor=series.instructor, work=work),
        first_date=TUESDAY + WEEK, by=None, now=NOW, **changes,
    )  # fmt: skip

    assert LessonGrid.objects.count() == 1


def test_a_grid_that_does_not_fit_one_day_changes_nothing(hall: Arena) -> None:
    series = booked(hall)
    join_series(
        series=series, rider=able("Nele"), horse=None,
        first_date=LAST_TUESDAY, by=None, now=NOW,
    )  # fmt: skip
    was = set(LessonGrid.objects.values_list("pk", flat=True))

    with pytest.raises(UnableToBook, match=r"1 of 9 weeks.*Tue 11 May.*a horse first"):
        change_series_from(
            series=series, plan=plan(arena=hall, instructor=series.instructor),
            first_date=TUESDAY + WEEK, grids=exercise("bounce-then-stride"),
            by=None, now=NOW,
        )  # fmt: skip

    assert set(LessonGrid.objects.values_list("pk", flat=True)) == was
    assert LessonSeries.objects.count() == 1
