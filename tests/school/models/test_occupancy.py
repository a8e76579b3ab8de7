"""No arena, horse or person in two places at once, by any door."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from school.models import (
    ArenaClosure,
    HorseState,
    InstructorAbsence,
    Lesson,
    Occupancy,
    Ride,
)
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory, PersonFactory, RiderFactory

pytestmark = pytest.mark.django_db


def refused(write: Callable[[], Any]) -> None:
    with (
        pytest.raises(IntegrityError, match="occupancy_no_two_at_once"),
        transaction.atomic(),
    ):
        write()


def test_an_arena_is_not_given_to_two_lessons_that_overlap() -> None:
    lesson = LessonFactory()

    refused(lambda: LessonFactory(arena=lesson.arena, starts_at=at("09:59")))


def test_an_instructor_does_not_teach_two_lessons_at_once() -> None:
    lesson = LessonFactory()

    refused(lambda: LessonFactory(instructor=lesson.instructor))


def test_a_horse_is_not_in_two_lessons_at_once() -> None:
    ride = RideFactory()

    refused(lambda: RideFactory(horse=ride.horse))


def test_a_rider_is_not_in_two_lessons_at_once() -> None:
    ride = RideFactory()

    refused(lambda: RideFactory(rider=ride.rider))


def test_one_person_does_not_ride_and_teach_at_once() -> None:
    person = PersonFactory()
    LessonFactory(instructor=InstructorFactory(person=person))

    refused(lambda: RideFactory(rider=RiderFactory(person=person)))


def test_a_moved_lesson_takes_its_horses_along() -> None:
    early, late = RideFactory(), RideFactory(lesson__starts_at=at("11:00"))
    shared = RideFactory(lesson__starts_at=at("13:00"), horse=early.horse)

    refused(
        lambda: Lesson.objects.filter(pk=shared.lesson_id).update(
            starts_at=at("09:30"), ends_at=at("10:30")
        )
    )
    Lesson.objects.filter(pk=shared.lesson_id).update(
        starts_at=late.lesson.starts_at, ends_at=late.lesson.ends_at
    )

    held = Occupancy.objects.get(what="horse", source_id=shared.pk)
    assert held.taken_from == at("11:00")


def test_a_horse_changed_in_a_ride_is_free_again() -> None:
    ride, other = RideFactory(), HorseFactory()
    old = ride.horse
    Ride.objects.filter(pk=ride.pk).update(horse=other)

    RideFactory(horse=old)

    refused(lambda: RideFactory(horse=other))


@pytest.mark.parametrize("state", ["asked", "cancelled"])
def test_a_lesson_not_booked_holds_nothing(state: str) -> None:
    lesson = LessonFactory(state=state, state_reason="storm")

    LessonFactory(arena=lesson.arena, instructor=lesson.instructor)

    assert not Occupancy.objects.filter(lesson_id=lesson.pk).exists()


def test_a_lesson_booked_after_it_was_asked_for_holds_its_rides() -> None:
    ride = RideFactory(lesson__state="asked")
    Lesson.objects.filter(pk=ride.lesson_id).update(state="booked")

    refused(lambda: RideFactory(horse=ride.horse))


def test_a_cancelled_ride_frees_horse_and_rider() -> None:
    ride = RideFactory()
    Ride.objects.filter(pk=ride.pk).update(
        state="cancelled", cancelled_at=NOW, cancelled_reason="ill"
    )

    RideFactory(horse=ride.horse, rider=ride.rider)

    assert not Occupancy.objects.filter(source="ride", source_id=ride.pk).exists()


def test_a_deleted_ride_frees_horse_and_rider() -> None:
    ride = RideFactory()
    Ride.objects.filter(pk=ride.pk).delete()

    RideFactory(horse=ride.horse, rider=ride.rider)


def test_a_deleted_lesson_frees_its_arena() -> None:
    lesson = LessonFactory()
    Lesson.objects.filter(pk=lesson.pk).delete()

    assert not Occupancy.objects.exists()


def test_a_closed_arena_takes_no_lesson() -> None:
    arena = ArenaFactory()
    closure = ArenaClosure.objects.create(
        arena=arena, closed_from=at("09:30"), closed_to=at("11:00"), reason="frost"
    )

    refused(lambda: LessonFactory(arena=arena))
    closure.delete()
    LessonFactory(arena=arena)


def test_an_arena_is_not_closed_over_a_lesson() -> None:
    lesson = LessonFactory()

    refused(
        lambda: ArenaClosure.objects.create(
            arena=lesson.arena,
            closed_from=at("09:30"),
            closed_to=at("11:00"),
            reason="frost",
        )
    )


def test_a_horse_unfit_without_an_end_is_in_no_lesson_from_then_on() -> None:
    horse = HorseFactory()
    state = HorseState.objects.create(
        horse=horse, kind="unfit", state_from=at("08:00"), reason="lame"
    )

    refused(lambda: RideFactory(horse=horse))
    HorseState.objects.filter(pk=state.pk).update(state_to=at("08:30"))
    RideFactory(horse=horse)


def test_a_deleted_state_lets_the_horse_work() -> None:
    horse = HorseFactory()
    HorseState.objects.create(
        horse=horse, kind="unfit", state_from=at("08:00"), reason="lame"
    ).delete()

    assert RideFactory(horse=horse).pk


def test_a_lesson_of_a_closed_arena_may_lie_next_to_the_closure() -> None:
    arena = ArenaFactory()
    ArenaClosure.objects.create(
        arena=arena, closed_from=at("10:00"), closed_to=at("11:00"), reason="frost"
    )

    assert LessonFactory(arena=arena).pk


@pytest.mark.parametrize(
    ("day", "hours"),
    [(SATURDAY, 0), (SATURDAY + timedelta(days=22), 1)],
    ids=["winter", "summer-begins"],
)
def test_overlap_is_of_moments_not_of_wall_clocks(day: Any, hours: int) -> None:
    lesson = LessonFactory(starts_at=at("01:30", day), ends_at=at("03:30", day))

    assert lesson.ends_at.astimezone() - lesson.starts_at.astimezone() == timedelta(
        hours=2 - hours
    )
    refused(lambda: LessonFactory(arena=lesson.arena, starts_at=at("03:15", day)))


def test_a_horse_is_held_by_a_state_without_an_end() -> None:
    ride = RideFactory(lesson__starts_at=at("09:00"))

    refused(
        lambda: HorseState.objects.create(
            horse=ride.horse, kind="unfit", state_from=NOW, reason="lame"
        )
    )


def absence(teacher, **changes) -> InstructorAbsence:
    fields = {"absent_from": at("09:30"), "absent_to": at("11:00"), "reason": "sick"}
    return InstructorAbsence.objects.create(instructor=teacher, **(fields | changes))


def test_an_instructor_who_is_out_teaches_no_lesson() -> None:
    teacher = InstructorFactory()
    out = absence(teacher)

    refused(lambda: LessonFactory(instructor=teacher))
    InstructorAbsence.objects.filter(pk=out.pk).update(absent_from=at("10:00"))
    LessonFactory(instructor=teacher)


def test_an_instructor_is_not_out_over_a_lesson() -> None:
    lesson = LessonFactory()

    refused(lambda: absence(lesson.instructor))


def test_an_absence_that_is_deleted_lets_the_instructor_teach() -> None:
    teacher = InstructorFactory()
    absence(teacher).delete()

    assert LessonFactory(instructor=teacher).pk
