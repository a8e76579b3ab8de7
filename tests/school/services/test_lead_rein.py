"""Lead-rein lessons: a leader for each rider, who may ride led, and what over.

Walk and trot, poles and a low cross, a leader on foot for each rider: common
practice, no source. Four riders at most are led in one school of the United States
(handbook, X9); the ages and heights are the school's settings.
"""

from datetime import date
from typing import Any

import pytest

from exercises.models import Exercise
from exercises.services import load_library
from school.enums import Work, horse_work
from school.models import Lesson, LessonGrid, Rider, School
from school.services.booking import book_lesson
from school.services.grids import UnableToAttach, attach_grid
from school.services.lessons import UnableToBook, move_lesson
from school.services.rides import add_ride
from school.services.welfare import told_of_lesson
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.riders import RidingConsentFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(leaders=4)


def led(**changes: Any) -> Lesson:
    fields: dict[str, Any] = {
        "title": "Ponies led",
        "kind": "lead-rein",
        "work": "flat",
        "starts_at": at("11:00"),
        "minutes": 30,
        "places": 3,
        "by": None,
        "now": NOW,
    } | changes
    fields.setdefault("arena", ArenaFactory())
    fields.setdefault("instructor", InstructorFactory())
    return book_lesson(**fields)


def child(name: str) -> Rider:
    """A rider of six, whose guardian has given consent."""
    rider = RiderFactory(person__first_name=name, born_date=date(2021, 1, 1))
    RidingConsentFactory(rider=rider)
    return rider


def refused(**changes: Any) -> UnableToBook:
    with pytest.raises(UnableToBook) as caught:
        led(**changes)
    return caught.value


def test_as_many_places_as_there_are_leaders() -> None:
    assert led(places=4).places == 4


def test_more_places_than_leaders_are_refused_in_words() -> None:
    error = refused(places=5)

    assert error.code == "too-few-leaders"
    assert "4 lead here, so 5 places are too many" in error.says


def test_two_lessons_at_one_time_share_the_leaders() -> None:
    led(title="First", places=3)

    error = refused(title="Second", places=2)

    assert "First has 3 of them" in error.says


def test_after_one_another_each_lesson_has_all_leaders() -> None:
    led(title="First", places=4)

    led(title="Second", places=4, starts_at=at("11:30"))

    assert Lesson.objects.count() == 2


def test_a_move_to_where_the_leaders_are_taken_is_refused() -> None:
    led(title="First", places=3)
    later = led(title="Second", places=3, starts_at=at("14:00"))

    with pytest.raises(UnableToBook, match="First has 3 of them"):
        move_lesson(
            lesson=later, starts_at=at("11:00"), version=later.version, by=None,
            now=NOW,
        )  # fmt: skip


def test_other_lessons_want_no_leaders() -> None:
    School.objects.update(leaders=1)

    assert led(kind="group", places=4).places == 4


def test_a_rider_under_the_least_age_is_not_booked_at_all() -> None:
    small = RiderFactory(person__first_name="Pim", born_date=date(2024, 1, 1))

    error = refused(rides=[(small, None)])

    assert error.code == "too-young"
    assert "Pim is 3 on" in error.says


def test_a_rider_who_must_be_led_is_booked_led_only() -> None:
    School.objects.update(alone_from_years=7)
    small = child("Pim")

    error = refused(kind="private", rides=[(small, None)])
    booked = led(rides=[(small, None)])

    assert error.code == "led-only"
    assert "lead-rein only" in error.says
    assert booked.rides.count() == 1


def test_a_rider_who_must_be_led_joins_no_other_lesson() -> None:
    School.objects.update(alone_from_years=7)
    small = child("Pim")

    with pytest.raises(UnableToBook, match="lead-rein only"):
        add_ride(
            lesson=LessonFactory(kind="group"), rider=small, horse=None, by=None,
            now=NOW,
        )  # fmt: skip


def test_a_led_lesson_over_poles_is_no_jumping_in_a_horse_s_work() -> None:
    assert horse_work("lead-rein", "jumping") == Work.FLAT
    assert horse_work("group", "jumping") == Work.JUMPING


def test_a_horse_led_twice_over_poles_breaks_no_rule_of_jumping_days() -> None:
    horse = HorseFactory(rest_min=0)
    first = LessonFactory(kind="lead-rein", places=2, starts_at=at("09:00"))
    second = LessonFactory(kind="lead-rein", places=2, starts_at=at("12:00"))
    for lesson in (first, second):
        RideFactory(lesson=lesson, horse=horse)

    rules = {one.hit.rule for one in told_of_lesson(second)}

    assert not rules & {"jumping-day", "jumping-week", "weight-jumping"}


def attach(slug: str) -> LessonGrid:
    load_library(now=NOW)
    StorePieceFactory(working=10)
    ride = RideFactory(lesson__kind="lead-rein", lesson__places=2)
    LineFactory(arena=ride.lesson.arena)
    revision = Exercise.objects.get(slug=slug).current
    assert revision is not None
    return attach_grid(lesson=ride.lesson, revision=revision, by=None, now=NOW)


def test_poles_on_the_ground_in_trot_are_ridden_led() -> None:
    grid = attach("trot-poles")

    assert {"on the lead-rein": "fits"}.items() <= {
        one["subject"]: one["fit"] for one in grid.fitted["verdicts"]
    }.items()


@pytest.mark.parametrize(
    ("slug", "says"),
    [
        ("canter-poles", "approached in canter"),
        ("poles-to-oxer", "it has oxer"),
        ("placing-pole-cross", "it goes up to"),
    ],
)
def test_what_a_leader_on_foot_cannot_lead_over_does_not_fit(
    slug: str, says: str
) -> None:
    with pytest.raises(UnableToAttach, match=says):
        attach(slug)
