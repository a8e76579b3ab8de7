"""The library in a real browser: found while typing, stages loaded into the page."""

import pytest

from exercises.services import load_library
from tests.browser.test_pages import DESK, PHONE, SIZES, sideways, sign_in
from tests.clock import NOW
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def account():
    SchoolFactory()
    load_library(now=NOW)
    return AccountFactory(person=InstructorFactory().person)


def test_a_fault_chosen_narrows_the_list_without_leaving_the_page(
    chromium, live_server, account
) -> None:
    page, errors = sign_in(chromium, live_server, DESK, account)
    page.goto(f"{live_server.url}/exercises/")
    before = page.locator(".found").count()
    page.select_option("#fault", label="refusing")
    page.wait_for_url("**fault=refusing**")

    assert 0 < page.locator(".found").count() < before
    assert page.locator("#fault").input_value() == "refusing"
    assert errors == []
    page.context.close()


@SIZES
def test_an_exercise_loads_its_stages_without_a_sideways_scroll(
    chromium, live_server, account, size: dict[str, int]
) -> None:
    page, errors = sign_in(chromium, live_server, size, account)
    page.goto(f"{live_server.url}/exercises/poles-to-oxer/")
    page.locator("#stage-6").wait_for()
    page.locator("#stage-2 summary").click()

    assert page.locator("#stage-2 .do li").first.is_visible()
    assert page.locator("#turned").inner_text().count("Not as it stands.") == 1
    assert page.locator("#stage-2 summary").bounding_box()["height"] >= 44
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


def test_the_list_fits_a_phone(chromium, live_server, account) -> None:
    page, errors = sign_in(chromium, live_server, PHONE, account)
    page.goto(f"{live_server.url}/exercises/")

    assert sideways(page) <= 0
    assert page.get_by_role("button", name="Find").bounding_box()["height"] >= 44
    assert errors == []
    page.context.close()
