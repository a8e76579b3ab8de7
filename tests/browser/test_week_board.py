"""The week's board in a real browser: other days, windows, touch, two managers."""

from datetime import timedelta

import pytest
from django.utils import timezone

from school.models import Lesson
from school.services.lesson_changes import Change, change_lesson
from tests.browser.test_board import (
    boxed,
    drag,
    lesson,
    manager,
    moment,
    unasked,
)
from tests.browser.test_pages import DESK, sideways, sign_in

__all__ = ["lesson"]
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TABLET = {"width": 768, "height": 1024}


def lane(page, days: int, lesson: Lesson) -> float:
    """How far to the side the same arena of another day lies."""
    day = (moment("10:00") + timedelta(days=days)).date().isoformat()
    box = page.locator(
        f".lane[data-date='{day}'][data-arena='{lesson.arena_id}']"
    ).bounding_box()
    own = boxed(page, lesson)
    return box["x"] + box["width"] / 2 - own["x"] - own["width"] / 2


@pytest.fixture
def week(live_server) -> tuple[str, int]:
    """The address of the week, and how many days on another day of it lies."""
    day = moment("10:00").date()
    return f"{live_server.url}/week/{day.isoformat()}/", 1 if day.weekday() < 6 else -1


def test_a_lesson_is_dragged_to_another_day_and_taken_back(
    chromium, live_server, week, lesson: Lesson
) -> None:
    address, on = week
    page, errors = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(address)
    drag(page, lesson, lane(page, on, lesson), 0)
    page.locator("[data-verdict=free]").wait_for()
    page.mouse.up()
    page.get_by_text("is changed.").wait_for()
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("10:00") + timedelta(days=on)

    page.get_by_role("button", name="Take back").click()
    page.get_by_text("is as it was").wait_for()
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("10:00")
    assert "/week/" in page.url
    assert unasked(errors) == []
    page.context.close()


def test_by_keyboard_a_lesson_goes_to_another_day_and_is_left(
    chromium, live_server, week, lesson: Lesson
) -> None:
    address, on = week
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(address)
    key = "ArrowRight" if on > 0 else "ArrowLeft"
    page.locator(f"#lesson-{lesson.pk}").focus()
    page.keyboard.press(key)
    page.keyboard.press(key)
    page.locator("[data-verdict=free]").wait_for()
    page.keyboard.press("Escape")
    assert page.locator(".lesson.tried").count() == 0

    page.keyboard.press(key)
    page.keyboard.press(key)
    page.locator("[data-verdict=free]").wait_for()
    page.keyboard.press("Enter")
    page.get_by_text("is changed.").wait_for()
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("10:00") + timedelta(days=on)
    page.context.close()


def test_the_week_tells_what_another_manager_changed_and_on_the_drop(
    chromium, live_server, week, lesson: Lesson
) -> None:
    address, on = week
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(address)
    change_lesson(
        lesson=lesson,
        change=Change(version=lesson.version, starts_at=moment("14:00")),
        by=manager("Maud"),
        now=timezone.now(),
    )
    drag(page, lesson, lane(page, on, lesson), 0)
    page.mouse.up()
    page.get_by_text("Changed meanwhile.").wait_for()
    assert "Maud moved it" in page.locator("#foretold").inner_text()
    page.get_by_text("Changed since you opened this page:").wait_for()

    lesson.refresh_from_db()
    assert lesson.starts_at == moment("14:00")
    page.context.close()


def test_what_is_dragged_out_of_its_window_goes_back_and_says_why(
    chromium, live_server, week, lesson: Lesson
) -> None:
    Lesson.objects.update(window_from=moment("09:00"), window_to=moment("12:00"))
    address, on = week
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(address)
    drag(page, lesson, lane(page, on, lesson), 0)
    page.locator("[data-verdict=no]").wait_for()
    page.mouse.up()
    page.locator(".lesson.tried").wait_for(state="detached")

    said = page.locator("#board-panel").inner_text()
    assert "As agreed with its clients it may start from 09:00 to 12:00" in said
    assert "choose a time in it, or ask them" in said
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("10:00")
    page.context.close()


def test_on_a_tablet_a_finger_moves_nothing_and_a_tap_opens_the_form(
    chromium, live_server, week, lesson: Lesson
) -> None:
    account = manager("Hedda")
    page, _ = sign_in(chromium, live_server, TABLET, account)
    touched = chromium.new_context(
        viewport=TABLET, has_touch=True, storage_state=page.context.storage_state()
    ).new_page()
    touched.goto(week[0])
    box = boxed(touched, lesson)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    cdp = touched.context.new_cdp_session(touched)
    for kind, dy in (("touchStart", 0), ("touchMove", 40), ("touchMove", 90)):
        at = {"type": kind, "touchPoints": [{"x": x, "y": y + dy}]}
        cdp.send("Input.dispatchTouchEvent", at)
    cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert touched.locator(".lesson.tried").count() == 0
    assert sideways(touched) <= 0

    touched.locator(f"#lesson-{lesson.pk} .ride-box").tap()
    touched.wait_for_url("**/board/lessons/*/**")
    touched.fill("#id_start", "11:00")
    touched.get_by_role("button", name="Do it").tap()
    touched.get_by_text("is changed.").wait_for()
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("11:00")
    page.context.close()
    touched.context.close()
