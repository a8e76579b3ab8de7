"""The manager's waiting list: who waits, and which lesson has a place for them."""

from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import WaitingOffer
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingWishFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory(zone="UTC")
    client.force_login(AccountFactory(manager=True))
    HorseFactory(name="Juniper", weight_kg=600)
    return client


def lesson(**changes):
    start = timezone.now().replace(hour=10, minute=0, second=0, microsecond=0)
    fields = {"kind": "group", "title": "Small group", "work": "jumping"}
    fields["starts_at"] = start + timedelta(days=3)
    return LessonFactory(**(fields | changes))


def wish(**changes):
    return WaitingWishFactory(**({"weekday": None} | changes))


def shown(manager: Browser) -> str:
    return manager.get("/waiting/").content.decode()


def test_a_lesson_that_fits_is_offered_at_a_press(manager: Browser) -> None:
    one, place = wish(), lesson()

    before = shown(manager)
    manager.post(f"/waiting/{one.pk}/offer/", {"lesson": place.pk})

    assert "Small group" in before
    assert WaitingOffer.objects.get().lesson == place
    assert "offer stands until " in shown(manager)


@pytest.mark.parametrize(
    "case",
    ["other-work", "too-early", "other-day", "full", "private", "level", "far-ahead"],
)
def test_what_does_not_fit_is_not_shown(manager: Browser, case: str) -> None:
    place = lesson()
    changes: dict = {}
    if case == "other-work":
        changes = {"work": "flat"}
    if case == "too-early":
        changes = {"from_at": time(11), "to_at": time(12)}
    if case == "other-day":
        changes = {"weekday": (place.starts_at.weekday() + 1) % 7}
    if case == "full":
        type(place).objects.update(places=1)
        RideFactory(lesson=place)
    if case == "private":
        type(place).objects.update(kind="private")
    if case == "level":
        low = InstructorFactory(level="novice")
        type(place).objects.update(instructor=low)
    if case == "far-ahead":
        later = place.starts_at + timedelta(days=28)
        type(place).objects.update(starts_at=later, ends_at=later + timedelta(hours=1))
    wish(**changes)

    assert "No lesson with a place fits yet." in shown(manager)


def test_an_offer_that_can_not_be_made_is_explained(manager: Browser) -> None:
    one, place = wish(), lesson(places=1)
    RideFactory(lesson=place)

    response = manager.post(f"/waiting/{one.pk}/offer/", {"lesson": place.pk})

    assert response.status_code == 409
    assert "Small group is full." in response.content.decode()


@pytest.mark.parametrize("chosen", ["", "x", "999"])
def test_a_lesson_that_is_not_there_is_a_404(manager: Browser, chosen: str) -> None:
    answer = manager.post(f"/waiting/{wish().pk}/offer/", {"lesson": chosen})

    assert answer.status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_list_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    for k in range(n):
        wish()
        lesson(starts_at=timezone.now() + timedelta(days=k + 1))
    shown(manager)

    with django_assert_num_queries(18):
        shown(manager)


def test_a_place_is_offered_to_those_ticked(manager: Browser) -> None:
    one, place = wish(), lesson()
    other = wish(work="flat")
    page = f"/lessons/{place.pk}/waiting/"

    before = manager.get(page).content.decode()
    assert f'value="{one.pk}" checked' in before
    assert "wishes for flat." in before
    manager.post(f"{page}offer/", {"wish": [one.pk], "hours": "6"})

    offer = WaitingOffer.objects.get()
    assert (offer.wish, offer.lesson) == (one, place)
    assert offer.wish != other
    assert "offer stands until " in manager.get(page).content.decode()


def test_a_lesson_with_a_free_place_leads_to_who_fits(manager: Browser) -> None:
    place = lesson()

    page = manager.get(f"/lessons/{place.pk}/").content.decode()

    assert f'href="/lessons/{place.pk}/waiting/"' in page


def test_nonsense_is_no_offer(manager: Browser) -> None:
    place = lesson()

    for data in ({}, {"wish": "x", "hours": "y"}, {"wish": wish().pk, "hours": "-1"}):
        answer = manager.post(f"/lessons/{place.pk}/waiting/offer/", data)
        assert answer.status_code == 409

    assert not WaitingOffer.objects.exists()
