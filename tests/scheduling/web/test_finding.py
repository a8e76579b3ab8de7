"""The page that finds a time, and what a press on an answer books."""

import re
from datetime import time
from html import unescape

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from school.models import Horse, Lesson, Ride, WaitingWish
from tests.clock import NOW, SATURDAY
from tests.factories.horses import HorseFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.waiting import WaitingWishFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db
PAGE = "/find-a-time/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def asked(**changes: object) -> dict[str, object]:
    return {
        "date": SATURDAY.isoformat(),
        "title": "New ride",
        "kind": "private",
        "work": "flat",
        "minutes": 60,
        "places": 1,
        "weekdays": [5],
    } | changes


def bookings(page: str) -> list[str]:
    """The addresses behind the answers."""
    return [unescape(one) for one in re.findall(r'href="(/lessons/new/[^"]*)"', page)]


def test_the_best_ten_are_listed_with_what_they_add(manager: Browser) -> None:
    small_day()

    page = manager.post(PAGE, asked()).content.decode()

    assert "The best 10 times" in page
    assert page.count("adds no changing of fences</span>") == 10
    assert "Sat 6 Mar</span> 08:00 to 09:00" in page


def test_a_press_on_an_answer_fills_in_the_booking_and_books_it(
    manager: Browser,
) -> None:
    small_day()
    rider, horse = RiderFactory(), HorseFactory(name="Onyx")
    data = asked(rider_1=rider.pk, horse_1=horse.pk, from_at="14:00", title="")

    address = bookings(manager.post(PAGE, data).content.decode())[0]
    form = manager.get(address).context["form"]
    filled = {one.name: one.value() for one in form if one.value() not in (None, "")}
    answer = manager.post("/lessons/new/", filled)

    lesson = Lesson.objects.get(title="Flat lesson")
    assert answer.status_code == 302
    assert [(one.rider, one.horse) for one in lesson.rides.all()] == [(rider, horse)]
    assert lesson.starts_at.hour == 13


def test_the_grid_that_was_asked_for_is_booked_with_its_answer(
    manager: Browser,
) -> None:
    small_day()
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair")
    horse = HorseFactory(height_cm=168, level="advanced", highest_fence_cm=130)
    rider = RiderFactory(level="advanced", highest_fence_cm=120)
    data = asked(
        rider_1=rider.pk, horse_1=horse.pk, exercise=grid.pk, work="jumping", title=""
    )

    address = bookings(manager.post(PAGE, data).content.decode())[0]
    form = manager.get(address).context["form"]
    filled = {one.name: one.value() for one in form if one.value() not in (None, "")}
    answer = manager.post("/lessons/new/", filled, follow=True)

    lesson = Lesson.objects.get(title=grid.name)
    assert answer.status_code == 200
    assert lesson.grid.revision == grid.current
    fitted = {x["horse"] for gap in lesson.grid.fitted["gaps"] for x in gap["horses"]}
    assert fitted == {horse.name}


def test_a_flat_lesson_with_a_grid_is_looked_for_nowhere(manager: Browser) -> None:
    small_day()
    load_library(now=NOW)
    grid = Exercise.objects.get(slug="bounce-pair")

    page = manager.post(PAGE, asked(exercise=grid.pk)).content.decode()

    assert "A flat lesson takes no grid." in page
    assert bookings(page) == []


def test_a_wish_of_the_waiting_list_is_filled_in_and_met(manager: Browser) -> None:
    small_day()
    wish = WaitingWishFactory(work="flat", note="Not on the grey", to_at=time(18))
    HorseFactory(weight_kg=600)
    assert f"{PAGE}?wish={wish.pk}" in manager.get("/waiting/").content.decode()

    page = manager.get(f"{PAGE}?wish={wish.pk}")
    filled = {one.name: one.value() for one in page.context["form"]}
    sent = {key: one for key, one in filled.items() if one not in (None, "")}
    sent |= {"date": SATURDAY.isoformat(), "kind": "private"}
    found = manager.post(PAGE, sent)
    address = bookings(found.content.decode())[0]
    form = manager.get(address).context["form"]
    manager.post(
        "/lessons/new/",
        {one.name: one.value() for one in form if one.value() not in (None, "")},
    )

    assert "Not on the grey" in page.content.decode()
    assert (sent["weekdays"], sent["rider_1"]) == (["5"], str(wish.rider_id))
    assert WaitingWish.objects.get().state == "met"
    assert Lesson.objects.filter(rides__rider=wish.rider).exists()


@pytest.mark.parametrize("wish", ["", "0", "nine", "9" * 30])
def test_a_wish_that_waits_no_more_is_not_there(manager: Browser, wish: str) -> None:
    small_day()
    met = WaitingWishFactory(state="met")

    answer = manager.get(f"{PAGE}?wish={wish or met.pk}")

    assert answer.status_code == 404


def test_weeks_without_room_say_what_to_try(manager: Browser) -> None:
    small_day()

    page = manager.post(PAGE, asked(date="2026-02-07")).content.decode()

    assert "No time is free" in page
    assert "Try more weeks" in page


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"minutes": ""}, "This field is required"),
        ({"weeks": 9}, "less than or equal to 8"),
        ({"from_at": "12:00", "to_at": "10:00"}, "before the earliest"),
        ({"weekdays": [9]}, "not one of the available choices"),
        ({"date": "9999-12-30"}, "more than two years away"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(
    manager: Browser, wrong: dict, says: str
) -> None:
    small_day()

    answer = manager.post(PAGE, asked(**wrong))

    assert answer.status_code == 200
    assert says in answer.content.decode()


def test_a_grid_that_fits_nobody_is_refused_in_words(manager: Browser) -> None:
    small_day()
    load_library(now=NOW)
    Ride.objects.all().delete()
    Horse.objects.all().delete()
    grid = Exercise.objects.get(slug="bounce-pair")

    answer = manager.post(PAGE, asked(exercise=grid.pk, work="jumping"))

    assert answer.status_code == 409
    assert "can&#x27;t be fitted" in answer.content.decode()


@pytest.mark.parametrize("n", [1, 3])
def test_finding_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    _, _, lessons = small_day()
    for one in lessons[n:]:
        Lesson.objects.filter(pk=one.pk).update(state="cancelled", state_reason="-")

    with django_assert_num_queries(45):
        manager.post(PAGE, asked(rider_1=RiderFactory().pk))
