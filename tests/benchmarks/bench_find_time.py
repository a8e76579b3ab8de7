"""How long the ten best times over four weeks of the large school take to find.

Run: .venv/bin/python tests/benchmarks/bench_find_time.py [--quick]
Prints seconds by the clock and of the processor for one answer (the first, and the
median of the rounds after it), queries, times judged at each stage, and the same by a
plain peer that judges every time to the end, with the ratio. It fails where the two
disagree, or where an added minute is not that of all slots of its day reckoned
anew; never for its time.
"""
# ruff: noqa: E402 -- Django is set up before its models are imported

import os
import statistics
import sys
import time
from dataclasses import replace
from datetime import time as clock_time
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.convert.days import day_document
from scheduling.convert.lessons import new_lesson
from scheduling.dayplan.marginal import marginal_costs
from scheduling.finding.best import Choice, Time
from scheduling.finding.points import Weights
from scheduling.queries.days import day_rows
from scheduling.services.finding import Search, days_of, find_times
from scheduling.services.finding_diary import Wish
from school.models import Ride, Rider
from school.queries.schools import the_school
from tests.benchmarks.large_school import MONDAY, NOW, Size, build
from tests.benchmarks.records import work_in

CHOICE = Choice()


def wishes(weeks: int) -> dict[str, Wish]:
    """What is asked: flat and with a grid, for one and for a group."""
    riders = list(Rider.objects.select_related("person").order_by("pk")[:4])
    grid = Exercise.objects.get(slug="bounce-pair").current
    one = Wish(
        "flat",
        60,
        MONDAY,
        weeks=weeks,
        riders=riders[:1],
        horses=[None],
        from_at=clock_time(9),
        to_at=clock_time(20),
    )
    jumping = replace(one, work="jumping", exercise=grid)
    return {
        "flat, one rider": one,
        "grid, one rider": jumping,
        "grid, four riders": replace(
            jumping, riders=riders, horses=[None] * 4, places=4
        ),
        "flat, six places": replace(one, riders=[], horses=[], places=6),
    }


def plainly(wish: Wish) -> list[tuple[Time, float]]:
    """Judge every time to the end, sort them all, take what the choice allows."""
    school = the_school()
    search = Search(school, wish, days_of(school, wish)[0], NOW, Weights())
    judged = [(search.judge(2, one), one) for one in search.diary.times()]
    best: list[tuple[Time, float]] = []
    for points, one in sorted((p, t) for p, t in judged if p is not None):
        if len(best) < CHOICE.most and CHOICE.allows(one, [t for t, _ in best]):
            best.append((one, points))
    return best


def timed(ask, rounds: int) -> tuple[object, list[float], list[float]]:
    """Return the last answer, and the seconds of each by clock and processor."""
    walls, cpus = [], []
    for _ in range(rounds):
        began, worked = time.perf_counter(), time.process_time()
        answer = ask()
        walls.append(time.perf_counter() - began)
        cpus.append(time.process_time() - worked)
    return answer, walls, cpus


def added_agrees(wish: Wish, found) -> bool:
    """Say whether added minutes are those of all slots of their day, reckoned anew."""
    school = the_school()
    search = Search(school, wish, days_of(school, wish)[0], NOW, Weights())
    for one in found.answers[:2]:
        rows = day_rows(one.starts_at.date())
        lesson = new_lesson(
            rows, minutes=wish.minutes, people=[], horses=[], grid=search.fences.grid
        )
        offers = marginal_costs(day_document(rows), lesson)
        local = one.starts_at
        at = (local.hour * 60 + local.minute, f"arena-{one.arena.pk}")
        there = {(x.start_min, x.arena): x.added_s for x in offers.slots}
        if there[at] != one.added_s:
            print("disagree:", one.starts_at, one.arena, one.added_s, there[at])
            return False
    return True


def compared(name: str, wish: Wish, rounds: int) -> bool:
    """Time one wish beside its peer; False where they disagree."""
    ask = lambda: find_times(wish=wish, now=NOW, choice=CHOICE)  # noqa: E731
    with CaptureQueriesContext(connection) as queries:
        found, first, first_cpu = timed(ask, 1)
    _, walls, cpus = timed(ask, rounds)
    plain, plain_walls, plain_cpus = timed(lambda: plainly(wish), 1)
    wall, cpu = statistics.median(walls), statistics.median(cpus)
    print(
        f"{name:<18}{first[0]:>7.2f}{first_cpu[0]:>7.2f}{wall:>8.2f}{cpu:>7.2f}"
        f"{len(queries):>8}  {'/'.join(map(str, found.judged)):<13}"
        f"{plain_walls[0]:>7.2f}{plain_cpus[0]:>7.2f}{plain_cpus[0] / cpu:>7.1f}"
    )
    ours = [round(one.points, 6) for one in found.answers]
    theirs = [round(points, 6) for _, points in plain]
    if ours != theirs:
        print("disagree:", ours, theirs)
        return False
    return wish.exercise is None or added_agrees(wish, found)


def main() -> int:
    """Return 0 where both find the same."""
    quick = "--quick" in sys.argv
    weeks, rounds = (1, 1) if quick else (4, 5)
    size = Size(weeks=3) if quick else Size()
    with TemporaryDirectory() as folder:
        work_in(Path(folder) / "bench.sqlite3")
        with transaction.atomic():
            build(size, 1)
            load_library(now=NOW)
        print(
            f"{weeks} weeks of {size.lessons} lessons and "
            f"{Ride.objects.count() // size.weeks} rides, {size.horses} horses, "
            f"{size.arenas} arenas; seconds by the clock, and of the processor"
        )
        print(
            "wish                first    CPU   later    CPU queries  judged"
            "          plain    CPU  ratio"
        )
        fine = [compared(name, one, rounds) for name, one in wishes(weeks).items()]
        connection.close()
    return 0 if all(fine) else 1


if __name__ == "__main__":
    sys.exit(main())
