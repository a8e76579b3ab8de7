"""The build sheet of a lesson: from its plan's place, its grid and its overrides."""

import pytest
from django.test import Client as Browser

from exercises.geometry.spec import ExerciseSpec
from exercises.models import Exercise
from exercises.services import load_library
from school.models import Lesson
from school.services.grid_changes import change_grid
from school.services.grids import Fitted, attach_grid
from tests.clock import NOW, SATURDAY
from tests.factories.arenas import LineFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import DayPlanFactory, PlannedLessonFactory
from tests.factories.schools import SchoolFactory
from tests.school.sheets.builders import read_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


@pytest.fixture
def lesson() -> Lesson:
    SchoolFactory(tradition="schooling")
    load_library(now=NOW)
    ride = RideFactory(
        lesson__title="Jump <1>",
        horse__name="Onyx",
        rider__highest_fence_cm=40,
        rider__person__first_name="Mira",
    )
    LineFactory(arena=ride.lesson.arena, name="centre", datum="the gate")
    attach_grid(
        lesson=ride.lesson,
        revision=Exercise.objects.get(slug="two-strides").current,
        by=AccountFactory(person__first_name="Vera"),
        now=NOW,
        overrides={"height for Mira": "rode it last week"},
    )
    return Lesson.objects.get()


def plan(lesson: Lesson, *, start=None, **changes):
    start = lesson.grid.start if start is None else start
    document = {"lessons": [{"id": f"lesson-{lesson.pk}", "grid": {"start": start}}]}
    fields = {
        "plan": DayPlanFactory(state="published", date=SATURDAY, document=document),
        "lesson": lesson,
        "line": lesson.arena.lines.get(),
        "offset_cm": 700,
    }
    return PlannedLessonFactory(**(fields | changes))


def page(browser: Browser, lesson: Lesson) -> str:
    return browser.get(f"/lessons/{lesson.pk}/build-sheet/").content.decode()


def test_a_lesson_without_a_plan_is_measured_from_its_first_foot(
    browser: Browser, lesson: Lesson
) -> None:
    shown = page(browser, lesson)

    assert "the take-off foot of the first element" in shown
    assert "Onyx (160 cm)" in shown
    assert "Overruled by Vera:" in shown
    assert "rode it last week" in shown
    assert "Jump &lt;1&gt;" in shown


def test_the_published_plan_places_it_on_its_line(
    browser: Browser, lesson: Lesson
) -> None:
    plan(lesson)

    shown = page(browser, lesson)

    assert "read from the gate; the row is ridden away from it." in shown
    assert "<strong>7.00</strong>" in shown
    assert f"{lesson.arena.name}, centre" in shown


def test_a_mirrored_row_is_read_from_its_far_end(
    browser: Browser, lesson: Lesson
) -> None:
    plan(lesson, mirrored=True)

    shown = page(browser, lesson)

    last = max(e["at_cm"] + e.get("spread_cm", 0) for e in lesson.grid.start)
    assert "ridden towards it" in shown
    assert f"<strong>{(700 + last) / 100:.2f}</strong>" in shown


@pytest.mark.parametrize("why", ["another row", "a draft", "moved since"])
def test_a_plan_that_no_longer_holds_is_not_used(
    browser: Browser, lesson: Lesson, why: str
) -> None:
    planned = plan(lesson, start=[] if why == "another row" else None)
    if why == "a draft":
        planned.plan.state = "draft"
        planned.plan.save()
    if why == "moved since":
        planned.starts_at = NOW
        planned.save()

    assert "the take-off foot of the first element" in page(browser, lesson)


def test_the_pdf_leads_back_to_the_live_page(browser: Browser, lesson: Lesson) -> None:
    response = browser.get(f"/lessons/{lesson.pk}/build-sheet.pdf")

    text = read_text(response.content)
    assert f"http://127.0.0.1:8000/lessons/{lesson.pk}/" in text
    assert "Overruled by Vera:" in text
    assert "Jump <1>" in text


def test_what_was_changed_for_this_lesson_alone_is_built_and_said(
    browser: Browser, lesson: Lesson
) -> None:
    def lower(fitted: Fitted) -> ExerciseSpec:
        return fitted.spec.altered(lambda one: one.model_copy(update={"height_cm": 40}))

    change_grid(
        lesson=lesson, alter=lower, says="everything to 40 cm", by=None, now=NOW
    )

    shown = page(browser, lesson)

    assert "everything to 40 cm" in shown
    assert "40 cm</td>" in shown
    assert "Overruled by" not in shown


@pytest.mark.parametrize("kind", ["/", ".pdf"])
def test_without_a_grid_the_lessons_page_comes_back(
    browser: Browser, lesson: Lesson, kind: str
) -> None:
    lesson.grid.delete()

    response = browser.get(f"/lessons/{lesson.pk}/build-sheet{kind}")

    assert response["Location"] == f"/lessons/{lesson.pk}/#grid"
    assert browser.get(f"/lessons/999/build-sheet{kind}").status_code == 404


def test_the_page_takes_a_constant_number_of_queries(
    browser: Browser, lesson: Lesson, django_assert_num_queries
) -> None:
    plan(lesson)
    with django_assert_num_queries(10):
        page(browser, lesson)
    for _ in range(2):
        RideFactory(lesson=lesson)
    with django_assert_num_queries(10):
        page(browser, lesson)
