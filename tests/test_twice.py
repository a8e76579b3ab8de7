"""Every form of the manager's pages, pressed twice: a double tap, a browser's retry.

The forms are found in the pages themselves, filled in, and sent twice with the very
same fields (and so with the same token, where a form has one). The second press must
add nothing: no second lesson, mail, audit entry or whatever else there is.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
from django.apps import apps
from django.contrib.sessions.models import Session
from django.db import transaction
from django.test import Client as Browser

from tests.factories.people import AccountFactory
from tests.test_sweeps import GET, things

pytestmark = pytest.mark.django_db

MAY_ADD = {
    r"/clients/\d+/links/close/": ("AuditEntry", "closes what was given until then"),
    r"/grids/start/": ("AuditEntry GridDraft", "each press begins a grid of its own"),
    r"/lessons/\d+/grid/": ("AuditEntry", "fits anew to the horses as they are now"),
    r"/calendars/make/": ("AuditEntry FeedToken", "an address is shown but once"),
    r"/my/.+/calendar/": ("AuditEntry FeedToken", "an address is shown but once"),
    r"/(moves|changeovers)/.+|/yard-work/\d+/(start|done|trouble)/": (
        "Press",
        "a press is noted, and what it does is once",
    ),
    r"/clients/\d+/data/export/": ("AuditEntry", "each handing out is on record"),
    r"/tables/everything/": ("AuditEntry", "each handing out is on record"),
    r"/weekly/\d+/change/": ("AuditEntry", "holds the lessons where they are"),
}
"""Forms whose second press is meant to add rows, which ones, and why."""

FILL = {"date": "2027-04-03", "time": "10:00", "number": "1", "email": "a@example.org"}


@dataclass(slots=True)
class Form:
    action: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    files: bool = False


class Forms(HTMLParser):
    """Collects the forms of a page that are posted, with what they would send."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page = page
        self.found: list[Form] = []
        self.form: Form | None = None
        self.select: tuple[str, list[str], list[str]] | None = None
        self.area: tuple[str, list[str]] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form" and has.get("method", "").lower() == "post":
            self.form = Form(urljoin(self.page, has.get("action", "")))
            self.found.append(self.form)
        if self.form is None:
            return
        if tag == "input":
            self._input(has)
        elif tag == "button" and has.get("name"):
            self.form.buttons.append((has["name"], has.get("value", "")))
        elif tag == "select" and has.get("name"):
            self.select = (has["name"], [], [])
        elif tag == "option" and self.select:
            self.select[1].append(has.get("value", ""))
            if "selected" in has:
                self.select[2].append(has.get("value", ""))
        elif tag == "textarea" and has.get("name"):
            self.area = (has["name"], [])

    def _input(self, has: dict[str, str]) -> None:
        assert self.form is not None
        kind, name, value = (
            has.get("type", "text"),
            has.get("name", ""),
            has.get("value"),
        )
        if kind == "file":
            self.form.files = True
        elif kind == "submit" and name:
            self.form.buttons.append((name, value or ""))
        elif kind in {"checkbox", "radio"}:
            if name and "checked" in has:
                self.form.fields.append((name, value or "on"))
        elif name:
            # What is hidden is nothing that a hand fills in.
            usual = "" if kind == "hidden" else FILL.get(kind, "Because")
            self.form.fields.append((name, value or usual))

    def handle_data(self, data: str) -> None:
        if self.area:
            self.area[1].append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.form = None
        elif tag == "select" and self.select and self.form:
            name, every, chosen = self.select
            first = next((one for one in every if one), "")
            self.form.fields += [(name, one) for one in chosen if one] or [
                (name, first)
            ]
            self.select = None
        elif tag == "textarea" and self.area and self.form:
            name, words = self.area
            self.form.fields.append((name, "".join(words).strip() or "Because"))
            self.area = None


def presses(browser: Browser, pages: dict[str, str]) -> Iterator[tuple[str, dict]]:
    """Yield each form's address and what it sends, for each of its buttons."""
    seen: set[tuple[str, str]] = set()
    for name in sorted(GET):
        answer = browser.get(pages[name])
        if answer.status_code != 200 or "html" not in answer["Content-Type"]:
            continue
        forms = Forms(pages[name])
        forms.feed(answer.content.decode())
        for form in forms.found:
            for button in form.buttons or [("", "")]:
                fields = [*form.fields, button]
                key = (form.action, str(sorted(fields)))
                if form.files or key in seen:
                    continue
                seen.add(key)
                data: dict[str, list[str]] = {}
                for one, value in fields:
                    if one:
                        data.setdefault(one, []).append(value)
                yield form.action, data


def may_add(path: str) -> set[str]:
    return {
        name
        for pattern, (names, _) in MAY_ADD.items()
        if re.fullmatch(pattern, path)
        for name in names.split()
    }


def counted() -> dict[str, int]:
    return {
        model.__name__: model._default_manager.count()
        for model in apps.get_models()
        if model is not Session
    }


def test_a_form_that_is_pressed_twice_adds_nothing_the_second_time() -> None:
    pages = things()
    browser = Browser()
    account = AccountFactory(manager=True, person=None)
    browser.force_login(account)
    added, took = [], 0
    for action, data in list(presses(browser, pages)):
        path = urlsplit(action).path
        if path == "/sign-out/":
            continue
        with transaction.atomic():
            browser.force_login(account)
            first = browser.post(action, data)
            once = counted()
            second = browser.post(action, data)
            twice = counted()
            transaction.set_rollback(True)
        took += first.status_code == 302
        assert second.status_code in {200, 302, 404, 409}, (action, second.status_code)
        more = {name for name, count in twice.items() if count != once[name]}
        if not more <= may_add(path):
            added.append((action, more))

    assert added == [], "\n".join(str(one) for one in added)
    # Most are really taken, so that the second press has something to repeat.
    assert took >= 20
