"""A lesson asks for a level: who is not there is warned of, and stays."""

from datetime import date

import pytest

from school.models import AuditEntry, Lesson
from school.services.lesson_levels import ask_level, level_notes
from school.services.refusals import UnableToBook
from tests.clock import NOW
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def test_a_rider_below_the_level_asked_for_is_warned_of() -> None:
    ride = RideFactory(
        lesson__level="advanced",
        rider__level="novice",
        rider__person__first_name="Nienke",
    )

    assert level_notes(ride.lesson) == [
        "Nienke is novice; the lesson asks for advanced."
    ]


def test_a_level_without_an_instructors_word_is_warned_of_where_one_is_asked() -> None:
    ride = RideFactory(lesson__level="novice", rider__person__first_name="Nienke")
    RideFactory(
        lesson=ride.lesson,
        rider__level_signed_by=InstructorFactory(),
        rider__level_signed_date=date(2027, 1, 5),
    )

    assert level_notes(ride.lesson) == [
        "Nienke's level, intermediate, is not signed by an instructor."
    ]
    assert level_notes(RideFactory().lesson) == []


def test_a_level_is_asked_once_of_a_lesson_and_of_those_to_come() -> None:
    series = weekly()
    first, *_, last = series.lessons.order_by("starts_at")

    for _ in range(2):
        ask_level(lesson=last, level="novice", by=None, now=NOW)
    assert AuditEntry.objects.filter(action="ask level").count() == 1

    count = series.lessons.count()
    changed = ask_level(lesson=first, level="advanced", by=None, now=NOW, later=True)
    assert changed == count
    assert not Lesson.objects.exclude(level="advanced").exists()


def test_no_level_is_asked_that_is_none() -> None:
    with pytest.raises(UnableToBook, match="Choose a level"):
        ask_level(lesson=LessonFactory(), level="expert", by=None, now=NOW)
