"""Stages on the page: drawings, moves, minutes, and the row turned round."""

from uuid import UUID

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from school.models import Lesson, LessonGrid
from school.services.grids import attach_grid
from tests.clock import NOW, at
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import (
    ChangeoverFactory,
    DayPlanFactory,
    PlannedLessonFactory,
    PressFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory(tradition="schooling")
    load_library(now=NOW)
    StorePieceFactory(working=30)
    client.force_login(AccountFactory(manager=True))
    return client


def lesson_with(slug: str, riders: int = 1) -> Lesson:
    ride = RideFactory(horse__name="Onyx", horse__height_cm=165, lesson__title="Jump")
    for _ in range(riders - 1):
        RideFactory(lesson=ride.lesson, horse__height_cm=165)
    LineFactory(arena=ride.lesson.arena, datum="the barn end")
    revision = Exercise.objects.get(slug=slug).current
    attach_grid(lesson=ride.lesson, revision=revision, by=None, now=NOW)
    return ride.lesson


def read(browser: Browser, address: str, **more) -> str:
    return browser.get(address, **more).content.decode()


def test_each_stage_of_an_exercise_has_its_drawing_words_moves_and_minutes(
    browser: Browser,
) -> None:
    page = read(browser, "/exercises/poles-to-oxer/stages/")

    assert page.count('class="card stage"') == 7
    assert page.count("<svg") == 6
    assert "The pole at 9.65 m becomes a cross 50 cm." in page
    assert "<strong>4 min</strong> to change it" in page
    assert "Bring 2 wings, 1 pole, 2 cups" in page
    assert "from the row&#x27;s first foot" in page
    assert "stands at the end" in page


def test_another_height_has_other_distances(browser: Browser) -> None:
    pony = read(browser, "/exercises/poles-to-oxer/stages/?height=128")
    unknown = read(browser, "/exercises/poles-to-oxer/stages/?height=900")

    assert "The pole at 8.10 m becomes a cross 50 cm." in pony
    assert "The pole at 9.65 m becomes a cross 50 cm." in unknown


def test_an_ascending_oxer_is_not_turned_as_it_stands(browser: Browser) -> None:
    page = read(browser, "/exercises/poles-to-oxer/stages/")

    assert "Not as it stands." in page
    assert "set it square first" in page


def test_a_row_for_both_ways_is_turned_as_a_stage_of_its_own(browser: Browser) -> None:
    page = read(browser, "/exercises/both-ways-row/stages/")

    assert "Turned round, a stage of its own" in page
    assert "✓ suits" in page
    assert "✗" not in page
    assert "2 things change together: Both alike" in page


def test_a_row_of_one_way_says_which_gap_rides_short_from_its_other_end(
    browser: Browser,
) -> None:
    page = read(browser, "/exercises/higher-crosses/stages/")

    assert "not meant for both ways" in page
    assert "short for a horse of 165 cm" in page
    assert "long for a horse of 165 cm" in page
    assert "A pole then lies on the landing side" in page


def test_htmx_gets_the_stages_alone(browser: Browser) -> None:
    page = read(
        browser, "/exercises/bounce-pair/stages/", headers={"HX-Request": "true"}
    )

    assert "<html" not in page
    assert page.count('class="card stage"') == 4


def test_a_lessons_stages_are_read_from_the_datum_where_its_row_stands(
    browser: Browser,
) -> None:
    lesson = lesson_with("placing-pole-double")
    plan = DayPlanFactory(state="published", date=lesson.starts_at.date())
    PlannedLessonFactory(
        plan=plan, lesson=lesson, line=lesson.arena.lines.get(), offset_cm=1000
    )

    page = read(browser, f"/lessons/{lesson.pk}/stages/")

    assert "the tape is read from the barn end" in page
    assert "at 12.65 m from the barn end" in page


def test_a_lesson_that_is_not_planned_yet_is_read_from_the_rows_first_foot(
    browser: Browser,
) -> None:
    lesson = lesson_with("placing-pole-double")

    page = read(browser, f"/lessons/{lesson.pk}/stages/")

    assert "from the row&#x27;s first foot" in page


def test_what_was_changed_for_the_lesson_is_what_its_stages_show(
    browser: Browser,
) -> None:
    lesson = lesson_with("placing-pole-double")
    grid = LessonGrid.objects.get(lesson=lesson)
    spec = grid.revision.spec | {"stages": [
        {"says": "Only the pole out", "out": [0]}]}  # fmt: skip
    grid.changes = [{"says": "Pole out", "by": "", "at": "", "spec": spec}]
    grid.fitted["gaps"][0]["built_cm"] = 250
    grid.fitted["gaps"][1]["built_cm"] = 617
    grid.save()

    page = read(browser, f"/lessons/{lesson.pk}/stages/")

    assert "Only the pole out" in page
    assert page.count('class="card stage"') == 3
    assert ">2.50</text>" in page


def test_without_a_grid_a_horse_or_a_revision_there_are_no_stages(
    browser: Browser,
) -> None:
    lesson = lesson_with("bounce-pair")
    Exercise.objects.create(slug="empty-one", name="Empty")

    assert browser.get(f"/lessons/{LessonFactory().pk}/stages/").status_code == 404
    lesson.rides.update(horse=None)
    assert browser.get(f"/lessons/{lesson.pk}/stages/").status_code == 404
    assert browser.get("/exercises/empty-one/stages/").status_code == 404


def test_the_instructor_sees_how_far_the_fences_are_and_what_is_the_trouble(
    browser: Browser,
) -> None:
    lesson = lesson_with("bounce-pair")
    one = ChangeoverFactory(
        lesson=lesson,
        plan=DayPlanFactory(state="published"),
        note="A piece is broken: two cups",
    )
    PressFactory(changeover=one, does="photo", uid=UUID(int=99))
    address = f"/lessons/{lesson.pk}/stages/"
    browser.force_login(AccountFactory(person=lesson.instructor.person))

    before = read(browser, address)
    one.started_at = at("09:46")
    one.save()

    assert "not begun" in before
    assert "two cups" in before
    assert f"/photos/{UUID(int=99)}/" in before
    assert "Started 09:46" in read(browser, address)


@pytest.mark.parametrize("riders", [1, 3])
def test_a_lessons_stages_take_a_constant_number_of_queries(
    browser: Browser, django_assert_num_queries, riders: int
) -> None:
    lesson = lesson_with("placing-pole-double", riders)

    with django_assert_num_queries(15):
        browser.get(f"/lessons/{lesson.pk}/stages/")


def test_both_pages_lead_to_the_stages(browser: Browser) -> None:
    lesson = lesson_with("bounce-pair")

    assert f"/lessons/{lesson.pk}/stages/" in read(browser, f"/lessons/{lesson.pk}/")
    assert "/exercises/bounce-pair/stages/" in read(browser, "/exercises/bounce-pair/")
