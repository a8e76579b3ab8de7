"""Harrows and clear lessons that leave no time for the fences, before and after.

Times of taking off and building: the day file's contract; a vertical stripped in about
3 min, a grid of four built alone in about 20: handbook, practice 5 (own figures).
"""

from datetime import timedelta

import pytest

from scheduling.services.tight import tight_at, tight_harrows
from tests.clock import SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import LineMoveFactory, YardWorkFactory
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def hall():
    SchoolFactory()
    return ArenaFactory(name="Hall")


def harrow(hall, clock="13:00"):
    return YardWorkFactory(arena=hall, starts_at=at(clock))


def ride(hall, clock, **keys):
    return LessonFactory(title="Grids", arena=hall, starts_at=at(clock), **keys)


def test_straight_after_a_lesson_over_fences_there_is_no_time(hall):
    lesson = ride(hall, "12:00", work="jumping")

    (words,) = tight_harrows([harrow(hall)])

    assert words.startswith(
        "Grids jumps in Hall until Sat 6 Mar 13:00. Its fences must be off before "
        "harrowing at 13:00: that takes about 12 min, and there is none."
    )
    assert tight_at(lesson) == [words]


def test_its_grid_says_how_long_it_takes(hall):
    grid_of(ride(hall, "12:00"), cross(0), vertical(600))

    (words,) = tight_harrows([harrow(hall, "13:02")])

    # 60 s to begin, a cross of 64 + 40 + 12 s, a vertical of 64 + 20 + 12 s.
    assert "that takes 5 min, and there are 2" in words


def test_with_time_enough_nothing_is_said(hall):
    grid_of(ride(hall, "12:00"), cross(0), vertical(600))

    assert tight_harrows([harrow(hall, "13:05")]) == []


def test_the_lessons_own_cool_down_counts(hall):
    ride(hall, "12:00", work="jumping", cool_down_min=12)

    assert tight_harrows([harrow(hall)]) == []


def test_a_flat_lesson_between_leaves_the_fences_standing(hall):
    ride(hall, "11:00", work="jumping")
    flat = ride(hall, "12:00", work="flat")

    (words,) = tight_harrows([harrow(hall)])

    assert "until Sat 6 Mar 12:00" in words
    assert tight_at(flat) == []


def test_straight_before_a_lesson_over_fences_nothing_can_be_built(hall):
    work = harrow(hall)
    lesson = ride(hall, "13:30", work="jumping")

    (words,) = tight_harrows([work])

    assert "which ends at 13:25: that takes one person about 20 min, and there" in (
        words
    )
    assert tight_at(lesson) == [words]


def test_a_grid_after_it_is_built_in_its_own_time(hall):
    work = harrow(hall)
    grid_of(ride(hall, "13:27"), cross(0))

    (words,) = tight_harrows([work])

    # 60 s to begin; 2 wings at 45, 2 poles at 28, 2 cups at 12, 30 s measured.
    assert "that takes one person 5 min, and there are 2" in words


def test_fences_stand_in_the_way_of_a_lesson_that_needs_a_clear_arena(hall):
    jumping = ride(hall, "12:00", work="jumping")
    beginners = LessonFactory(
        title="First lesson",
        work="flat",
        arena=hall,
        starts_at=at("13:05"),
        needs_clear=True,
    )

    said = tight_at(beginners)

    assert said == [
        "Grids jumps in Hall until Sat 6 Mar 13:00. Its fences stand in the way of "
        "First lesson, which needs the arena clear at 13:05: taking them off takes "
        "about 12 min, and there are 5, from 13:00 to 13:05. Leave time between them, "
        "or the day can't be ordered."
    ]
    assert tight_at(jumping) == said


def test_fences_straight_after_a_clear_lesson_can_not_be_built(hall):
    clear = ride(hall, "12:00", work="flat", needs_clear=True)
    jumping = LessonFactory(title="Jump after", arena=hall, starts_at=at("13:00"))

    (words,) = tight_at(jumping)

    assert words.startswith(
        "Jump after jumps in Hall at Sat 6 Mar 13:00. Its fences are built after "
        "Grids, which needs the arena clear until 13:00: that takes one person about "
        "20 min, and there is none."
    )
    assert tight_at(clear) == [words]


def test_what_was_taken_off_before_is_in_nobodys_way_any_more(hall):
    ride(hall, "09:00", work="jumping")
    ride(hall, "11:00", work="flat", needs_clear=True)
    second = ride(hall, "12:00", work="flat", needs_clear=True)

    assert tight_at(second) == []


def test_another_day_another_arena_and_another_work_say_nothing(hall):
    ride(hall, "12:00", work="jumping")
    tomorrow = at("13:00", SATURDAY + timedelta(days=1))

    assert tight_harrows([]) == []
    assert tight_harrows([LineMoveFactory(starts_at=at("13:00"))]) == []
    assert tight_harrows([harrow(ArenaFactory())]) == []
    assert (
        tight_harrows(
            [YardWorkFactory(arena=hall, starts_at=tomorrow, date=tomorrow.date())]
        )
        == []
    )
