"""The units' page, and what pages are written in after it."""

import re

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from school.models import School
from school.services.grids import attach_grid
from tests.clock import NOW
from tests.factories.arenas import LineFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

FEET = {
    "length_unit": "feet",
    "height_unit": "feet",
    "first_hole_cm": "30",
    "hole_cm": "5",
    "horse_unit": "hands",
}


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def test_the_page_shows_what_is_written_now(manager: Browser) -> None:
    before = manager.get("/settings/units/").content.decode()
    after = manager.post("/settings/units/", FEET, follow=True).content.decode()

    assert "<dd>6.20 m</dd>" in before
    assert "<dd>20 ft 4 in</dd>" in after
    assert "<dd>14.2 hh</dd>" in after
    assert "Every page and drawing is written so now." in after


def test_what_cannot_be_is_refused_and_stays_in_the_form(manager: Browser) -> None:
    response = manager.post("/settings/units/", FEET | {"hole_cm": "40"})

    page = response.content.decode()
    assert response.status_code == 409
    assert "Holes lie from 1 to 15 cm apart" in page
    assert 'value="40"' in page
    assert School.objects.get().length_unit == "metres"


def test_a_field_left_out_is_named(manager: Browser) -> None:
    page = manager.post("/settings/units/", FEET | {"hole_cm": ""}).content.decode()

    assert "This field is required." in page


def test_an_exercise_is_drawn_in_the_schools_units(manager: Browser) -> None:
    load_library(now=NOW)
    manager.post("/settings/units/", FEET)

    page = manager.get("/exercises/bounce-pair/").content.decode()

    assert "For a 16.1 hh horse" in page
    assert "from first to last foot" in page
    assert " ft" in page
    assert " m from first" not in page


def test_a_lessons_grid_horses_and_riders_are_written_in_the_schools_units(
    manager: Browser,
) -> None:
    load_library(now=NOW)
    ride = RideFactory(horse__height_cm=148, rider__highest_fence_cm=80)
    LineFactory(arena=ride.lesson.arena)
    revision = Exercise.objects.get(slug="placing-pole-double").current
    attach_grid(lesson=ride.lesson, revision=revision, by=None, now=NOW)
    manager.post("/settings/units/", FEET)

    page = manager.get(f"/lessons/{ride.lesson_id}/").content.decode()
    horse = manager.get(f"/horses/{ride.horse_id}/history/").content.decode()

    assert "(14.2 hh)" in page
    assert "up to 2 ft 7 in" in page
    assert re.search(r"<strong>\d+ ft \d+ in</strong>", page)
    assert re.search(r">\d+'\d+\"<", page)
    assert "14.2 hh, " in horse
