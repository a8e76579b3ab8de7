"""How long the manager's pages take in a large school with a year of history.

Run: .venv/bin/python tests/benchmarks/bench_pages.py [--quick]
Prints milliseconds of the processor, queries and kB for each page of the manager, in
a large school (230 lessons and about 650 rides a week, 50 horses, 4 arenas, a year
behind it) and, as its peer, in a typical one (45 lessons, 16 horses, 2 arenas) of the
same week without a past; the ratio says how a page grows. It fails where a page does
not answer, or where the large school costs more queries; never for its time.
"""
# ruff: noqa: E402 -- Django is set up before its models are imported

import os
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.db import connection, transaction
from django.http import HttpResponse
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from exercises.services import load_library
from school.models import Horse, Lesson, Ride, Rider
from tests.benchmarks.large_school import MONDAY, NOW, Size, build
from tests.benchmarks.records import work_in
from tests.factories.people import AccountFactory

DAY = MONDAY + timedelta(days=1)
LARGE = Size(weeks=56, before=52)
TYPICAL = Size(
    lessons=45, horses=16, arenas=2, riders=80, teachers=4, weeks=4, before=0
)
EMPTY = "empty.sqlite3"
Figures = tuple[float, int, int]
"""Milliseconds of the processor, queries, bytes."""

OF_THE_DAY = "day week planner why resets work-register"
BY_ITSELF = (
    "out clients-mail yard-work cups standing new-lesson weekly terms find-time "
    "waiting exercises grids welfare heat clients riders messages replies calendars "
    "rules charges tables handling carrying"
)
OF_A_LESSON = "lesson board-lesson match-lesson"
REPORTS = "arena-use horse-hours reset-minutes places levels ridden"


def pages() -> dict[str, str]:
    """Return the address of each page that is asked for."""
    lesson = Lesson.objects.filter(starts_at__date=DAY).order_by("pk")[0]
    found = {name: reverse(name) for name in BY_ITSELF.split()}
    found |= {name: reverse(name, args=[DAY]) for name in OF_THE_DAY.split()}
    found |= {name: reverse(name, args=[lesson.pk]) for name in OF_A_LESSON.split()}
    found |= {
        f"report {name}": reverse("report", args=[name]) for name in REPORTS.split()
    }
    for name, model in (
        ("horse-history", Horse),
        ("rider-history", Rider),
        ("rider", Rider),
    ):
        found[name] = reverse(name, args=[model.objects.order_by("pk")[0].pk])
    return found


def measured(ask: Callable[[], HttpResponse]) -> Figures:
    """Return the least of three times, the queries and the size of an answer."""
    times = []
    for _ in range(3):
        with CaptureQueriesContext(connection) as queries:
            began = time.process_time()
            answer = ask()
            times.append((time.process_time() - began) * 1000)
        assert answer.status_code == 200, answer.status_code
    return min(times), len(queries), len(answer.content)


def of_school(size: Size, folder: Path) -> tuple[str, dict[str, Figures]]:
    """Build a school of some size and ask for every page of its manager."""
    connection.settings_dict["NAME"] = copyfile(
        folder / EMPTY, folder / f"{size.lessons}.sqlite3"
    )
    with transaction.atomic():
        build(size, 1)
        load_library(now=NOW)
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(AccountFactory(manager=True, person=None))
    found = {name: measured(partial(browser.get, url)) for name, url in pages().items()}
    found["board-try"] = measured(partial(tried_on_the_board, browser))
    says = f"{Lesson.objects.count():,} lessons, {Ride.objects.count():,} rides"
    connection.close()
    return says, found


def tried_on_the_board(browser: Browser) -> HttpResponse:
    """Ask what it would break and cost to begin a lesson a quarter later."""
    lesson = Lesson.objects.filter(starts_at__date=DAY).order_by("pk")[0]
    return browser.post(
        reverse("board-try", args=[lesson.pk]),
        {
            "arena": lesson.arena_id,
            "start": f"{lesson.starts_at + timedelta(minutes=15):%H:%M}",
        },
        headers={"HX-Request": "true"},
    )


def main() -> int:
    """Return 0 where every page answers with the queries of the small school."""
    large_size = Size(weeks=2, before=1) if "--quick" in sys.argv else LARGE
    with TemporaryDirectory() as folder:
        work_in(Path(folder) / EMPTY)
        connection.close()
        few_says, few = of_school(TYPICAL, Path(folder))
        many_says, many = of_school(large_size, Path(folder))
    print(f"large: {many_says}; typical: {few_says}; ms of the processor")
    print(f"{'page':<22}{'large':>7}{'typical':>9}{'ratio':>7}{'queries':>9}{'kB':>6}")
    grown = []
    for name, (ms, queries, size) in sorted(many.items(), key=lambda one: -one[1][0]):
        its_ms, its_queries, _ = few[name]
        print(
            f"{name:<22}{ms:>7.0f}{its_ms:>9.0f}{ms / its_ms:>7.1f}"
            f"{its_queries:>5}/{queries:<3}{size // 1024:>6}"
        )
        if queries > its_queries:
            grown.append(name)
    if grown:
        print("more queries in the large school:", ", ".join(grown))
    return 1 if grown else 0


if __name__ == "__main__":
    sys.exit(main())
