"""The page on which an instructor notes who came and when the lesson ended."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from scheduling.models import PlanRun
from school.models import EarlyEnd, Outcome, School
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import DayPlanFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def ride():
    """A ride of a lesson that began a quarter of an hour ago."""
    # Open at any hour, since the lesson lies around the machine's now.
    SchoolFactory(zone="UTC")
    now = timezone.now().replace(second=0, microsecond=0)
    lesson = LessonFactory(starts_at=now - timedelta(minutes=15), places=4)
    return RideFactory(lesson=lesson, rider__person__first_name="Mila")


def browser_of(lesson, **kind) -> Browser:
    browser = Browser()
    person = {} if kind else {"person": lesson.instructor.person}
    browser.force_login(AccountFactory(**(kind or person)))
    return browser


def page_of(ride) -> str:
    return f"/lessons/{ride.lesson_id}/who-came/"


def test_what_a_press_costs_stands_beside_its_button(ride) -> None:
    School.objects.update(no_show_charge="make-up")

    page = browser_of(ride.lesson).get(page_of(ride)).content.decode()

    assert "Costs the lesson&#x27;s fee; it may be made up." in page
    assert "Later than 15 minutes the lesson is lost" in page


def test_the_lessons_instructor_notes_and_takes_back(ride) -> None:
    browser = browser_of(ride.lesson)

    browser.post(f"/rides/{ride.pk}/note/no-show/")
    assert "Did not come" in browser.get(page_of(ride)).content.decode()
    browser.post(f"/rides/{ride.pk}/note/came/")

    assert not Outcome.objects.exists()


def test_another_instructor_notes_nothing(ride) -> None:
    other = LessonFactory(starts_at=ride.lesson.starts_at)
    browser = browser_of(other)

    assert browser.get(page_of(ride)).status_code == 403
    assert browser.post(f"/rides/{ride.pk}/note/no-show/").status_code == 403
    assert browser.post(f"/lessons/{ride.lesson_id}/end/").status_code == 403
    assert browser.post(f"/lessons/{ride.lesson_id}/goes-on/").status_code == 403


@pytest.mark.parametrize("minutes", ["", "0", "241", "soon"])
def test_how_late_is_a_number(ride, minutes: str) -> None:
    browser = browser_of(ride.lesson)

    page = browser.post(f"/rides/{ride.pk}/note/late/", {"minutes": minutes})

    assert page.status_code == 409
    assert "how many minutes late" in page.content.decode()


@pytest.mark.parametrize("path", ["/rides/{}/note/asleep/", "/rides/999/note/late/"])
def test_what_is_not_there_is_not_found(ride, path: str) -> None:
    browser = browser_of(ride.lesson)

    assert browser.post(path.format(ride.pk)).status_code == 404


def test_a_lesson_is_ended_and_goes_on_again(ride) -> None:
    browser, lesson = browser_of(ride.lesson), ride.lesson
    ends = lesson.starts_at + timedelta(minutes=12)

    browser.post(
        f"/lessons/{lesson.pk}/end/",
        {"ends": f"{ends:%H:%M}", "cause": "weather", "note": "Thunder"},
    )
    page = browser.get(page_of(ride)).content.decode()
    assert "Thunder" in page
    assert "Lesson ended early: costs nothing" in page
    browser.post(f"/lessons/{lesson.pk}/goes-on/")

    assert not EarlyEnd.objects.exists()


def test_an_end_outside_the_lesson_is_said(ride) -> None:
    ends = ride.lesson.ends_at + timedelta(minutes=5)

    page = browser_of(ride.lesson).post(
        f"/lessons/{ride.lesson_id}/end/", {"ends": f"{ends:%H:%M}", "cause": "yard"}
    )

    assert page.status_code == 409
    assert "give a time between" in page.content.decode()


@pytest.mark.parametrize("published", [True, False])
def test_what_is_left_of_a_published_day_is_planned_anew(ride, published) -> None:
    if published:
        DayPlanFactory(date=ride.lesson.starts_at.date(), state="published")
    ends = ride.lesson.starts_at + timedelta(minutes=12)

    browser = browser_of(ride.lesson)
    for _ in range(2):
        browser.post(
            f"/lessons/{ride.lesson_id}/end/",
            {"ends": f"{ends:%H:%M}", "cause": "horse"},
        )

    assert PlanRun.objects.filter(kind="replan").count() == published


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    ride, count: int, django_assert_num_queries
) -> None:
    RideFactory.create_batch(count - 1, lesson=ride.lesson)
    browser = browser_of(ride.lesson)
    browser.get(page_of(ride))

    with django_assert_num_queries(QUERIES):
        assert browser.get(page_of(ride)).status_code == 200


QUERIES = 13


def test_the_day_leads_there_once_the_lesson_has_begun(ride) -> None:
    day = f"/day/{ride.lesson.starts_at:%Y-%m-%d}/"
    later = LessonFactory(starts_at=ride.lesson.starts_at + timedelta(days=1))

    assert page_of(ride) in browser_of(ride.lesson).get(day).content.decode()
    assert page_of(ride) not in browser_of(later).get(day).content.decode()
    tomorrow = f"/day/{later.starts_at:%Y-%m-%d}/"
    page = browser_of(later, manager=True).get(tomorrow).content.decode()
    assert "who-came" not in page


def test_the_lesson_says_who_did_not_ride(ride) -> None:
    browser = browser_of(ride.lesson)
    browser.post(f"/rides/{ride.pk}/note/no-show/")

    page = browser.get(f"/lessons/{ride.lesson_id}/").content.decode()

    assert "Did not ride: Mila" in page


def test_the_client_sees_what_it_costs(ride) -> None:
    browser_of(ride.lesson).post(f"/rides/{ride.pk}/note/no-show/")
    manager = browser_of(ride.lesson, manager=True)

    page = manager.get(f"/clients/{ride.rider.client_id}/").content.decode()

    assert "Missed in the last year" in page
    assert "the lesson&#x27;s fee" in page
