"""Every form of the manager's pages does all of its work or none, and is on record.

Each form is sent as it is filled in by `test_twice`. First it is let through, and what
it changed must have an entry in the audit: who, when, and what it was before or is
now. Then it is sent again while the database fails at one of its writes, the last one
too, and nothing of it may be left.
"""

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.apps import apps
from django.contrib.sessions.models import Session
from django.db import connection, transaction
from django.test import Client as Browser

from school.models import AuditEntry
from tests.factories.people import AccountFactory
from tests.test_sweeps import things
from tests.test_twice import presses

pytestmark = pytest.mark.django_db

WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE)\b", re.IGNORECASE)

TELLS_NOTHING_MORE = {
    "export data": "what was handed out is not kept a second time",
    "withdraw links": "which addresses they were is nobody's business",
    "note incident": "the entry itself stays, and may speak of somebody's health",
}
"""Entries without before and after, and why."""


class DiskFullError(Exception):
    """The database fails in the middle of a press."""


class Writes:
    """Counts the writes of a press, and fails at one of them if asked to."""

    def __init__(self, fails_at: int = 0) -> None:
        self.count, self.fails_at = 0, fails_at

    def __call__(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, how: Any
    ) -> Any:
        if WRITES.match(sql) and Session._meta.db_table not in sql:
            self.count += 1
            if self.count == self.fails_at:
                raise DiskFullError
        return execute(sql, params, many, how)


def kept() -> dict[str, list[str]]:
    """Return every row that there is."""
    return {
        model.__name__: sorted(map(repr, model._default_manager.values_list()))
        for model in apps.get_models()
        if model is not Session
    }


def sent(
    browser: Browser, action: str, data: dict, writes: Writes
) -> tuple[set[str], list[AuditEntry]]:
    """Press, see what has changed and what is on record of it, and undo it all."""
    before, known = kept(), set(AuditEntry.objects.values_list("pk", flat=True))
    with transaction.atomic():
        with connection.execute_wrapper(writes):
            browser.post(action, data)
        after = kept()
        entries = list(AuditEntry.objects.exclude(pk__in=known))
        transaction.set_rollback(True)
    return {name for name in after if after[name] != before[name]}, entries


def told(entries: list[AuditEntry]) -> bool:
    return bool(entries) and all(
        one.before or one.after or one.action in TELLS_NOTHING_MORE for one in entries
    )


def test_a_form_is_on_record_and_leaves_nothing_where_the_database_fails() -> None:
    pages = things()
    browser = Browser(raise_request_exception=False)
    account = AccountFactory(manager=True, person=None)
    untold, halves, took = [], [], 0
    browser.force_login(account)
    for action, data in list(presses(browser, pages)):
        if urlsplit(action).path == "/sign-out/":
            continue
        browser.force_login(account)
        writes = Writes()
        changed, entries = sent(browser, action, data, writes)
        if not changed:
            continue
        took += 1
        if not told(entries):
            untold.append((action, changed, [one.action for one in entries]))
        # A client's own page knows no account; the entry says so by having none.
        if not action.startswith("/my/"):
            assert {one.by_id for one in entries} <= {account.pk}, action
        for fails_at in {writes.count, writes.count // 2 + 1}:
            left, _ = sent(browser, action, data, Writes(fails_at))
            if left:
                halves.append((action, fails_at, writes.count, left))

    assert halves == [], "\n".join(str(one) for one in halves)
    assert untold == [], "\n".join(str(one) for one in untold)
    # So many forms really change something.
    assert took >= 40
