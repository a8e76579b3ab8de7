"""Which horses could be booked for a time: all by one set of queries."""

from datetime import date, timedelta

import pytest

from school.models import HorseDayOff, HorseState
from school.services.checks import horses_able
from tests.clock import NOW, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

TIMES = (at("09:00"), at("10:00"))


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def names(**more) -> list[str]:
    return [one.name for one in horses_able(*TIMES, work="jumping", **more)]


def test_a_horse_is_able_unless_its_day_forbids_it() -> None:
    HorseFactory(name="Free")
    HorseFactory(name="Young", bookable_from_date=date(2099, 1, 1))
    lame = HorseFactory(name="Lame")
    HorseState.objects.create(
        horse=lame, kind="vet", state_from=NOW - timedelta(days=99), reason="lame"
    )
    off = HorseFactory(name="Off")
    HorseDayOff.objects.create(horse=off, weekday=TIMES[0].weekday())
    RideFactory(horse__name="Busy")
    RideFactory(
        horse__name="Unrested",
        lesson__starts_at=at("10:10"),
        lesson__ends_at=at("11:00"),
    )
    RideFactory(
        horse__name="Done",
        horse__max_lessons=1,
        lesson__starts_at=at("15:00"),
        lesson__ends_at=at("16:00"),
    )

    assert names() == ["Free"]


def test_a_lesson_that_is_looked_at_does_not_count() -> None:
    ride = RideFactory(horse__name="Onyx")

    assert names() == []
    assert names(but=[ride.lesson_id]) == ["Onyx"]


@pytest.mark.parametrize("count", [1, 3])
def test_any_number_of_horses_takes_the_same_queries(
    count: int, django_assert_num_queries
) -> None:
    for _ in range(count):
        RideFactory(lesson__starts_at=at("09:30"))
        HorseFactory()

    with django_assert_num_queries(9):
        horses_able(*TIMES, work="jumping")
