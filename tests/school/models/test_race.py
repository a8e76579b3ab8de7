"""Two bookings from two connections at the same moment: one wins, one is told."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction

from school.models import Lesson, PackUse
from school.services.invitations import lesson_changed
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.packs import LessonPackFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory

WRITERS = 8


def race(writes: list) -> list[str]:
    barrier = Barrier(len(writes))
    results: list[str] = []

    def run(write) -> None:
        try:
            barrier.wait(timeout=120)
            write()
            results.append("won")
        except IntegrityError as error:
            results.append("told" if "at_once" in str(error) else str(error))
        except OperationalError as error:
            # Two writers that wait for each other's index entry: one is ended.
            results.append("told" if "deadlock" in str(error) else str(error))
        finally:
            connection.close()

    threads = [Thread(target=run, args=(write,)) for write in writes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return results


@pytest.mark.django_db(transaction=True)
def test_of_many_bookings_of_one_arena_at_one_time_exactly_one_wins() -> None:
    template = LessonFactory(state="asked")
    instructors = [InstructorFactory() for _ in range(WRITERS)]

    def write(instructor):
        return lambda: LessonFactory(arena=template.arena, instructor=instructor)

    results = race([write(instructor) for instructor in instructors])

    assert sorted(results) == ["told"] * (WRITERS - 1) + ["won"]
    assert Lesson.objects.filter(state="booked").count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_ride_booked_while_its_lesson_moves_never_leaves_a_horse_twice() -> None:
    taken = RideFactory()
    other = LessonFactory(starts_at=taken.lesson.ends_at)

    results = race(
        [
            lambda: RideFactory(lesson=other, horse=taken.horse),
            lambda: Lesson.objects.filter(pk=other.pk).update(
                starts_at=taken.lesson.starts_at, ends_at=taken.lesson.ends_at
            ),
        ]
    )

    assert "won" in results
    assert sorted(results) == ["told", "won"]


@pytest.mark.django_db
def test_readers_of_sqlite_do_not_wait_for_its_writer() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA journal_mode")
            assert cursor.fetchone() == ("wal",)
        else:
            cursor.execute("SHOW default_transaction_isolation")
            assert cursor.fetchone() == ("read committed",)


@pytest.mark.django_db(transaction=True)
def test_the_last_lesson_of_a_pack_is_spent_once_however_many_book_at_once() -> None:
    SchoolFactory()
    pack = LessonPackFactory(lessons=1)
    rides = [
        RideFactory(
            rider__client=pack.client,
            lesson__starts_at=at("09:00", SATURDAY + timedelta(days=n)),
        )
        for n in range(WRITERS)
    ]

    def write(ride):
        return lambda: told(ride)

    def told(ride) -> None:
        with transaction.atomic():
            lesson_changed(lesson=ride.lesson, now=NOW)

    results = race([write(ride) for ride in rides])

    assert results == ["won"] * WRITERS
    assert PackUse.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_database_keeps_a_pack_from_being_overspent_by_itself() -> None:
    pack = LessonPackFactory(lessons=2)
    rides = [RideFactory() for _ in range(WRITERS)]

    results = race(
        [
            lambda ride=ride: PackUse.objects.create(pack=pack, ride=ride, used_at=NOW)
            for ride in rides
        ]
    )

    assert results.count("won") == 2
    assert all("pack_not_overspent" in one for one in results if one != "won")
