"""What carrying a term over into the next takes.

Run: .venv/bin/python tests/benchmarks/bench_carry_over.py [--lessons 12] [--queries]
     [--quick]
Prints seconds of the processor and queries for trying and for booking the weekly
lessons of a term (twelve, each of ten weeks and three riders on horses, unless said)
with the queries a lesson, and how many of them read the school's row; with
`--queries` the statements that come most often; `--quick` takes three. It fails where
one can't go on, never for its time.
"""
# ruff: noqa: E402 -- Django is set up before its models are imported

import argparse
import os
import re
import sys
import time as clock
from collections import Counter
from collections.abc import Callable
from datetime import date, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.db import connection
from django.test.utils import CaptureQueriesContext

from school.models import Lesson, Term
from school.services.carry_over import carry_over, try_carrying
from school.services.series import start_series
from school.services.series_parts import SeriesPlan
from tests.benchmarks.records import work_in
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.terms import TermFactory

SPRING = (date(2027, 3, 8), date(2027, 5, 16))
SUMMER = (date(2027, 5, 17), date(2027, 7, 25))
LATER = at("12:00", date(2027, 5, 5))


def build(lessons: int) -> tuple[Term, Term]:
    """Write a term of weekly lessons, and the next one empty."""
    SchoolFactory(country="NL", latitude=52.1, longitude=5.2)
    spring = TermFactory(name="Spring", first_date=SPRING[0], last_date=SPRING[1])
    summer = TermFactory(name="Summer", first_date=SUMMER[0], last_date=SUMMER[1])
    arenas = [ArenaFactory(name=f"Arena {n}", indoor=False) for n in range(3)]
    teachers = [InstructorFactory() for _ in arenas]
    horses = [HorseFactory() for _ in range(3 * len(arenas))]
    for n in range(lessons):
        row, arena = divmod(n, len(arenas))
        hour, day = divmod(row, 7)
        first = SPRING[0] + timedelta(days=day)
        start_series(
            plan=SeriesPlan(
                name=f"Ride {n}",
                kind="group",
                work="flat",
                arena=arenas[arena],
                instructor=teachers[arena],
                local_start=time(9 + 2 * hour),
                minutes=60,
                places=4,
            ),
            first_date=first,
            last_date=SPRING[1],
            rides=[(RiderFactory(), horses[3 * arena + k]) for k in range(3)],
            term=spring,
            overrule="the benchmark's own",
            by=None,
            now=NOW,
        )
    return spring, summer


def measured(name: str, do: Callable[[], object], *, show: bool) -> None:
    """Do something, and print what it took."""
    with CaptureQueriesContext(connection) as asked:
        do()
    counts = Counter(re.sub(r"\d+", "n", one["sql"])[:140] for one in asked)
    reads = sum(n for sql, n in counts.items() if '"school_school"' in sql)
    print(f"{name}: {len(asked)} queries, {reads} of them the school's row")
    if show:
        for sql, n in counts.most_common(70):
            print(f"{n:6}  {sql}")


def timed(name: str, do: Callable[[], object]) -> None:
    """Do something without counting, and print what it took of the processor."""
    began = clock.process_time()
    do()
    print(f"{name}: {clock.process_time() - began:.2f} s of the processor")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lessons", type=int, default=12)
    parser.add_argument("--queries", action="store_true")
    parser.add_argument("--quick", action="store_true")
    asked = parser.parse_args()
    lessons = 3 if asked.quick else asked.lessons
    with TemporaryDirectory(prefix="bench-carry-") as folder:
        work_in(Path(folder) / "school.sqlite3")
        spring, summer = build(lessons)
        timed("try", lambda: try_carrying(old=spring, new=summer, by=None, now=LATER))
        measured(
            "try",
            lambda: try_carrying(old=spring, new=summer, by=None, now=LATER),
            show=asked.queries,
        )
        chosen = [one.pk for one in spring.series.all()]
        booked = []
        timed(
            "book",
            lambda: booked.extend(
                carry_over(old=spring, new=summer, chosen=chosen, by=None, now=LATER)
            ),
        )
        assert len(booked) == lessons
        print(Lesson.objects.filter(series__term=summer).count(), "lessons booked")
    return 0


if __name__ == "__main__":
    sys.exit(main())
