"""Browser tests run where Chromium is; elsewhere they are left out, and said so."""

import os
import shutil
from collections.abc import Iterator

import pytest
from django.db import connections

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")

collect_ignore_glob: list[str] = []
if not CHROMIUM:
    if os.environ.get("REQUIRE_BROWSER"):
        raise RuntimeError("REQUIRE_BROWSER is set, and no Chromium was found")
    collect_ignore_glob.append("test_*.py")

# Playwright runs a loop in this thread; the ORM is not used from inside it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


def pytest_report_header() -> str:
    return f"browser tests: {CHROMIUM or 'left out, no Chromium found'}"


@pytest.fixture(scope="session")
def chromium(django_db_setup, django_db_blocker) -> Iterator[object]:
    """A browser for the whole run.

    While its loop runs, Django keeps other connections for this thread than before
    and after; each set is closed where it is left, or nobody else could close it.
    """
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 -- only here

    with django_db_blocker.unblock():
        connections.close_all()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()
        with django_db_blocker.unblock():
            connections.close_all()
