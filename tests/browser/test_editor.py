"""Making a grid in a real browser: phone and desk, keyboard, two windows, no script."""

import pytest

from exercises.models import Exercise
from exercises.services import load_library
from school.convert import history_of
from school.models import GridDraft
from tests.browser.test_pages import DESK, PHONE, SIZES, sideways, sign_in
from tests.clock import NOW
from tests.factories.arenas import LineFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def account():
    SchoolFactory()
    load_library(now=NOW)
    LineFactory()
    return AccountFactory(person=InstructorFactory().person)


def begin(page, live_server, slug: str = "both-ways-row") -> None:
    page.goto(f"{live_server.url}/exercises/{slug}/")
    page.get_by_role("button", name="Change this one").click()
    page.locator("#editor").wait_for()
    # Before the scripts are there a press is a plain form, which keeps no focus.
    page.wait_for_load_state("load")


def said(page, words: str) -> None:
    page.locator(".said", has_text=words).wait_for()


@SIZES
def test_the_drawing_follows_each_change_at_once(
    chromium, live_server, account, size: dict[str, int]
) -> None:
    page, errors = sign_in(chromium, live_server, size, account)
    begin(page, live_server)
    address = page.url
    before = page.locator("svg.side").inner_html()

    page.get_by_role("button", name="Second fence 5 cm higher").click()
    said(page, "Second fence up 5 cm")
    higher = page.locator("svg.side").inner_html()
    page.get_by_text("Change the first fence").click()
    page.select_option("#kind-1", "oxer")
    said(page, "First fence is now an oxer")
    page.fill("#length-2", "6.2")
    page.press("#length-2", "Enter")
    said(page, "Gap before the third element is 6.20 m")
    measured = page.locator("svg.side").inner_html()
    page.click("#undo")
    said(page, "Undone: Gap before the third element is 6.20 m")
    page.click("#redo")
    said(page, "Done again: Gap before the third element is 6.20 m")

    assert higher != before
    assert ">55<" in higher
    assert ">6.20<" in measured
    assert page.locator("svg.side").inner_html() == measured
    assert page.url == address
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


@SIZES
def test_every_control_is_large_enough_for_a_thumb(
    chromium, live_server, account, size: dict[str, int]
) -> None:
    page, _ = sign_in(chromium, live_server, size, account)
    begin(page, live_server)
    page.get_by_text("Change the first fence").click()

    small = page.evaluate(
        """() => [...document.querySelectorAll(
            '#editor button, #editor select, #editor input:not([type=hidden])' +
            ':not([type=checkbox]), #editor summary, .stage-tabs a')]
            .filter(one => one.offsetParent)
            .map(one => [one.id || one.innerText, one.getBoundingClientRect()])
            .filter(([, box]) => box.height < 43.5 || box.width < 43.5)
            .map(([name]) => name)"""
    )

    assert small == []
    page.context.close()


def test_the_keyboard_alone_makes_a_change_and_keeps_its_place(
    chromium, live_server, account
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, account)
    begin(page, live_server)
    page.focus("#higher-2")

    page.keyboard.press("Enter")
    said(page, "Second fence up 5 cm")
    place = page.evaluate("() => document.activeElement.id")
    page.keyboard.press("Enter")
    page.locator("svg.side text", has_text="60").wait_for()

    assert place == "higher-2"
    assert history_of(GridDraft.objects.get()).spec.elements[2].height_cm == 60
    page.context.close()


def test_a_closed_window_loses_nothing(chromium, live_server, account) -> None:
    page, _ = sign_in(chromium, live_server, PHONE, account)
    begin(page, live_server)
    page.get_by_role("button", name="Second fence 5 cm higher").click()
    said(page, "Second fence up 5 cm")
    page.context.close()

    page, _ = sign_in(chromium, live_server, PHONE, account)
    page.goto(f"{live_server.url}/grids/")
    page.get_by_role("link", name="A row for both reins").click()

    said(page, "Last: Second fence up 5 cm")
    page.click("#undo")
    said(page, "Undone: Second fence up 5 cm")
    page.context.close()


def test_a_second_window_is_told_and_overwrites_nothing(
    chromium, live_server, account
) -> None:
    page, _ = sign_in(chromium, live_server, DESK, account)
    begin(page, live_server)
    second = page.context.new_page()
    second.goto(page.url)
    page.get_by_role("button", name="Second fence 5 cm higher").click()
    said(page, "Second fence up 5 cm")

    second.get_by_role("button", name="First fence 5 cm lower").click()
    alert = second.get_by_role("alert")
    alert.wait_for()

    assert "another window: Second fence up 5 cm." in alert.inner_text()
    assert ">55<" in second.locator("svg.side").inner_html()
    second.get_by_role("button", name="First fence 5 cm lower").click()
    said(second, "First fence down 5 cm")
    page.context.close()


def test_a_refused_change_says_why_beside_the_row(
    chromium, live_server, account
) -> None:
    page, _ = sign_in(chromium, live_server, PHONE, account)
    begin(page, live_server)
    page.fill("#length-2", "40 m")
    page.press("#length-2", "Enter")
    alert = page.get_by_role("alert")
    alert.wait_for()

    assert "40.00 m is too long" in alert.inner_text()
    assert GridDraft.objects.get().version == 1
    page.context.close()


def test_a_new_grid_is_made_named_and_kept_without_any_script(
    chromium, live_server, account
) -> None:
    with_script, _ = sign_in(chromium, live_server, PHONE, account)
    cookies = with_script.context.cookies()
    with_script.context.close()
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    context.add_cookies(cookies)
    page = context.new_page()
    page.goto(f"{live_server.url}/exercises/")
    page.get_by_role("button", name="New grid").click()

    page.select_option("#add-kind", "oxer")
    page.click("#add")
    page.get_by_role("button", name="Second fence 5 cm higher").click()
    page.get_by_text("Name, aim, level and approach").click()
    if not page.locator("#name").is_visible():
        page.get_by_text("Name, aim, level and approach").click()
    page.fill("#name", "Our evening row")
    page.fill("#aim", "Something easy after a long day")
    page.locator("form", has=page.locator("#name")).get_by_role("button").click()
    page.get_by_role("button", name="Keep it").click()

    assert page.get_by_role("heading", name="Our evening row").count() == 1
    kept = Exercise.objects.get(slug="our-evening-row").current.spec
    assert [one["kind"] for one in kept["elements"]] == ["pole", "cross", "oxer"]
    context.close()
