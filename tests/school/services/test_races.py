"""Twenty people at the same moment, each by a connection of their own.

Whoever is first has it; each of the others is told in words what is taken. Nobody
sees an error page, on either database.
"""

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.db import connection

from school.models import Lesson, Ride, WaitingOffer
from school.services.booking import book_lesson
from school.services.lessons import move_lesson
from school.services.offers import take_offer
from school.services.refusals import UnableToBook
from school.services.rides import add_ride, change_horse
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingOfferFactory

pytestmark = pytest.mark.django_db(transaction=True)

MANY = 20


def race(verbs: list[Callable[[], object]]) -> tuple[int, list[UnableToBook], list]:
    """Do all at once; return how many won, the refusals, and what else went wrong."""
    barrier = Barrier(len(verbs))
    won: list[object] = []
    told: list[UnableToBook] = []
    broken: list[BaseException] = []

    def run(verb: Callable[[], object]) -> None:
        try:
            connection.ensure_connection()
            barrier.wait(timeout=120)
            won.append(verb())
        except UnableToBook as refusal:
            told.append(refusal)
        except Exception as error:  # noqa: BLE001 -- what else went wrong is the test
            broken.append(error)
        finally:
            connection.close()

    threads = [Thread(target=run, args=(verb,)) for verb in verbs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return len(won), told, broken


def in_words(told: list[UnableToBook]) -> bool:
    return all(one.code and one.says.endswith(".") for one in told)


def test_of_twenty_clients_who_take_the_last_place_one_has_it() -> None:
    SchoolFactory()
    lesson = LessonFactory(places=3, title="Saturday row")
    RideFactory.create_batch(2, lesson=lesson)
    offers = [
        WaitingOfferFactory(lesson=lesson, wish__rider=RiderFactory())
        for _ in range(MANY)
    ]

    won, told, broken = race(
        [lambda one=one: take_offer(offer=one, now=NOW) for one in offers]
    )

    assert (won, broken) == (1, [])
    assert len(told) == MANY - 1
    assert in_words(told)
    assert {one.says for one in told} == {
        "Somebody was quicker: the place in Saturday row is gone. "
        "You stay on the waiting list."
    }
    assert Ride.objects.filter(lesson=lesson, state="booked").count() == 3
    assert WaitingOffer.objects.filter(state="taken").count() == 1


def test_of_twenty_who_book_one_arena_at_one_time_one_has_it() -> None:
    SchoolFactory()
    arena = ArenaFactory(name="Hall")
    teachers = [InstructorFactory() for _ in range(MANY)]

    def book(teacher):
        return lambda: book_lesson(
            title="Row", kind="private", work="jumping", starts_at=at("09:00"),
            minutes=60, arena=arena, instructor=teacher, by=None, now=NOW,
        )  # fmt: skip

    won, told, broken = race([book(one) for one in teachers])

    assert (won, broken) == (1, [])
    assert len(told) == MANY - 1
    assert in_words(told)
    assert Counter(one.code for one in told) == {"arena-busy": MANY - 1}
    assert Lesson.objects.count() == 1


def test_of_twenty_lessons_that_want_one_horse_one_has_it() -> None:
    SchoolFactory()
    horse = HorseFactory(name="Bramble")
    rides = [RideFactory(horse=None) for _ in range(MANY)]

    won, told, broken = race(
        [
            lambda one=one: change_horse(ride=one, horse=horse, by=None, now=NOW)
            for one in rides
        ]
    )

    assert (won, broken) == (1, [])
    assert len(told) == MANY - 1
    assert in_words(told)
    assert Counter(one.code for one in told) == {"horse-busy": MANY - 1}
    assert Ride.objects.filter(horse=horse).count() == 1


def test_one_horse_booked_with_two_lessons_at_once_goes_in_one() -> None:
    SchoolFactory()
    horse = HorseFactory(name="Bramble")
    riders = [RiderFactory() for _ in range(2)]
    teachers = [InstructorFactory() for _ in range(2)]
    arenas = [ArenaFactory() for _ in range(2)]

    def book(n):
        return lambda: book_lesson(
            title=f"Row {n}", kind="private", work="jumping", starts_at=at("09:00"),
            minutes=60, arena=arenas[n], instructor=teachers[n],
            rides=[(riders[n], horse)], by=None, now=NOW,
        )  # fmt: skip

    won, told, broken = race([book(0), book(1)])

    assert (won, broken) == (1, [])
    assert [one.code for one in told] == ["horse-busy"]
    assert "Bramble goes in Row" in told[0].says


def test_one_rider_who_joins_twenty_lessons_at_once_is_in_one() -> None:
    SchoolFactory()
    rider = RiderFactory(person__first_name="Wieke")
    lessons = [LessonFactory() for _ in range(MANY)]

    won, told, broken = race(
        [
            lambda one=one: add_ride(
                lesson=one, rider=rider, horse=None, by=None, now=NOW
            )
            for one in lessons
        ]
    )

    assert (won, broken) == (1, [])
    assert Counter(one.code for one in told) == {"rider-busy": MANY - 1}


def test_twenty_lessons_moved_to_one_time_and_arena_leave_one_there() -> None:
    SchoolFactory()
    arena = ArenaFactory(name="Hall")
    lessons = [LessonFactory() for _ in range(MANY)]

    won, told, broken = race(
        [
            lambda one=one: move_lesson(
                lesson=one, starts_at=at("14:00"), arena=arena, version=1,
                by=None, now=NOW,
            )
            for one in lessons
        ]
    )  # fmt: skip

    assert (won, broken) == (1, [])
    assert Counter(one.code for one in told) == {"arena-busy": MANY - 1}
    assert Lesson.objects.filter(arena=arena).count() == 1


def test_one_lesson_moved_twenty_ways_at_once_goes_one_way() -> None:
    SchoolFactory()
    lesson = LessonFactory()

    won, told, broken = race(
        [
            lambda n=n: move_lesson(
                lesson=lesson, starts_at=at("10:00") + timedelta(minutes=15 * n),
                version=1, by=None, now=NOW,
            )
            for n in range(MANY)
        ]
    )  # fmt: skip

    assert (won, broken) == (1, [])
    assert Counter(one.code for one in told) == {"changed-meanwhile": MANY - 1}
    assert Lesson.objects.get().version == 2


def test_two_lessons_that_change_horses_crosswise_are_both_told_or_done() -> None:
    # Each wants what the other holds: locks taken in another order would block.
    SchoolFactory()
    first, second = RideFactory(), RideFactory()

    won, told, broken = race(
        [
            lambda: change_horse(ride=first, horse=second.horse, by=None, now=NOW),
            lambda: change_horse(ride=second, horse=first.horse, by=None, now=NOW),
        ]
    )

    assert (won, broken) == (0, [])
    assert Counter(one.code for one in told) == {"horse-busy": 2}
