"""The log on a phone: one press when all went well, big targets, no script needed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from school.models import Lesson, RideLog
from school.services.grids import attach_grid
from tests.browser.test_pages import DESK, PHONE, SIZES, sideways, sign_in
from tests.clock import NOW
from tests.factories.arenas import LineFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def ridden() -> Lesson:
    """A lesson of three that began an hour ago."""
    SchoolFactory()
    load_library(now=NOW)
    lesson = RideFactory(
        lesson__starts_at=timezone.now() - timedelta(hours=1),
        lesson__title="Evening jump",
        horse__name="Onyx",
    ).lesson
    for _ in range(2):
        RideFactory(lesson=lesson)
    LineFactory(arena=lesson.arena)
    revision = Exercise.objects.get(slug="three-in-a-row").current
    attach_grid(lesson=lesson, revision=revision, by=None, now=NOW)
    return lesson


def open_log(chromium, live_server, ridden: Lesson, size):
    account = AccountFactory(person=ridden.instructor.person)
    page, errors = sign_in(chromium, live_server, size, account)
    page.goto(f"{live_server.url}/lessons/{ridden.pk}/log/")
    return page, errors


@SIZES
def test_targets_are_large_and_nothing_scrolls_sideways(
    chromium, live_server, ridden: Lesson, size: dict[str, int]
) -> None:
    page, errors = open_log(chromium, live_server, ridden, size)
    page.locator("fieldset.ridden summary").first.click()

    heights = page.locator(
        ".log label.chip:visible, .log summary:visible"
    ).evaluate_all("all => all.map(one => one.getBoundingClientRect().height)")
    assert min(heights) >= 48
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


def test_a_thumb_logs_a_knock_and_sees_what_follows(
    chromium, live_server, ridden: Lesson
) -> None:
    page, errors = open_log(chromium, live_server, ridden, PHONE)
    card = page.locator("fieldset.ridden", has_text="Onyx")
    card.locator("summary").click()
    card.get_by_text("Knock in front").click()
    card.locator(".at:visible label").nth(2).click()
    card.get_by_text("more than once").locator("visible=true").click()
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Logged.").wait_for()

    words = page.locator("main").inner_text()
    assert "Knock in front, more than once at 3" in words
    assert "2 knocks at stage" in words
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


def test_two_taps_in_a_row_are_one_log(chromium, live_server, ridden: Lesson) -> None:
    page, _ = open_log(chromium, live_server, ridden, PHONE)
    page.get_by_role("button", name="Save").dblclick()
    page.get_by_text("Correct it").wait_for()

    assert RideLog.objects.count() == 1
    page.context.close()


def test_without_scripts_the_log_is_kept_all_the_same(
    chromium, live_server, ridden: Lesson
) -> None:
    account = AccountFactory(person=ridden.instructor.person)
    page, _ = sign_in(chromium, live_server, DESK, account)
    plain = chromium.new_context(
        java_script_enabled=False, storage_state=page.context.storage_state()
    ).new_page()
    plain.goto(f"{live_server.url}/lessons/{ridden.pk}/log/")
    plain.get_by_text("Mixed").first.click()
    plain.get_by_role("button", name="Save").click()
    plain.get_by_text("Correct it").wait_for()

    assert RideLog.objects.get().ridden.filter(went="mixed").count() == 1
    plain.context.close()
    page.context.close()
