"""Daylight: the times held against almanac values, and what is refused in the dark."""

from datetime import date, time

import pytest

from school.queries.daylight import daylight
from school.services.checks import check_arena
from school.services.refusals import UnableToBook
from tests.clock import at
from tests.factories.arenas import ArenaFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

NOVEMBER = date(2026, 11, 26)


@pytest.mark.parametrize(
    ("zone", "place", "day", "rises", "sets"),
    [
        # The worked example of the Almanac for Computers (Nautical Almanac Office,
        # US Naval Observatory), value from memory.
        ("America/New_York", (40.9, -74.3), date(1990, 6, 25), "05:26", None),
        # London and Amsterdam as almanacs print them, values from memory.
        ("Europe/London", (51.5, -0.12), date(2024, 6, 21), "04:43", "21:21"),
        ("Europe/Amsterdam", (52.37, 4.9), date(2023, 12, 21), "08:48", "16:29"),
    ],
)
def test_the_sun_rises_and_sets_as_almanacs_say(zone, place, day, rises, sets) -> None:
    school = SchoolFactory(zone=zone, latitude=place[0], longitude=place[1])

    found = daylight(school, day)

    assert found is not None
    for said, value in ((rises, found.rises), (sets, found.sets)):
        if said is not None:
            minutes = time.fromisoformat(said).hour * 60 + int(said[3:])
            assert abs(value.hour * 60 + value.minute - minutes) <= 2


def test_where_the_sun_does_not_set_nothing_is_said() -> None:
    school = SchoolFactory(latitude=78.0, longitude=15.0)

    assert daylight(school, date(2026, 6, 21)) is None


def test_a_school_that_has_not_said_where_it_lies_has_no_dark() -> None:
    SchoolFactory()

    check_arena(ArenaFactory(), at("18:00", NOVEMBER), at("19:00", NOVEMBER))


def test_an_arena_without_lights_is_refused_in_the_dark_with_the_hour() -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)
    arena = ArenaFactory(name="Arena two")

    with pytest.raises(UnableToBook) as refused:
        check_arena(arena, at("16:15", NOVEMBER), at("17:15", NOVEMBER))

    assert refused.value.code == "dark"
    assert "It is dark from 16:3" in refused.value.says
    assert "on 26 November; Arena two has no lights." in refused.value.says


def test_it_is_dark_in_the_morning_too() -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)

    with pytest.raises(UnableToBook, match="dark until 08:2"):
        check_arena(ArenaFactory(), at("08:00", NOVEMBER), at("09:00", NOVEMBER))


@pytest.mark.parametrize("change", [{"lit": True}, {"indoor": True}])
def test_a_lit_or_covered_arena_is_used_in_the_dark(change) -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)

    arena = ArenaFactory(**change)

    check_arena(arena, at("18:00", NOVEMBER), at("19:00", NOVEMBER))
