"""No day that can be typed into a page or an address ends in an error of the server."""

import re
from urllib.parse import urlsplit

import pytest
from django.db import transaction
from django.test import Client as Browser

from tests.factories.people import AccountFactory
from tests.test_sweeps import GET, things
from tests.test_twice import presses

pytestmark = pytest.mark.django_db

A_DAY = re.compile(r"\d{4}-\d\d-\d\d")
FAR = ["0001-01-01", "9999-12-31"]
"""The first and the last day that a date can have."""


@pytest.mark.parametrize("far", FAR)
def test_a_day_at_the_end_of_all_calendars_is_answered_on_every_page(far: str) -> None:
    pages = things()
    browser = Browser()
    browser.force_login(AccountFactory(manager=True, person=None))
    asked = [pages[name] for name in GET if A_DAY.search(pages[name])]
    assert len(asked) > 8

    for path in [*asked, "/reports/arena-use/?first=2027-03-01&last=2027-03-01"]:
        answer = browser.get(A_DAY.sub(far, path))
        assert answer.status_code < 500, path


@pytest.mark.parametrize("far", FAR)
def test_a_day_at_the_end_of_all_calendars_is_answered_in_every_form(far: str) -> None:
    pages = things()
    browser = Browser()
    account = AccountFactory(manager=True, person=None)
    browser.force_login(account)
    sent = 0
    for action, data in list(presses(browser, pages)):
        if urlsplit(action).path == "/sign-out/":
            continue
        for name, values in data.items():
            if not A_DAY.match(values[0]):
                continue
            with transaction.atomic():
                browser.force_login(account)
                answer = browser.post(
                    action, data | {name: [A_DAY.sub(far, values[0])]}
                )
                transaction.set_rollback(True)
            assert answer.status_code < 500, (action, name)
            sent += 1
    assert sent > 15


def test_what_is_no_day_of_a_calendar_says_to_look_at_the_year() -> None:
    things()
    browser = Browser()
    browser.force_login(AccountFactory(manager=True, person=None))

    assert "Look at the year" in browser.get("/register/9999-12-31/").content.decode()
    told = browser.get("/api/lessons/?date=9999-12-31")
    assert told.status_code == 404
    assert "Look at the year" in told.json()["detail"]
