"""From the search to the lesson: an exercise found is one press from its lesson."""

import pytest
from django.test import Client as Browser

from exercises.services import load_library
from school.models import Lesson, LessonGrid
from tests.clock import NOW
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesson() -> Lesson:
    SchoolFactory(tradition="schooling")
    load_library(now=NOW)
    StorePieceFactory(working=40)
    ride = RideFactory(horse__height_cm=165, lesson__title="Evening ride")
    LineFactory(arena=ride.lesson.arena)
    return ride.lesson


@pytest.fixture
def coach(client: Browser, lesson: Lesson) -> Browser:
    client.force_login(AccountFactory(person=lesson.instructor.person))
    return client


def search(lesson: Lesson) -> str:
    return f"/exercises/?lesson={lesson.pk}&fault=rushing"


def test_the_lesson_leads_to_the_search_and_back(
    coach: Browser, lesson: Lesson
) -> None:
    page = coach.get(f"/lessons/{lesson.pk}/").content.decode()
    assert f"/exercises/?lesson={lesson.pk}" in page

    found = coach.get(search(lesson)).content.decode()

    assert "Take it for Evening ride" in found
    assert f'<input type="hidden" name="lesson" value="{lesson.pk}">' in found


def test_what_is_found_is_taken_by_one_press(coach: Browser, lesson: Lesson) -> None:
    body = coach.get(search(lesson)).content.decode()
    exercise = body.split('name="exercise" value="')[1].split('"')[0]

    answer = coach.post(
        f"/lessons/{lesson.pk}/grid/",
        {"exercise": exercise, "tradition": "schooling"},
    )

    assert answer.status_code == 302
    assert str(LessonGrid.objects.get(lesson=lesson).revision.exercise_id) == exercise


@pytest.mark.parametrize("asked", ["", "0", "x", "9" * 40])
def test_a_search_for_no_lesson_is_a_plain_search(
    coach: Browser, lesson: Lesson, asked: str
) -> None:
    page = coach.get(f"/exercises/?lesson={asked}")

    assert page.status_code == 200
    assert "Take it for" not in page.content.decode()


def test_another_instructor_is_offered_no_press(
    client: Browser, lesson: Lesson
) -> None:
    client.force_login(AccountFactory(person=InstructorFactory().person))

    assert "Take it for" not in client.get(search(lesson)).content.decode()
