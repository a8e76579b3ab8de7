"""A lesson and the grid it was asked for: both are booked, or neither."""

import pytest

from exercises.geometry.elements import Piece
from exercises.models import Exercise, ExerciseRevision
from exercises.services import load_library
from school.models import AuditEntry, Horse, Lesson, LessonGrid, School, StorePiece
from school.services.booking import book_with_grid, looked_at
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory, KeepingPlaceFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def yard() -> None:
    SchoolFactory()
    load_library(now=NOW)


def bounces() -> ExerciseRevision:
    grid = Exercise.objects.get(slug="bounce-pair").current
    assert grid is not None
    return grid


def booked(revision: ExerciseRevision | None, horse: Horse | None, **more) -> Lesson:
    arena = ArenaFactory(length_cm=6000)
    arena.lines.create(name="Centre", length_cm=5500, datum="gate")
    for piece in Piece.__members__.values():
        place = KeepingPlaceFactory(name="store")
        StorePiece.objects.update_or_create(
            piece=piece, place=place, defaults={"working": 99, "weight_g": 1000}
        )
    return book_with_grid(
        revision=revision,
        title="Grid",
        kind="private",
        work="jumping",
        starts_at=at("10:00"),
        minutes=60,
        arena=arena,
        instructor=InstructorFactory(),
        rides=[(RiderFactory(level="advanced", highest_fence_cm=120), horse)],
        now=NOW,
        **{"by": None} | more,
    )


def strong() -> Horse:
    return HorseFactory(height_cm=168, level="advanced", highest_fence_cm=130)


def test_the_grid_is_fitted_to_the_horses_that_are_booked() -> None:
    horse = strong()

    lesson = booked(bounces(), horse)

    gaps = LessonGrid.objects.get(lesson=lesson).fitted["gaps"]
    assert {x["horse"] for gap in gaps for x in gap["horses"]} == {horse.name}


def test_without_a_grid_the_lesson_alone_is_booked() -> None:
    lesson = booked(None, None)

    assert not LessonGrid.objects.exists()
    assert looked_at([lesson]) == []


def test_a_grid_that_can_not_be_fitted_books_nothing() -> None:
    with pytest.raises(UnableToBook, match=r"a horse first.*without the grid"):
        booked(bounces(), None)

    assert not Lesson.objects.exists()
    assert not AuditEntry.objects.exists()


def test_too_many_efforts_are_refused_until_there_is_a_reason() -> None:
    School.objects.update(welfare={"efforts": {"warn": 1, "refuse": 1}})
    horse = strong()

    with pytest.raises(UnableToBook) as refused:
        booked(bounces(), horse)

    assert refused.value.overridable
    manager = AccountFactory(manager=True)
    lesson = booked(bounces(), horse, by=manager, overrule="last day of camp")
    assert LessonGrid.objects.filter(lesson=lesson).exists()


def test_what_is_to_be_looked_at_is_said() -> None:
    lesson = LessonFactory(work="jumping")
    verdicts = [
        {"fit": "look at it", "says": "Onyx lands short.", "cure": "Shorten it."},
        {"fit": "fits", "says": "The line is long enough.", "cure": ""},
    ]
    LessonGrid.objects.create(
        lesson=lesson,
        revision=bounces(),
        tradition="schooling",
        start=[],
        end=[],
        approach_cm=0,
        runout_cm=0,
        fitted={"verdicts": verdicts},
    )

    assert looked_at([lesson]) == ["Onyx lands short. Shorten it."]
