"""A horse's minutes and rest over the nights in which the clocks change.

In the Netherlands they go from 02:00 to 03:00 on the last Sunday of March and from
03:00 to 02:00 on that of October (Directive 2000/84/EC: at 01:00 UTC); a minute of
work or rest is one that passes, whatever the clock shows.
"""

from datetime import datetime, time

import pytest

from scheduling.services.matching import propose
from school.models import Horse, Lesson
from school.services.booking import book_lesson
from school.services.refusals import UnableToBook
from school.services.welfare import told_of_horses
from tests.clock import AUTUMN_CHANGE, NOW, SPRING_CHANGE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def horse() -> Horse:
    SchoolFactory()
    return HorseFactory(name="Onyx", rest_min=30)


def book(horse: Horse | None, starts_at: datetime, minutes: int = 60) -> Lesson:
    """Book in an arena that is open all night."""
    return book_lesson(
        title="Night ride",
        kind="private",
        work="flat",
        starts_at=starts_at,
        minutes=minutes,
        arena=ArenaFactory(opens_at=time.min, closes_at=time.max),
        instructor=InstructorFactory(),
        rides=[(RiderFactory(), horse)],
        by=None,
        now=NOW,
    )


@pytest.mark.parametrize(
    ("first", "minutes", "second", "rest"),
    [
        # To 01:45, and from 03:00: the clock shows 75 minutes, 15 pass.
        (at("00:45", SPRING_CHANGE), 60, at("03:00", SPRING_CHANGE), 15),
        # To 03:15 on the clock, and from 03:40.
        (at("01:15", SPRING_CHANGE), 60, at("03:40", SPRING_CHANGE), 25),
        # To 03:00 by the clock of summer, and from ten past two by that of winter.
        (at("02:00", AUTUMN_CHANGE), 60,
         at("02:10", AUTUMN_CHANGE).replace(fold=1), 10),
    ],
)  # fmt: skip
def test_rest_is_the_minutes_that_pass(horse, first, minutes, second, rest) -> None:
    book(horse, first, minutes)

    with pytest.raises(UnableToBook, match=f"would rest {rest} minutes") as caught:
        book(horse, second)

    assert caught.value.code == "horse-rest"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (at("00:30", SPRING_CHANGE), at("03:00", SPRING_CHANGE)),
        # From the end to the beginning the clock shows half an hour less than none.
        (at("01:55", AUTUMN_CHANGE), at("02:25", AUTUMN_CHANGE).replace(fold=1)),
    ],
)
def test_a_rest_that_is_long_enough_is_so_on_both_nights(horse, first, second) -> None:
    book(horse, first)

    assert book(horse, second).pk


@pytest.mark.parametrize(
    ("starts_at", "ends", "found"),
    [
        # Two and a half hours end at 04:00 by the clock in spring, at 02:00 in autumn.
        (at("00:30", SPRING_CHANGE), "04:00", 150),
        (at("00:30", AUTUMN_CHANGE), "02:00", 150),
    ],
)
def test_minutes_of_work_are_those_that_pass(horse, starts_at, ends, found) -> None:
    lesson = book(horse, starts_at, 150)

    assert f"{lesson.ends_at.astimezone(starts_at.tzinfo):%H:%M}" == ends
    told = told_of_horses(starts_at.date(), [horse])[horse.pk]
    hits = {one.hit.rule: one.hit.figure for one in told}
    assert hits == {"minutes-day": found}


@pytest.mark.parametrize("day", [SPRING_CHANGE, AUTUMN_CHANGE])
def test_horses_are_proposed_by_the_minutes_that_pass(horse, day) -> None:
    """One to 01:45; the other from 03:00 in spring, in autumn from the second 02:00.

    In spring a quarter of an hour lies between them, in autumn an hour and a quarter.
    """
    second = at("03:00", day) if day == SPRING_CHANGE else at("02:00", day)
    for starts_at in (at("00:45", day), second.replace(fold=1)):
        book(None, starts_at)

    found = propose(day=day, now=NOW)

    given = [one.mount for one in found.match.given if one.mount]
    assert len(given) == (1 if day == SPRING_CHANGE else 2)
