"""Finding a time: the free slots of a day, ranked by what they add."""

from datetime import time

import pytest

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.services.slots import UnableToFind, Wish, find_slots
from school.models import ArenaClosure, HorseState, InstructorHours, School
from tests.clock import NOW, SATURDAY, at
from tests.factories.horses import HorseFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db


def found(now=NOW, **wish):
    wish = {
        "minutes": 60,
        "instructor": wish.pop("instructor", None) or InstructorFactory(),
    } | wish
    return find_slots(date=SATURDAY, wish=Wish(**wish), now=now)


def clocks(slots) -> list[str]:
    return [f"{one.starts_at:%H:%M}" for one in slots]


def test_the_least_added_comes_first_and_nothing_taken_is_offered():
    arena, _, _ = small_day()
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair").current

    slots = found(exercise=grid, horses=[HorseFactory()], riders=[RiderFactory()])

    assert [one.added_s for one in slots] == sorted(one.added_s for one in slots)
    assert {one.arena for one in slots} == {arena}
    assert not {"09:00", "10:30", "12:00"} & set(clocks(slots))
    assert slots[0].added_min == -(-slots[0].added_s // 60)


def test_a_flat_lesson_adds_nothing():
    small_day()

    assert {one.added_s for one in found()} == {0}


def test_times_gone_by_are_not_offered():
    small_day()

    assert min(clocks(found(now=at("14:10")))) == "14:30"


def test_closures_hours_and_a_horse_that_is_off_are_kept_free():
    arena, _, _ = small_day()
    teacher, horse = InstructorFactory(), HorseFactory()
    InstructorHours.objects.create(
        instructor=teacher, weekday=5, from_at=time(8), to_at=time(17)
    )
    ArenaClosure.objects.create(
        arena=arena, closed_from=at("13:00"), closed_to=at("14:00"), reason="frost"
    )
    HorseState.objects.create(
        horse=horse,
        kind="rest",
        state_from=at("14:00"),
        state_to=at("15:00"),
        reason="lame",
    )

    slots = found(instructor=teacher, horses=[horse])

    assert clocks(slots) == ["08:00", "15:00", "15:30", "16:00"]


def test_a_lesson_that_is_moved_does_not_stand_in_its_own_way():
    _, _, lessons = small_day()

    assert "09:00" in clocks(found(but=lessons[0].pk))


def test_a_grid_without_horses_is_refused_in_words():
    small_day()
    load_library(now=NOW)

    with pytest.raises(UnableToFind, match="horses"):
        found(exercise=Exercise.objects.get(slug="bounce-pair").current)


def test_a_day_that_is_not_possible_as_booked_is_said_so():
    small_day()
    School.objects.update(handling={"start_s": 3600})

    with pytest.raises(UnableToFind, match="Order the day first"):
        found()


def test_settings_that_make_no_day_are_said():
    small_day()
    School.objects.update(handling={"wing": {"fetch_s": -1}})

    with pytest.raises(UnableToFind, match="handling"):
        found()


def test_a_slot_that_saves_says_only_whole_minutes():
    small_day()
    slot = found()[0]

    assert type(slot)(slot.starts_at, slot.arena, -119).saved_min == 1
