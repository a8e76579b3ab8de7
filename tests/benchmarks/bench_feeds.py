"""What a feed costs on the server: a year of lessons, and a reader who has it.

Run: .venv/bin/python tests/benchmarks/bench_feeds.py [--quick]
Prints milliseconds of processor time for one request (best and median of the
rounds), its queries and its size, and the share of 50 ms that the best takes. It
fails where an answer is not what was asked for, never for its time.
"""
# ruff: noqa: E402 -- Django is set up before its models are imported

import os
import statistics
import sys
import time
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.core.cache import cache
from django.db import connection, transaction
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from school.models import Lesson, Ride
from school.services.feeds import make_feed
from tests.benchmarks.records import work_in
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import ClientFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

LIMIT_MS = 50.0


def build(weekly: int, riders: int, weeks: int):
    """Book an instructor `weekly` groups of `riders` each of so many weeks."""
    now = timezone.now().replace(minute=0, second=0, microsecond=0)
    arena, instructor, client = ArenaFactory(), InstructorFactory(), ClientFactory()
    people = [RiderFactory(client=client)]
    people += [RiderFactory() for _ in range(riders - 1)]
    horses = [HorseFactory() for _ in range(riders)]
    starts = [
        now + timedelta(days=1 + 7 * week, hours=2 * n)
        for week in range(weeks)
        for n in range(weekly)
    ]
    lessons = Lesson.objects.bulk_create(
        Lesson(
            title="Group",
            kind="group",
            work="jumping",
            starts_at=start,
            ends_at=start + timedelta(hours=1),
            arena=arena,
            instructor=instructor,
            places=riders,
            state_at=now,
            changed_at=now,
        )
        for start in starts
    )
    Ride.objects.bulk_create(
        Ride(lesson=lesson, rider=rider, horse=horse)
        for lesson in lessons
        for rider, horse in zip(people, horses, strict=True)
    )
    return {
        "client": client.person,
        "instructor": instructor.person,
        "horse": horses[0],
        "arena": arena,
    }


def ask(browser: Browser, url: str, rounds: int, headers: dict[str, str]):
    """Return the response, its times in ms of processor time, and its queries."""
    times = []
    for _ in range(rounds):
        cache.clear()
        began = time.process_time()
        response = browser.get(url, headers=headers)
        times.append((time.process_time() - began) * 1000)
    cache.clear()
    with CaptureQueriesContext(connection) as queries:
        browser.get(url, headers=headers)
    return response, times, len(queries)


def measured(kind: str, holder, count: int, rounds: int) -> list[str]:
    """Print what one feed takes whole, packed and unchanged; return what was wrong."""
    browser, wrong = Browser(SERVER_NAME="localhost"), []
    _, url = make_feed(kind=kind, holder=holder, now=timezone.now())
    path = "/agenda/" + url.partition("/agenda/")[2]
    plain, times, queries = ask(browser, path, rounds, {})
    tag = {"If-None-Match": plain["ETag"]}
    if (told := plain.content.count(b"BEGIN:VEVENT")) != count:
        wrong.append(f"{kind}: {told} of {count} lessons")
    for name, response, taken, asked in (
        ("whole", plain, times, queries),
        ("gzip", *ask(browser, path, rounds, {"Accept-Encoding": "gzip"})),
        ("304", *ask(browser, path, rounds, tag)),
    ):
        if response.status_code != (304 if name == "304" else 200):
            wrong.append(f"{kind}, {name}: {response.status_code}")
        print(
            f"{kind:<12}{count:>8}  {name:<9}{min(taken):>7.1f}"
            f"{statistics.median(taken):>8.1f}{asked:>9}{len(response.content):>9}"
            f"{min(taken) / LIMIT_MS:>10.2f}"
        )
    return wrong


def main() -> None:
    quick = "--quick" in sys.argv
    rounds, weeks = (2, 5) if quick else (30, 52)
    wrong: list[str] = []
    print("feed         lessons  answer      best  median  queries    bytes  of 50 ms")
    with TemporaryDirectory() as folder:
        work_in(Path(folder) / "bench.sqlite3")
        SchoolFactory()
        for weekly, riders in ((2, 4), (20, 4)):
            with transaction.atomic():
                holders = build(weekly, riders, weeks)
            for kind, holder in holders.items():
                wrong += measured(kind, holder, weekly * weeks, rounds)
        connection.close()
    if wrong:
        sys.exit("; ".join(wrong))


if __name__ == "__main__":
    main()
