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
from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from school.models import Lesson, Ride
from school.services.feeds import make_feed
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import ClientFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

LIMIT_MS = 50.0


def build(weekly: int, riders: int):
    """Book an instructor `weekly` groups of `riders` each week of a year."""
    now = timezone.now().replace(minute=0, second=0, microsecond=0)
    with transaction.atomic():
        school, arena = SchoolFactory(), ArenaFactory()
        instructor, client = InstructorFactory(), ClientFactory()
        people = [RiderFactory(client=client)]
        people += [RiderFactory() for _ in range(riders - 1)]
        horses = [HorseFactory() for _ in range(riders)]
        hours = [now + timedelta(days=1, hours=2 * n) for n in range(weekly)]
        for week in range(52):
            for start in hours:
                lesson = Lesson.objects.create(
                    title="Group",
                    kind="group",
                    work="jumping",
                    starts_at=start + timedelta(days=7 * week),
                    ends_at=start + timedelta(days=7 * week, hours=1),
                    arena=arena,
                    instructor=instructor,
                    places=riders,
                    state_at=now,
                    changed_at=now,
                )
                for rider, horse in zip(people, horses, strict=True):
                    Ride.objects.create(lesson=lesson, rider=rider, horse=horse)
    return school, {
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


def main() -> None:
    quick = "--quick" in sys.argv
    rounds, wrong = (5 if quick else 30), []
    browser = Browser(SERVER_NAME="localhost")
    print("feed         lessons  answer      best  median  queries    bytes  of 50 ms")
    for weekly, riders in ((2, 4), (20, 4)):
        with TemporaryDirectory() as folder:
            connection.close()
            connection.settings_dict["NAME"] = str(Path(folder) / "bench.sqlite3")
            call_command("migrate", verbosity=0)
            _, holders = build(weekly, riders)
            for kind, holder in holders.items():
                _, url = make_feed(kind=kind, holder=holder, now=timezone.now())
                path = "/agenda/" + url.partition("/agenda/")[2]
                plain, times, queries = ask(browser, path, rounds, {})
                tag = {"If-None-Match": plain["ETag"]}
                for name, response, taken, count in (
                    ("whole", plain, times, queries),
                    ("gzip", *ask(browser, path, rounds, {"Accept-Encoding": "gzip"})),
                    ("304", *ask(browser, path, rounds, tag)),
                ):
                    if response.status_code != (304 if name == "304" else 200):
                        wrong.append(f"{kind}, {name}: {response.status_code}")
                    print(
                        f"{kind:<12}{52 * weekly:>8}  {name:<9}{min(taken):>7.1f}"
                        f"{statistics.median(taken):>8.1f}{count:>9}{len(response.content):>9}"
                        f"{min(taken) / LIMIT_MS:>10.2f}"
                    )
            connection.close()
    if wrong:
        sys.exit("; ".join(wrong))


if __name__ == "__main__":
    main()
