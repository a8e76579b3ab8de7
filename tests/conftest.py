import sys
import time
from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.db import connection
from hypothesis import HealthCheck, settings

from tests.clock import start_clock

start_clock()

settings.register_profile(
    "gate",
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("long", max_examples=1000, deadline=None)
settings.load_profile("gate")


@pytest.fixture(autouse=True)
def django_clock() -> None:
    """Each test begins at the same moment."""
    start_clock()


@pytest.fixture(autouse=True)
def nothing_cached() -> None:
    """Each test begins without what another kept: keys of rows come again."""
    cache.clear()


GRACE_S = 3.0
"""Seconds the last requests of a browser get to end by themselves."""

OTHERS = """
    FROM pg_stat_activity
    WHERE datname = current_database() AND pid <> pg_backend_pid()
      AND backend_type = 'client backend'
"""


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker) -> Iterator[None]:
    """PostgreSQL drops no database that somebody still looks at.

    A thread of the live server may outlast the last test, since nobody waits for a
    browser's open connection; such a one is ended here, and what it did is told.
    """
    yield
    if connection.vendor != "postgresql":
        return
    with django_db_blocker.unblock():
        end = time.monotonic() + GRACE_S
        while (left := stragglers()) and time.monotonic() < end:
            time.sleep(0.1)
        if left:
            sys.stderr.write(f"\nended before the database was dropped: {left}\n")
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT pg_terminate_backend(pid) {OTHERS}")
            while stragglers() and time.monotonic() < end + GRACE_S:
                time.sleep(0.1)


def stragglers() -> list[tuple[str, str]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT state, query {OTHERS}")
        return cursor.fetchall()
