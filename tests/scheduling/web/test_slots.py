"""The page that finds a time, and books at the time pressed."""

import pytest
from django.test import Client as Browser

from school.models import Lesson, School
from tests.clock import SATURDAY
from tests.factories.people import AccountFactory, InstructorFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db
PAGE = "/find-a-time/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def asked(**changes) -> dict:
    return {
        "date": "2099-03-07",
        "title": "New ride",
        "kind": "private",
        "work": "flat",
        "minutes": 60,
        "instructor": InstructorFactory().pk,
        "places": 1,
    } | changes


def test_free_slots_are_listed_with_what_they_add(manager: Browser) -> None:
    small_day()

    page = manager.post(PAGE, asked()).content.decode()

    assert "adds nothing" in page
    assert 'value="08:00|' in page
    assert "more</summary>" in page


def test_a_press_on_a_slot_books_there(manager: Browser) -> None:
    arena, _, _ = small_day()

    response = manager.post("/lessons/new/", asked(slot=f"14:30|{arena.pk}"))

    lesson = Lesson.objects.get(title="New ride")
    assert response.status_code == 302
    assert (f"{lesson.starts_at:%H:%M}", lesson.arena) == ("13:30", arena)


def test_a_day_without_room_says_what_to_try(manager: Browser) -> None:
    small_day()

    page = manager.post(PAGE, asked(date="2020-03-07")).content.decode()

    assert "No time of this day is free" in page


def test_what_is_missing_is_said_beside_its_field(manager: Browser) -> None:
    small_day()

    response = manager.post(PAGE, asked(instructor=""))

    assert response.status_code == 200
    assert "This field is required" in response.content.decode()


def test_a_refusal_is_said_in_words(manager: Browser) -> None:
    small_day()
    School.objects.update(handling={"start_s": 3600})

    page = manager.post(PAGE, asked(date=SATURDAY.isoformat()))

    assert page.status_code == 409
    assert "Order the day first" in page.content.decode()


@pytest.mark.parametrize("n", [1, 3])
def test_finding_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    _, _, lessons = small_day()
    for one in lessons[n:]:
        Lesson.objects.filter(pk=one.pk).update(state="done")
    data = asked(date=SATURDAY.isoformat())

    with django_assert_num_queries(25):
        manager.post(PAGE, data)
