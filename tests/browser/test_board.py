"""The board in a real browser: dragged, by keyboard, two managers, phone and desk."""

from datetime import datetime, time, timedelta

import pytest
from django.utils import timezone

from school.models import Lesson, Occupancy, OutboxMessage
from school.services.invitations import lesson_changed
from school.services.lesson_changes import Change, change_lesson
from tests.browser.test_pages import DESK, PHONE, sideways, sign_in
from tests.clock import NOW, ZONE
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def moment(clock: str) -> datetime:
    day = timezone.localdate() + timedelta(days=3)
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE)


@pytest.fixture
def lesson() -> Lesson:
    SchoolFactory()
    hall, _ = ArenaFactory(name="Hall"), ArenaFactory(name="Ring")
    ride = RideFactory(
        lesson__starts_at=moment("10:00"),
        lesson__title="Evening jump",
        lesson__arena=hall,
        horse__name="Onyx",
    )
    return ride.lesson


def manager(name: str):
    return AccountFactory(manager=True, person__first_name=name)


def day_of(live_server) -> str:
    return f"{live_server.url}/day/{moment('10:00').date().isoformat()}/"


def invited(lesson: Lesson) -> None:
    """Its clients have had their invites."""
    lesson_changed(lesson=lesson, now=NOW)
    OutboxMessage.objects.update(state="sent", attempts=1, sent_at=NOW, mail=b"x")


def changed(lesson: Lesson, **change: object) -> None:
    """Another manager changes it, at another desk."""
    change_lesson(
        lesson=lesson,
        change=Change(version=lesson.version, **change),
        by=manager("Maud"),
        now=NOW,
    )


def unasked(errors: list[str]) -> list[str]:
    """Leave out that an asking was broken off for a newer one, which htmx tells."""
    return [
        one
        for one in errors
        if not one.startswith(("htmx:sendAbort", "htmx:afterRequest"))
    ]


def boxed(page, lesson: Lesson):
    return page.locator(f"#lesson-{lesson.pk} .ride-box").bounding_box()


def drag(page, lesson: Lesson, dx: float, dy: float, *, edge: bool = False) -> None:
    """Take a lesson by its middle or lower edge and hold it where it was drawn to."""
    box = boxed(page, lesson)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    if edge:
        y = box["y"] + box["height"] - 3
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx / 2, y + dy / 2, steps=4)
    page.mouse.move(x + dx, y + dy, steps=4)


def test_a_lesson_is_dragged_and_its_horse_follows(
    chromium, live_server, lesson: Lesson
) -> None:
    page, errors = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    drag(page, lesson, 204, 90)
    page.locator("[data-verdict=free]").wait_for()
    said = page.locator("#foretold").inner_text()
    page.mouse.up()
    page.get_by_text("is changed.").wait_for()

    lesson.refresh_from_db()
    assert "Adds no changing of fences" in said
    assert "1 mail:" in said
    assert lesson.starts_at == moment("11:00")
    assert lesson.arena.name == "Ring"
    held = Occupancy.objects.get(what="horse")
    assert (held.taken_from, held.taken_to) == (moment("11:00"), moment("12:00"))
    assert unasked(errors) == []

    page.get_by_role("button", name="Take back").click()
    page.get_by_text("is as it was").wait_for()
    lesson.refresh_from_db()
    assert (lesson.starts_at, lesson.arena.name) == (moment("10:00"), "Hall")
    page.context.close()


def test_what_would_double_book_a_horse_springs_back(
    chromium, live_server, lesson: Lesson
) -> None:
    horse = lesson.rides.get().horse
    RideFactory(
        horse=horse, lesson__starts_at=moment("12:00"), lesson__title="Noon ride"
    )
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    was = boxed(page, lesson)
    drag(page, lesson, 0, 150)
    page.locator("[data-verdict=no]").wait_for()
    said = page.locator("#foretold").inner_text()
    page.mouse.up()
    page.locator(".lesson.tried").wait_for(state="detached")

    assert "Onyx goes in Noon ride" in said
    assert boxed(page, lesson)["y"] == pytest.approx(was["y"], abs=1)
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("10:00")
    page.context.close()


def test_the_keyboard_moves_and_lengthens_a_lesson(
    chromium, live_server, lesson: Lesson
) -> None:
    page, errors = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    page.locator(f"#lesson-{lesson.pk}").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Escape")
    for key in ("ArrowRight", "ArrowUp", "ArrowUp", "Shift+ArrowDown"):
        page.keyboard.press(key)
    page.locator("[data-verdict=free]").wait_for()
    page.keyboard.press("Enter")
    page.get_by_text("is changed.").wait_for()

    lesson.refresh_from_db()
    assert (lesson.starts_at, lesson.ends_at) == (moment("09:50"), moment("10:55"))
    assert lesson.arena.name == "Ring"
    assert page.evaluate("document.activeElement.id") == f"lesson-{lesson.pk}"
    assert unasked(errors) == []
    page.context.close()


def test_a_lesson_is_made_longer_at_its_edge(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    drag(page, lesson, 0, 45, edge=True)
    page.locator("[data-verdict=free]").wait_for()
    page.mouse.up()
    page.get_by_text("is changed.").wait_for()

    lesson.refresh_from_db()
    assert (lesson.starts_at, lesson.ends_at) == (moment("10:00"), moment("11:30"))
    page.context.close()


def test_the_second_of_two_managers_is_told_and_overwrites_nothing(
    chromium, live_server, lesson: Lesson
) -> None:
    first, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    second, _ = sign_in(chromium, live_server, DESK, manager("Maud"))
    for page in (first, second):
        page.goto(f"{live_server.url}/board/lessons/{lesson.pk}/")
    first.fill("#id_start", "11:00")
    first.get_by_role("button", name="Do it").click()
    first.get_by_text("is changed.").wait_for()
    second.fill("#id_start", "15:00")
    second.get_by_role("button", name="Do it").click()
    second.get_by_role("alert").first.wait_for()

    assert "Hedda moved it" in second.get_by_role("alert").first.inner_text()
    assert second.input_value("#id_start") == "11:00"
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("11:00")
    first.context.close()
    second.context.close()


def test_on_a_phone_a_tap_opens_the_form_and_nothing_scrolls_sideways(
    chromium, live_server, lesson: Lesson
) -> None:
    invited(lesson)
    page, errors = sign_in(chromium, live_server, PHONE, manager("Hedda"))
    page.goto(day_of(live_server))
    assert sideways(page) <= 0
    page.locator(f"#lesson-{lesson.pk} .ride-box").click()
    page.wait_for_url("**/board/lessons/*/")
    page.fill("#id_start", "11:00")
    page.press("#id_start", "Tab")
    page.locator("[data-verdict=free]").wait_for()
    assert sideways(page) <= 0
    page.get_by_text("Cancel it").click()
    page.locator("#foretold-cancel").get_by_text("1 mail:").wait_for()
    page.fill("#cancel-reason", "Frost")
    page.get_by_role("button", name="Cancel and tell").click()
    page.get_by_text("is cancelled. A mail goes to").wait_for()

    assert unasked(errors) == []
    page.context.close()


def test_what_is_no_time_is_said_and_no_older_verdict_stays(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(f"{live_server.url}/board/lessons/{lesson.pk}/")
    page.fill("#id_start", "11:00")
    page.press("#id_start", "Tab")
    page.locator("[data-verdict=free]").wait_for()
    page.fill("#id_start", "")
    page.press("#id_start", "Tab")
    page.get_by_text(
        "Look at these fields again. Start: This field is required."
    ).wait_for()

    assert page.locator("[data-verdict=free]").count() == 0
    page.context.close()


def test_what_is_left_or_refused_is_done_by_no_later_press(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    page.locator(f"#lesson-{lesson.pk}").focus()
    page.keyboard.press("ArrowDown")
    page.locator("[data-verdict=free]").wait_for()
    page.keyboard.press("Escape")

    assert page.input_value("#id_start") == "10:00"
    assert page.locator("#foretold").inner_text() == ""

    drag(page, lesson, 0, -210)
    page.locator("[data-verdict=no]").wait_for()
    page.mouse.up()
    page.locator(".lesson.tried").wait_for(state="detached")
    assert page.input_value("#id_start") == "10:00"
    assert "is open from" in page.locator("#foretold").inner_text()
    page.context.close()


def test_a_drag_on_a_page_that_is_old_overwrites_nothing(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    changed(lesson, starts_at=moment("14:00"))
    drag(page, lesson, 0, 45)
    page.mouse.up()
    page.get_by_text("Changed meanwhile.").wait_for()

    assert "Maud moved it" in page.locator("#foretold").inner_text()
    assert page.locator(".lesson.tried").count() == 0
    lesson.refresh_from_db()
    assert lesson.starts_at == moment("14:00")
    page.context.close()


def test_a_lesson_cancelled_meanwhile_is_put_back_and_says_why(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    changed(lesson, reason="Frost")
    drag(page, lesson, 0, 45)
    page.mouse.up()
    page.get_by_text("is cancelled stays as it is: Frost").wait_for()
    page.locator(".lesson.tried").wait_for(state="detached")
    page.context.close()


def test_without_an_answer_a_lesson_goes_back_and_it_is_said(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    page.context.set_offline(True)
    drag(page, lesson, 0, 45)
    page.mouse.up()
    page.get_by_text("No answer came, so nothing is changed.").wait_for()
    assert page.locator(".lesson.tried").count() == 0

    page.context.set_offline(False)
    drag(page, lesson, 0, 45)
    page.mouse.up()
    page.get_by_text("is changed.").wait_for()
    page.context.close()


def test_who_was_signed_out_meanwhile_is_asked_to_sign_in(
    chromium, live_server, lesson: Lesson
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, manager("Hedda"))
    page.goto(day_of(live_server))
    page.context.clear_cookies()
    page.locator(f"#lesson-{lesson.pk} .ride-box").click()
    page.wait_for_url("**next=/day/**")

    assert page.locator("#board-panel").count() == 0
    page.context.close()


def test_on_a_phone_many_arenas_stay_readable(
    chromium, live_server, lesson: Lesson
) -> None:
    for _ in range(4):
        ArenaFactory()
    page, _ = sign_in(chromium, live_server, PHONE, manager("Hedda"))
    page.goto(day_of(live_server))

    box = boxed(page, lesson)
    assert box["width"] >= 130
    assert box["height"] >= 44
    assert sideways(page) <= 0
    page.context.close()
