"""A place given back through the manager, with what it costs said first."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    AuditEntry,
    Lesson,
    LessonPack,
    Outcome,
    PackUse,
    Ride,
    School,
)
from school.services.invitations import lesson_changed
from school.services.rides import add_ride
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Browser:
    SchoolFactory(notice_hours=24, make_up_days=30)
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    return browser


def booked(hours: int, *, pack: bool = True) -> Ride:
    now = timezone.now()
    ride = RideFactory(lesson__starts_at=now + timedelta(hours=hours))
    if pack:
        LessonPackFactory(
            client=ride.rider.client,
            bought_date=now.date() - timedelta(days=9),
            expires_date=now.date() + timedelta(days=90),
        )
    lesson_changed(lesson=ride.lesson, now=now)
    return ride


def page_of(ride: Ride) -> str:
    return f"/rides/{ride.pk}/give-back/"


def left() -> int:
    return LessonPack.objects.get().lessons - PackUse.objects.count()


@pytest.mark.parametrize(
    ("hours", "rule", "says"),
    [
        (48, "charged", "it costs nothing; the pack has its lesson back"),
        (3, "charged", "it costs one lesson of the pack"),
        (3, "make-up", "it costs one lesson of the pack; it may be made up within 30"),
        (3, "free", "it costs nothing; the pack has its lesson back"),
    ],
)
def test_what_it_costs_is_said_before_it_is_pressed(
    manager: Browser, hours: int, rule: str, says: str
) -> None:
    ride = booked(hours)
    School.objects.update(late_cancel_charge=rule)

    page = manager.get(page_of(ride)).content.decode()

    assert says in page
    assert "If the school takes it back, it costs nothing." in page


@pytest.mark.parametrize(
    ("hours", "word", "kept", "outcomes"),
    [
        (48, "client", 10, 0),
        (3, "client", 9, 1),
        (3, "school", 10, 0),
    ],
)
def test_only_the_clients_late_word_costs_something(
    manager: Browser, hours: int, word: str, kept: int, outcomes: int
) -> None:
    """Cancelled by the yard: make-up or credit, no fee (terms of two schools)."""
    ride = booked(hours)

    for _ in range(2):
        answer = manager.post(page_of(ride), {"word": word, "reason": "Fever"})
        assert answer.status_code == 302

    assert (left(), Outcome.objects.count()) == (kept, outcomes)
    ride.refresh_from_db()
    assert ride.cancelled_reason == "Fever"
    assert AuditEntry.objects.filter(action="cancel").count() == 1


@pytest.mark.parametrize(
    ("hours", "word", "rule", "says"),
    [
        (48, "client", "charged", "It costs nothing."),
        (3, "client", "charged", "It costs one lesson of the pack."),
        (3, "client", "make-up", "It costs one lesson of the pack; it may be made up"),
        (3, "school", "charged", "It costs nothing."),
    ],
)
def test_what_it_has_cost_is_said_after_it_is_pressed(
    manager: Browser, hours: int, word: str, rule: str, says: str
) -> None:
    ride = booked(hours)
    School.objects.update(late_cancel_charge=rule)

    page = manager.post(page_of(ride), {"word": word, "reason": "Fever"}, follow=True)

    assert f"is given back. {says}" in page.content.decode()


def test_a_week_given_back_says_until_when_it_may_be_made_up(manager: Browser) -> None:
    """The clock of the tests stands at 1 March: 3 March and 30 days are 2 April."""
    rider = RiderFactory()
    weekly(rides=[(rider, None)], first_date=date(2027, 3, 3))
    ride = Ride.objects.order_by("lesson__starts_at")[0]

    page = manager.post(
        page_of(ride), {"word": "client", "reason": "Fever"}, follow=True
    )

    assert (
        "It costs nothing; it may be made up until 2 April 2027."
        in page.content.decode()
    )


def test_a_lesson_the_school_moved_late_is_free_anew_and_says_why(
    manager: Browser,
) -> None:
    ride = booked(3)
    Lesson.objects.update(moved_at=timezone.now() - timedelta(minutes=5))

    page = manager.get(page_of(ride)).content.decode()

    assert "Free until it begins, since the school gave it another time on" in page
    assert "it costs nothing; the pack has its lesson back" in page


def test_a_private_lesson_left_empty_is_cancelled_and_still_costs(
    manager: Browser,
) -> None:
    ride = booked(3, pack=False)

    manager.post(page_of(ride), {"word": "client", "reason": "Fever"})

    ride.lesson.refresh_from_db()
    outcome = Outcome.objects.get()
    assert ride.lesson.state == "cancelled"
    assert (outcome.kind, outcome.paid_by) == ("cancelled-late", "fee")


def test_a_place_taken_up_again_costs_no_cancelling(manager: Browser) -> None:
    ride = booked(3)
    lesson = ride.lesson
    lesson.kind = "group"
    lesson.save()
    manager.post(page_of(ride), {"word": "client", "reason": "Fever"})

    add_ride(lesson=lesson, rider=ride.rider, horse=None, by=None, now=timezone.now())

    assert not Outcome.objects.exists()
    assert left() == 9


def test_a_lesson_that_has_begun_is_not_given_back(manager: Browser) -> None:
    ride = booked(-1)

    page = manager.post(page_of(ride), {"word": "school", "reason": "Fever"})

    assert page.status_code == 409
    assert "Call the school" in page.content.decode()


def test_a_place_that_is_not_there_is_not_found(manager: Browser) -> None:
    assert manager.get("/rides/999/give-back/").status_code == 404


def test_the_lesson_leads_there_while_it_is_to_come(manager: Browser) -> None:
    coming, begun = booked(3, pack=False), booked(-3, pack=False)

    for ride, there in ((coming, True), (begun, False)):
        page = manager.get(f"/lessons/{ride.lesson_id}/").content.decode()
        assert (page_of(ride) in page) is there
