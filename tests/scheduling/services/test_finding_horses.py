"""The horses of a time: which can go with whom, and what speaks against them."""

from datetime import time, timedelta

import pytest

from school.enums import Liking
from school.models import (
    HorseDayOff,
    HorseState,
    RiderHorse,
    School,
)
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.finding_wishes import SUNDAY, found, ridden, starts, without

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(place_every_cm=100, start_every_min=60, freeze_min=0)


@pytest.fixture(autouse=True)
def yard(school: School) -> None:
    ArenaFactory()
    InstructorFactory()


def test_a_state_keeps_a_horse_from_its_hours() -> None:
    horse = HorseFactory()
    HorseState.objects.create(
        horse=horse,
        kind="vet",
        state_from=at("10:00"),
        state_to=at("12:00"),
        reason="teeth",
    )

    assert starts(**ridden()) == without(10, 11)


def test_its_own_lessons_and_rest_keep_it() -> None:
    School.objects.update(start_every_min=30)
    RideFactory(horse=HorseFactory(rest_min=30), lesson__starts_at=at("12:00"))

    times = starts(**ridden(), from_at=time(10), to_at=time(14))

    assert times == ["10:00", "10:30", "13:30", "14:00"]


@pytest.mark.parametrize(
    "limit",
    [{"max_lessons": 1}, {"max_minutes": 90}],
    ids=["lessons", "minutes"],
)
def test_its_limits_keep_it(limit: dict) -> None:
    RideFactory(horse=HorseFactory(**limit), lesson__starts_at=at("12:00"))

    assert starts(**ridden()) == []


def test_its_age_keeps_it() -> None:
    HorseFactory(bookable_from_date=SUNDAY)

    assert starts(**ridden()) == []


def test_its_day_off_keeps_it() -> None:
    HorseDayOff.objects.create(horse=HorseFactory(), weekday=5)

    assert starts(**ridden()) == []


def test_a_seventh_day_in_a_row_keeps_it() -> None:
    horse = HorseFactory()
    for n in range(1, 7):
        when = at("12:00", SATURDAY - timedelta(days=n))
        RideFactory(horse=horse, lesson__starts_at=when)

    assert starts(**ridden()) == []


def test_weight_and_never_again_keep_a_horse_from_a_rider() -> None:
    small = HorseFactory(weight_kg=200, name="Small")
    other = HorseFactory(name="Other")
    rider = RiderFactory(weight_kg=70)
    RiderHorse.objects.create(
        rider=rider, horse=other, liking=Liking.NEVER, reason="bolted", set_at=NOW
    )
    wish = {"riders": [rider], "horses": [None]}

    assert starts(**wish) == []
    assert starts(**wish | {"horses": [small]}) == []


def test_the_horse_that_was_asked_for_goes() -> None:
    HorseFactory()
    asked = HorseFactory()
    RideFactory(horse=asked, lesson__starts_at=at("12:00"))

    answers = found(**ridden(horses=[asked])).answers

    assert {one.rides[0][1] for one in answers} == {asked}
    assert "12:00" not in {f"{one.starts_at:%H:%M}" for one in answers}


def test_the_fresher_horse_goes_and_says_what_it_has_to_do() -> None:
    tired, fresh = HorseFactory(name="Tired"), HorseFactory(name="Fresh")
    RideFactory(horse=tired, lesson__starts_at=at("08:00"))

    best = found(**ridden(), from_at=time(15)).answers[0]

    assert best.rides[0][1] == fresh
    assert "1 of 3 lessons and 60 of 180 min" in best.reasons[1].says


def test_a_rule_that_warns_is_said_and_counts_against_the_time() -> None:
    RideFactory(horse=HorseFactory(rest_min=0), lesson__starts_at=at("11:00"))

    answers = {f"{one.starts_at:%H:%M}": one for one in found(**ridden()).answers}

    assert any("rest 0 minutes" in x.says for x in answers["12:00"].reasons)
    assert answers["13:00"].points < answers["12:00"].points


def test_two_riders_have_two_horses() -> None:
    HorseFactory()
    riders = [RiderFactory(), RiderFactory()]
    wish = {"riders": riders, "horses": [None, None], "places": 2}

    assert starts(**wish) == []
    HorseFactory()
    best = found(**wish).answers[0]
    assert len({horse for _, horse in best.rides}) == 2


def test_places_without_a_name_want_horses_too() -> None:
    HorseFactory()
    busy = HorseFactory(rest_min=0)
    RideFactory(horse=busy, lesson__starts_at=at("12:00"))

    assert starts(places=2) == without(12)
    assert starts(places=3) == []
