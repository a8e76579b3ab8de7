"""What the pages say of a lesson whose time in its window is open, or settled."""

from datetime import timedelta

import pytest
from django.test import Client as Browser

from school.models import Lesson
from school.queries.links import page_path
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db
EVE = at("18:00", SATURDAY - timedelta(days=1))
DAY = f"/day/{SATURDAY.isoformat()}/"


@pytest.fixture
def lesson() -> Lesson:
    SchoolFactory()
    return LessonFactory(
        title="Afternoon ride",
        starts_at=at("15:00"),
        window_from=at("15:00"),
        window_to=at("17:00"),
    )


@pytest.fixture
def manager(client: Browser, lesson: Lesson) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def at_moment(monkeypatch, moment) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: moment)


def settled(lesson: Lesson) -> None:
    lesson.time_set_at = NOW
    lesson.save()


def test_the_manager_sees_what_is_still_without_a_time(
    manager: Browser, lesson: Lesson, monkeypatch
) -> None:
    at_moment(monkeypatch, EVE)

    page = manager.get(DAY).content.decode()

    assert "No exact time yet" in page
    assert "Saturday 6 March, from 15:00 to 17:00" in page


@pytest.mark.parametrize("why", ["settled", "early"])
def test_what_is_settled_or_in_time_is_not_listed(
    manager: Browser, lesson: Lesson, monkeypatch, why: str
) -> None:
    at_moment(monkeypatch, EVE - timedelta(minutes=why == "early"))
    if why == "settled":
        settled(lesson)

    assert "No exact time yet" not in manager.get(DAY).content.decode()


def test_the_lessons_page_says_whether_its_time_is_settled(
    manager: Browser, lesson: Lesson
) -> None:
    page = f"/lessons/{lesson.pk}/"

    assert "its time is not settled yet" in manager.get(page).content.decode()
    settled(lesson)
    assert "its time is settled" in manager.get(page).content.decode()


def test_the_client_reads_by_when_the_time_is_told_until_it_is(
    client: Browser, lesson: Lesson, monkeypatch
) -> None:
    at_moment(monkeypatch, NOW)
    ride = RideFactory(lesson=lesson)
    page = page_path(ride.rider.client, now=NOW)

    said = client.get(page).content.decode()
    assert "you are told the exact time by Friday 5 March, 18:00" in said
    settled(lesson)
    assert "the time above holds unless" in client.get(page).content.decode()
