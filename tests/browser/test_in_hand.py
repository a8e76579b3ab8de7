"""What an instructor presses during a lesson: in gloves, in rain, with one free hand.

44 px: WCAG 2.2, 2.5.5 (AAA); 8 px between them, and what a thumb reaches of a phone
(its lower half): common practice, no source.
"""

from datetime import timedelta

import pytest
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from school.models import Lesson, LessonGrid, Outcome
from school.services.grids import attach_grid
from tests.browser.test_pages import sideways, sign_in
from tests.clock import NOW
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SMALL = {"width": 360, "height": 740}
LEAST_PX, APART_PX = 44, 8
PAGES = (
    "who-came/",
    "stages/",
    "cures/",
    "remedies/",
    "remedies/?at=2&fault=rushing#remedies",
)

TARGETS = """() => [...document.querySelectorAll(
    'main button, main summary, main select, main .pick a, main .button, nav a,'
    + ' main label.check, main .in-hand a, main input:not([type=hidden])'
  )].filter(one => !one.closest('label.check') || one.matches('label'))
  .map(one => [
    {
      says: (one.innerText || one.name).slice(0, 30),
      bar: !!one.closest('.in-hand, .top'),
    },
    one.getBoundingClientRect(),
  ])
  .filter(([_, box]) => box.width && box.height)
  .map(([words, box]) => [words, box.left, box.top, box.width, box.height])"""


@pytest.fixture
def running() -> Lesson:
    """A lesson of two that began ten minutes ago, whose grid does not suit all."""
    SchoolFactory()
    load_library(now=NOW)
    lesson = LessonFactory(starts_at=timezone.now() - timedelta(minutes=10), places=2)
    RideFactory(lesson=lesson, horse__name="Onyx", horse__height_cm=165)
    LineFactory(arena=lesson.arena)
    StorePieceFactory()
    revision = Exercise.objects.get(slug="placing-pole-double").current
    attach_grid(lesson=lesson, revision=revision, by=None, now=NOW)
    RideFactory(lesson=lesson, horse__name="Pip", horse__height_cm=112)
    return lesson


def opened(chromium, live_server, running: Lesson, page_of: str):
    account = AccountFactory(person=running.instructor.person)
    page, errors = sign_in(chromium, live_server, SMALL, account)
    page.goto(f"{live_server.url}/lessons/{running.pk}/{page_of}")
    return page, errors


def apart(one, other) -> float:
    """Return how far two boxes lie from each other, sideways or up and down."""
    _, left, top, width, height = one
    _, other_left, other_top, other_width, other_height = other
    return max(
        other_left - left - width,
        left - other_left - other_width,
        other_top - top - height,
        top - other_top - other_height,
    )


@pytest.mark.parametrize("page_of", PAGES)
def test_all_that_is_pressed_is_as_large_as_a_glove(
    chromium, live_server, running: Lesson, page_of: str
) -> None:
    page, errors = opened(chromium, live_server, running, page_of)
    for one in page.locator("main summary:visible").all():
        one.click()

    targets = page.evaluate(TARGETS)

    assert len(targets) >= 5
    assert not [one for one in targets if min(one[3:]) < LEAST_PX]
    # The bars at top and bottom lie over what scrolls below them.
    inside = [one for one in targets if not one[0]["bar"]]
    near = [
        (one[0]["says"], other[0]["says"], apart(one, other))
        for n, one in enumerate(inside)
        for other in inside[:n]
        if apart(one, other) < APART_PX
    ]
    assert near == []
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


@pytest.mark.parametrize("page_of", PAGES)
def test_nothing_must_be_typed(
    chromium, live_server, running: Lesson, page_of: str
) -> None:
    page, _ = opened(chromium, live_server, running, page_of)

    typed = "main :is(input, textarea)[required]:not([type=checkbox], [type=radio])"

    assert page.locator(typed).evaluate_all("all => all.map(one => one.value)") in (
        [],
        # When it ended stands there already: now.
        page.locator("main input[type=time]").evaluate_all(
            "all => all.map(one => one.value)"
        ),
    )
    page.context.close()


@pytest.mark.parametrize("page_of", ["", *PAGES])
def test_the_other_pages_of_the_lesson_are_under_the_thumb(
    chromium, live_server, running: Lesson, page_of: str
) -> None:
    page, _ = opened(chromium, live_server, running, page_of)

    links = page.locator(".in-hand a")

    assert links.all_inner_texts() == [
        "Lesson", "What helps", "Stages", "Who came", "Log",
    ]  # fmt: skip
    for one in links.all():
        box = one.bounding_box()
        assert SMALL["height"] / 2 < box["y"]
        assert box["y"] + box["height"] <= SMALL["height"] + 1
        assert box["height"] >= LEAST_PX
    page.context.close()


def test_a_rider_noted_late_by_two_presses_is_noted_once(
    chromium, live_server, running: Lesson
) -> None:
    page, _ = opened(chromium, live_server, running, "who-came/")
    page.get_by_role("button", name="10 min").first.dblclick()
    page.get_by_text("Came 10 minutes late").wait_for()

    assert Outcome.objects.count() == 1
    page.context.close()


def test_a_remedy_pressed_twice_is_taken_once(
    chromium, live_server, running: Lesson
) -> None:
    page, _ = opened(chromium, live_server, running, PAGES[-1])

    page.get_by_role("button", name="Do this").first.dblclick()
    page.get_by_role("button", name="Undo it").wait_for()

    assert len(LessonGrid.objects.get().changes) == 1
    page.context.close()


def test_a_lesson_of_another_day_has_no_bar(
    chromium, live_server, running: Lesson
) -> None:
    later = timezone.now() + timedelta(days=2)
    Lesson.objects.update(starts_at=later, ends_at=later + timedelta(hours=1))
    page, _ = opened(chromium, live_server, running, "stages/")

    assert page.locator(".in-hand").count() == 0
    page.context.close()
