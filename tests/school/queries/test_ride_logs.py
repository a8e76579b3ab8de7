"""What is asked of logs: the one that holds, histories, and the work register."""

from datetime import UTC, date, timedelta
from uuid import UUID

import pytest

from school.queries.ride_logs import (
    history_of_horse,
    history_of_rider,
    log_of,
    ridden_of_exercise,
    work_register,
)
from tests.clock import AUTUMN_CHANGE, SATURDAY, ZONE, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.ride_logs import (
    RiddenRideFactory,
    RideLogFactory,
    RideNoteFactory,
)

pytestmark = pytest.mark.django_db

SUNDAY = date(2027, 3, 7)
LATER = at("12:00", date(2027, 3, 8))


def corrected(ridden, **changes):
    """Write a correction of a ride's log beside it."""
    log = RideLogFactory(
        lesson=ridden.log.lesson,
        revision=ridden.log.revision,
        number=ridden.log.number + 1,
        token=UUID(int=10_000 + ridden.pk),
    )
    return RiddenRideFactory(log=log, ride=ridden.ride, **changes)


def test_only_the_newest_log_of_a_lesson_holds() -> None:
    first = RiddenRideFactory()
    second = corrected(first, went="mixed")

    assert log_of(first.log.lesson) == second.log
    assert history_of_horse(first.horse) == [second]
    assert history_of_rider(first.rider) == [second]


def test_a_lesson_without_a_log_has_none() -> None:
    assert log_of(LessonFactory()) is None


def test_a_history_begins_with_the_newest_and_is_of_one_horse() -> None:
    horse = HorseFactory()
    old, new = (
        RiddenRideFactory(ride__horse=horse, log__lesson__starts_at=at("09:00", day))
        for day in (SATURDAY, SUNDAY)
    )
    RiddenRideFactory()

    assert history_of_horse(horse) == [new, old]
    assert history_of_horse(horse, most=1) == [new]


def test_an_exercise_is_known_by_horse_or_rider_and_only_from_before() -> None:
    ridden = RiddenRideFactory()
    exercise = ridden.log.revision.exercise_id
    same_horse = RideFactory(horse=ridden.horse, lesson__starts_at=at("09:00", SUNDAY))
    same_rider = RideFactory(rider=ridden.rider, lesson__starts_at=at("09:00", SUNDAY))
    stranger = RideFactory(lesson__starts_at=at("09:00", SUNDAY))

    def known(ride, before=LATER, of=exercise):
        return ridden_of_exercise(of, [ride], before)

    assert known(same_horse) == [ridden]
    assert known(same_rider) == [ridden]
    assert known(stranger) == []
    assert known(same_horse, before=ridden.log.lesson.starts_at) == []
    assert known(same_horse, of=exercise + 1) == []


def test_the_register_adds_up_a_day_by_the_schools_clock() -> None:
    horse = HorseFactory()
    first = RiddenRideFactory(ride__horse=horse, quarter_efforts=44)
    RiddenRideFactory(
        ride__horse=horse,
        quarter_efforts=10,
        log__lesson__starts_at=at("23:30"),
        log__lesson__ends_at=at("23:30") + timedelta(minutes=45),
    )
    corrected(first, quarter_efforts=36)

    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER)

    assert (day.date, day.lessons, day.minutes) == (SATURDAY, 2, 105)
    assert (day.quarter_efforts, day.unlogged) == (46, 0)


def test_a_jumping_lesson_that_nobody_logged_is_said_so() -> None:
    horse = HorseFactory()
    RideFactory(horse=horse, lesson__work="flat")
    RideFactory(horse=horse, lesson__starts_at=at("14:00"))

    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER)

    assert (day.lessons, day.quarter_efforts, day.unlogged) == (2, 0, 1)


def test_a_short_wait_between_two_lessons_is_work() -> None:
    horse = HorseFactory()
    for clock in ("09:00", "10:10", "12:00"):
        RideFactory(horse=horse, lesson__starts_at=at(clock))

    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER, tacked_min=10)
    assert day.minutes == 3 * 60 + 10
    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER, tacked_min=9)
    assert day.minutes == 3 * 60


def test_what_has_not_begun_or_is_not_held_is_no_work() -> None:
    horse = HorseFactory()
    RideFactory(horse=horse)
    RideFactory(horse=horse, lesson__state="asked")
    RideFactory(horse=horse, lesson__state="cancelled", lesson__state_reason="rain")

    assert work_register([horse], SATURDAY, SATURDAY, ZONE, at("08:59")) == []
    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER)
    assert day.lessons == 1


def test_the_register_is_newest_first_and_then_by_name() -> None:
    onyx, acorn = HorseFactory(name="Onyx"), HorseFactory(name="Acorn")
    for horse, day in ((onyx, SATURDAY), (acorn, SATURDAY), (onyx, SUNDAY)):
        RideFactory(horse=horse, lesson__starts_at=at("09:00", day))

    found = work_register([onyx, acorn], SATURDAY, SUNDAY, ZONE, LATER)

    assert [(one.date, one.horse.name) for one in found] == [
        (SUNDAY, "Onyx"),
        (SATURDAY, "Acorn"),
        (SATURDAY, "Onyx"),
    ]


def test_minutes_are_true_on_the_night_the_clocks_change() -> None:
    horse = HorseFactory()
    start = at("02:30", AUTUMN_CHANGE).astimezone(UTC)
    RideFactory(
        horse=horse,
        lesson__starts_at=start,
        lesson__ends_at=start + timedelta(minutes=45),
    )

    (day,) = work_register(
        [horse], AUTUMN_CHANGE, AUTUMN_CHANGE, ZONE, at("12:00", date(2027, 11, 1))
    )

    assert (day.date, day.minutes) == (AUTUMN_CHANGE, 45)


def test_questions_take_a_constant_number_of_queries(
    django_assert_num_queries,
) -> None:
    horse = HorseFactory()

    def ask() -> None:
        with django_assert_num_queries(4):
            for one in history_of_horse(horse):
                list(one.notes.all())
            work_register([horse], SATURDAY, SUNDAY, ZONE, LATER)

    RideNoteFactory(ridden=RiddenRideFactory(ride__horse=horse))
    ask()
    for hour in ("11:00", "14:00"):
        RideNoteFactory(
            ridden=RiddenRideFactory(ride__horse=horse, log__lesson__starts_at=at(hour))
        )
    ask()


def test_poles_on_the_lead_rein_are_no_jumping_that_wants_a_log() -> None:
    horse = HorseFactory()
    RideFactory(horse=horse, lesson__kind="lead-rein", lesson__places=1)

    (day,) = work_register([horse], SATURDAY, SATURDAY, ZONE, LATER)

    assert (day.lessons, day.unlogged) == (1, 0)
