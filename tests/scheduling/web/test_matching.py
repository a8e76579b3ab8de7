"""The page of horses for riders, and what is noted of them."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from scheduling.models import PlanRun
from scheduling.services.runs import carry_out_run, take_up_run
from school.models import Ride, RiderConfidence, RiderHorse
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def ride(client: Browser) -> Ride:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    noon = timezone.localtime().replace(hour=12, minute=0, second=0, microsecond=0)
    lesson = LessonFactory(starts_at=noon + timedelta(days=3))
    HorseFactory(name="Strong", weight_kg=700)
    small = HorseFactory(name="Small", weight_kg=420)
    return RideFactory(lesson=lesson, rider__weight_kg=62, horse=small)


def test_the_best_horse_is_shown_with_reasons_and_given(client, ride) -> None:
    address = f"/lessons/{ride.lesson_id}/horses/"
    page = client.get(address)
    text = page.content.decode()
    assert "Strong" in text
    assert "of its weight" in text
    assert "Next best: <strong>Small</strong>" in text

    strong = page.context["rows"][0]["horse"]
    press = {
        "do": "give", f"want-{ride.pk}": strong.pk, f"seen-{ride.pk}": ride.horse_id,
    }  # fmt: skip
    done = client.post(address, press, follow=True)
    assert "Given: " in done.content.decode()
    assert Ride.objects.get().horse == strong

    twice = client.post(address, press, follow=True)
    assert "nothing is changed" in twice.content.decode()


def test_what_is_fixed_is_asked_again(client, ride) -> None:
    day = timezone.localtime(ride.lesson.starts_at).date().isoformat()
    fix = {
        "do": "again", f"fix-{ride.pk}": 1, f"horse-{ride.pk}": ride.horse_id,
    }  # fmt: skip

    address = f"/day/{day}/horses/"
    client.post(address, fix)
    worked()
    page = client.get(address)

    assert page.context["rows"][0]["horse"] == ride.horse
    assert page.context["rows"][0]["fixed"]
    assert "Everybody has the best horse" in page.content.decode()


def worked() -> PlanRun:
    run = take_up_run(now=timezone.now())
    assert run is not None
    return carry_out_run(run=run, clock=timezone.now, beat_every_s=0.02)


def of_day(ride: Ride) -> str:
    day = timezone.localtime(ride.lesson.starts_at).date().isoformat()
    return f"/day/{day}/horses/"


def test_the_horses_of_a_day_are_found_by_the_worker_and_given(client, ride) -> None:
    address = of_day(ride)
    asked = client.post(address, {"do": "again"}, follow=True).content.decode()
    assert "Waits for the worker" in asked
    worked()

    page = client.get(address)
    (row,) = page.context["rows"]
    press = {
        "do": "give", f"want-{ride.pk}": row["horse"].pk,
        f"seen-{ride.pk}": ride.horse_id,
    }  # fmt: skip
    client.post(address, press)

    assert row["horse"].name == "Strong"
    assert "1 of 1 riders looked at" in page.content.decode()
    assert Ride.objects.get().horse == row["horse"]


def test_asking_twice_is_one_search(client, ride) -> None:
    for _ in range(2):
        assert client.post(of_day(ride), {"do": "again"}).status_code == 302

    assert PlanRun.objects.get().kind == "match"


def test_a_search_that_is_stopped_leads_back_and_gives_nothing(client, ride) -> None:
    client.post(of_day(ride), {"do": "again"})

    stopped = client.post(f"/runs/{PlanRun.objects.get().pk}/stop/")

    assert stopped["Location"] == of_day(ride)
    assert Ride.objects.get().horse == ride.horse


def test_a_day_whose_fix_cannot_be_says_why(client, ride) -> None:
    pony = HorseFactory(name="Pony", weight_kg=150)
    fix = {"do": "again", f"fix-{ride.pk}": 1, f"horse-{ride.pk}": pony.pk}
    client.post(of_day(ride), fix)
    worked()

    page = client.get(of_day(ride)).content.decode()
    assert "% of its weight; at most 20 %" in page


def test_a_ride_given_back_meanwhile_is_left_out(client, ride) -> None:
    client.post(of_day(ride), {"do": "again"})
    worked()
    Ride.objects.update(
        state="cancelled", cancelled_at=timezone.now(), cancelled_reason="ill"
    )

    page = client.get(of_day(ride)).content.decode()

    assert "Nobody is left" in page


def test_a_fix_that_cannot_be_is_told(client, ride) -> None:
    pony = HorseFactory(name="Pony", weight_kg=150)
    fix = {"do": "again", f"fix-{ride.pk}": 1, f"horse-{ride.pk}": pony.pk}

    page = client.post(f"/lessons/{ride.lesson_id}/horses/", fix)

    assert page.status_code == 409
    assert "% of its weight; at most 20 %" in page.content.decode()


def test_a_stale_page_is_told_what_changed(client, ride) -> None:
    press = {"do": "give", f"want-{ride.pk}": HorseFactory().pk, f"seen-{ride.pk}": 0}

    page = client.post(f"/lessons/{ride.lesson_id}/horses/", press)

    assert page.status_code == 409
    assert "was given Small while you looked" in page.content.decode()


def test_nobody_left_and_nothing_there(client, ride) -> None:
    assert "Find horses" in client.get("/day/2020-01-01/horses/").content.decode()
    assert client.get("/lessons/999/horses/").status_code == 404
    assert client.get("/riders/999/horses/").status_code == 404


def test_likings_and_confidence_are_noted(client, ride) -> None:
    address = f"/riders/{ride.rider_id}/horses/"
    note = {"horse": ride.horse_id, "liking": "never"}

    assert client.post(address, note).status_code == 409
    assert client.post(address, {"horse": "x"}).status_code == 409
    assert client.post(address, {"confidence": "x"}).status_code == 409
    client.post(address, note | {"reason": "stops"})
    client.post(address, {"confidence": "4"})

    assert RiderHorse.objects.get().liking == "never"
    assert RiderConfidence.objects.get().confidence == 4
    assert "stops" in client.get(address).content.decode()
