"""The page of cures: each with its price, one press, refused in words."""

import re

import pytest
from django.test import Client as Browser

from exercises.geometry.spec import spec_as_data
from school.models import LessonGrid, Ride, Rider, School
from school.services.grids import attach_grid
from tests.clock import NOW
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.exercises import ExerciseFactory, ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import PlannedLessonFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

DOUBLE = spec(pole(), x("placing-trot"), vertical("one-stride"))
WHY = {"distances for Thimble": "in hand", "distances for Onyx": "collects"}


@pytest.fixture
def grid() -> LessonGrid:
    return a_grid()


def a_grid(exercise=DOUBLE, pony_cm: int = 125) -> LessonGrid:
    SchoolFactory(tradition="schooling")
    StorePieceFactory(working=40)
    ride = RideFactory(
        horse__name="Thimble",
        horse__height_cm=pony_cm,
        lesson__title="Mixed ride",
        rider__person__first_name="Mira",
    )
    LineFactory(arena=ride.lesson.arena)
    RideFactory(lesson=ride.lesson, horse__name="Onyx", horse__height_cm=168)
    revision = ExerciseRevisionFactory(
        exercise=ExerciseFactory(slug=exercise.slug), spec=spec_as_data(exercise)
    )
    return attach_grid(
        lesson=ride.lesson, revision=revision, by=AccountFactory(), now=NOW,
        overrides=WHY,
    )  # fmt: skip


@pytest.fixture
def coach(client: Browser, grid: LessonGrid) -> Browser:
    client.force_login(AccountFactory(person=grid.lesson.instructor.person))
    return client


def url(grid: LessonGrid, more: str = "") -> str:
    return f"/lessons/{grid.lesson_id}/cures/{more}"


def test_every_cure_stands_there_with_what_it_costs(
    coach: Browser, grid: LessonGrid
) -> None:
    HorseFactory(name="Bracken", height_cm=160)

    page = coach.get(url(grid)).content.decode()

    assert "Gap 1 from 2.40 m to <strong>2.15 m</strong>" in page
    assert "Then Onyx is 57 cm short" in page
    assert "<strong>Bracken</strong>, 160 cm, is free" in page
    assert "two changeovers" in page
    assert "min of one person&#x27;s work" in page or "min of one person's work" in page
    assert "Shift the cross from 2.40 m to 2.15 m from the row's first foot." in (
        page.replace("&#x27;", "'")
    )


def test_a_distance_is_taken_by_one_press_when_overruled(
    coach: Browser, grid: LessonGrid
) -> None:
    press = {"cure": "distance", "horse": "Thimble"}

    refused = coach.post(url(grid, "take/"), press)
    taken = coach.post(
        url(grid, "take/"), press | {"reason:distances for Onyx": "collects well"}
    )

    page = refused.content.decode()
    assert refused.status_code == 409
    assert 'name="reason:distances for Onyx"' in page
    assert '<input type="hidden" name="horse" value="Thimble">' in page
    assert taken["Location"] == f"/lessons/{grid.lesson_id}/#grid"
    after = LessonGrid.objects.get()
    assert after.fitted["gaps"][0]["built_cm"] == 215
    lesson = coach.get(f"/lessons/{grid.lesson_id}/").content.decode()
    assert "Distances for Thimble" in lesson
    assert "collects well" in lesson


def test_undo_takes_the_last_change_back(coach: Browser, grid: LessonGrid) -> None:
    coach.post(
        url(grid, "take/"),
        {"cure": "distance", "horse": "Thimble", "reason:distances for Onyx": "able"},
    )
    coach.post(url(grid, "take/"), {"cure": "undo"})

    assert LessonGrid.objects.get().start == grid.start


def test_a_horse_is_given_in_place_of_another(coach: Browser, grid: LessonGrid) -> None:
    bracken = HorseFactory(name="Bracken", height_cm=160)
    ride = Ride.objects.get(horse__name="Thimble")

    coach.post(
        url(grid, "take/"), {"cure": "swap", "ride": ride.pk, "horse": bracken.pk}
    )

    assert Ride.objects.get(pk=ride.pk).horse == bracken


def test_a_horse_that_cannot_carry_is_refused_by_name(
    coach: Browser, grid: LessonGrid
) -> None:
    light = HorseFactory(name="Wisp", weight_kg=100)
    ride = Ride.objects.get(horse__name="Thimble")

    response = coach.post(
        url(grid, "take/"), {"cure": "swap", "ride": ride.pk, "horse": light.pk}
    )

    assert response.status_code == 409
    assert "Wisp should not carry Mira" in response.content.decode()


def test_a_changed_horse_is_pointed_out_and_fitted_again(
    coach: Browser, grid: LessonGrid
) -> None:
    Ride.objects.filter(horse__name="Thimble").update(
        horse=HorseFactory(name="Bracken", height_cm=162)
    )
    before = coach.get(f"/lessons/{grid.lesson_id}/").content.decode()

    coach.post(url(grid, "take/"), {"cure": "refit"})

    after = coach.get(f"/lessons/{grid.lesson_id}/").content.decode()
    assert "the horses have changed" in before
    assert "the horses have changed" not in after


@pytest.mark.parametrize(
    ("change", "cure", "button"),
    [
        ({"highest_fence_cm": 45}, "lower", "Lower to 45 cm"),
        ({}, "square", "Set it square"),
    ],
)
def test_a_row_is_lowered_or_set_square(
    client: Browser, change: dict, cure: str, button: str
) -> None:
    row = spec(x(), oxer("one-stride", height_cm=60, ascending=True), both_ways=False)
    grid = a_grid(row, pony_cm=165)
    client.force_login(AccountFactory(manager=True, person=None))
    Rider.objects.update(**change or {"level": "intermediate"})
    if cure == "square":
        both = row.model_copy(update={"both_ways": True})
        grid.changes = [{"says": "both", "by": "", "spec": spec_as_data(both)}]
        grid.save()

    page = client.get(url(grid)).content.decode()
    response = client.post(url(grid, "take/"), {"cure": cure})

    assert button in page
    assert response.status_code == 302
    top = LessonGrid.objects.get().start[1]
    assert top["height_cm"] == (45 if cure == "lower" else 60)
    assert top.get("ascending", False) is (cure == "lower")


def test_a_lesson_that_is_over_keeps_its_grid(coach: Browser, grid: LessonGrid) -> None:
    type(grid.lesson).objects.update(state="done")

    response = coach.get(url(grid))

    assert response.status_code == 409
    assert "its grid stays" in response.content.decode()


@pytest.mark.parametrize(
    "press",
    [
        {},
        {"cure": "swap", "ride": "x", "horse": "1"},
        {"cure": "swap", "ride": "999", "horse": "1"},
    ],
)
def test_what_is_not_known_is_not_found(
    coach: Browser, grid: LessonGrid, press: dict
) -> None:
    assert coach.post(url(grid, "take/"), press).status_code == 404


def test_only_who_may_attach_a_grid_sees_its_cures(
    client: Browser, grid: LessonGrid
) -> None:
    client.force_login(AccountFactory())

    assert client.get(url(grid)).status_code == 403


def test_a_lesson_that_is_not_there_is_not_found(coach: Browser) -> None:
    assert coach.get("/lessons/99999/cures/").status_code == 404


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_takes_the_same_queries_for_any_ride(
    coach: Browser, grid: LessonGrid, count: int, django_assert_num_queries
) -> None:
    for n in range(count):
        RideFactory(lesson=grid.lesson, horse__name=f"T{n}", horse__height_cm=125)
        HorseFactory(name=f"Bracken {n}", height_cm=160)

    with django_assert_num_queries(27):
        coach.get(url(grid))


def test_a_split_is_pressed_part_by_part(coach: Browser, grid: LessonGrid) -> None:
    page = coach.get(url(grid)).content.decode()
    assert "Build for Thimble" in page
    assert "Build for Onyx" in page

    pressed = coach.post(url(grid, "take/"), {"cure": "part", "part": "short"})

    assert pressed.status_code == 302
    assert "Build for Onyx" in coach.get(url(grid)).content.decode()


def test_feet_are_written_where_the_school_uses_feet(
    coach: Browser, grid: LessonGrid
) -> None:
    HorseFactory(name="Bracken", height_cm=160)
    School.objects.update(length_unit="feet", height_unit="feet", horse_unit="hands")

    page = coach.get(url(grid)).content.decode()

    assert "Gap 1 from 7 ft 10 in to <strong>7 ft 1 in</strong>" in page
    assert "15.3 hh, is free" in page
    assert not re.search(r"\d (m|cm)\b", page)


def test_moves_are_read_from_the_datum_where_the_row_stands(
    coach: Browser, grid: LessonGrid
) -> None:
    line = grid.lesson.arena.lines.get()
    PlannedLessonFactory(
        lesson=grid.lesson, plan__state="published", line=line, offset_cm=1000
    )

    page = coach.get(url(grid)).content.decode().replace("&#x27;", "'")

    assert f"Shift the cross from 12.40 m to 12.15 m from {line.datum}." in page
