"""The fences of a time: what a lesson adds to the changing of them."""

from datetime import time

import pytest

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.services.finding import UnableToFind
from school.models import (
    Instructor,
    LessonGrid,
    School,
)
from school.services.grids import attach_grid
from tests.clock import NOW, at
from tests.factories.arenas import (
    ArenaFactory,
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import vertical
from tests.scheduling.finding_wishes import found, ridden, starts
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(place_every_cm=100, start_every_min=60, freeze_min=0)


def test_the_same_grid_beside_its_like_comes_first() -> None:
    _, _, lessons = small_day(windows=False)
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current
    LessonGrid.objects.filter(lesson=lessons[2]).delete()
    attach_grid(
        lesson=lessons[2], revision=grid, tradition="continental", by=None, now=NOW
    )
    other = LessonFactory(arena=lessons[2].arena, starts_at=at("16:00"))
    grid_of(other, vertical(0, 80, ground_line="both"), vertical(1050, 90))

    answers = found(**ridden(horses=[HorseFactory()]), exercise=grid).answers

    added = {one.added_s for one in answers}
    assert len(added) > 1
    assert answers[0].added_s == min(added)
    assert f"{answers[0].starts_at:%H:%M}" in {"13:00", "14:00"}


def test_a_flat_lesson_adds_nothing() -> None:
    small_day(windows=False)

    assert {one.added_s for one in found().answers} == {0}


def test_a_time_that_leaves_the_fences_none_is_not_offered() -> None:
    School.objects.update(start_every_min=30)
    first = LessonFactory(starts_at=at("09:00"), title="First")
    second = LessonFactory(
        arena=first.arena, starts_at=at("11:00"), instructor=first.instructor
    )
    first.arena.lines.create(name="Centre", length_cm=5500, datum="gate")
    grid_of(first)
    grid_of(second, vertical(0, 80, ground_line="both"), vertical(1050, 90))

    assert "10:00" not in starts(minutes=60)
    assert "10:00" in starts(minutes=30)


def test_a_day_that_keeps_no_plan_comes_last_and_says_so() -> None:
    small_day(windows=False)
    School.objects.update(handling={"start_s": 3600})

    answers = found().answers

    assert {one.added_s for one in answers} == {None}
    assert "order it first" in answers[0].reasons[0].says


def test_settings_that_make_no_day_leave_the_minutes_open() -> None:
    small_day(windows=False)
    School.objects.update(handling={"wing": {"fetch_s": -1}})

    assert {one.added_s for one in found().answers} == {None}


def test_a_grid_that_fits_no_horse_is_refused_in_words() -> None:
    ArenaFactory()
    InstructorFactory()
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current

    with pytest.raises(UnableToFind, match="can't be fitted"):
        found(exercise=grid)


def test_who_does_not_teach_fences_so_high_is_not_offered() -> None:
    small_day(windows=False)
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current
    wish = {"work": "jumping", "exercise": grid} | ridden()
    assert found(**wish).answers

    Instructor.objects.update(highest_fence_cm=10)

    assert found(**wish).answers == ()


def test_without_a_named_horse_it_says_for_which_the_grid_is_fitted() -> None:
    small_day(windows=False)
    HorseFactory(name="Onyx", height_cm=199)
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current

    (note,) = found(exercise=grid, from_at=time(18)).notes

    assert "the grid as it fits Horse" in note


def test_a_time_says_what_its_arena_has_not_of_its_own() -> None:
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current
    InstructorFactory()
    for name, working in (("Hall", 40), ("Arena two", 2)):
        arena = ArenaFactory(name=name)
        LineFactory(arena=arena)
        place = KeepingPlaceFactory(name=name, arena=arena)
        StorePieceFactory(piece="cup", place=place, working=working)

    answers = found(**ridden(horses=[HorseFactory()]), exercise=grid).answers

    said = {one.arena.name: one.at_hand for one in answers}
    assert said["Hall"] == ()
    assert said["Arena two"] == (
        "Arena two's cups: 2 work, this grid needs 4: fetch 2 from Hall.",
    )
