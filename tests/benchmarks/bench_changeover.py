"""Times the least cost of a pair of rows, and its whole table, in the same run.

Rerun: `.venv/bin/python tests/benchmarks/bench_changeover.py`; `--quick` takes
fewer pairs. The table is compared with an assignment by SciPy solved place by
place, the least cost with the table's least; where they differ it ends with
status 1. Compiling is not counted.
"""

import argparse
import os
import sys
import time
from pathlib import Path
from random import Random

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from exercises.geometry.elements import Element, Kind
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import changeover
from scheduling.changeover.setups import GridRow, Place
from scheduling.changeover.tables import Costs

KINDS = (Kind.CROSS, Kind.VERTICAL, Kind.OXER, Kind.POLE, Kind.RAISED_POLE)
LINE_CM, EVERY_CM = 4000, 5


def row(dice: Random, elements: int = 5) -> GridRow:
    """Return a row of elements at the usual distances."""
    found, at = [], 0
    for _ in range(elements):
        kind = dice.choice(KINDS)
        height = {Kind.POLE: 0, Kind.RAISED_POLE: 15}.get(kind, dice.choice([40, 60]))
        spread = 80 if kind is Kind.OXER else 0
        found.append(Element(kind, at, height, spread))
        at += spread + dice.choice([130, 270, 300, 640])
    return GridRow(tuple(found), tuple(found), may_mirror=True)


def main() -> int:
    """Return 0 when all ways agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    count = 6 if parser.parse_args().quick else 40
    dice = Random(1)
    rows = [row(dice) for _ in range(count)]
    places = [one.places(LINE_CM, EVERY_CM) for one in rows]
    shifts = np.arange(-LINE_CM, LINE_CM + 1, EVERY_CM)
    pairs = [(a, b) for a in range(count) for b in range(count) if a != b]
    warm = Costs(DEFAULT_HANDLING)
    warm.least_between(rows[0], rows[1], LINE_CM, EVERY_CM)
    costs = Costs(DEFAULT_HANDLING)
    began, began_cpu = time.perf_counter(), time.process_time()
    least = [costs.least_between(rows[a], rows[b], LINE_CM, EVERY_CM) for a, b in pairs]
    least_s = time.perf_counter() - began
    least_cpu_s = time.process_time() - began_cpu
    some = pairs[:: max(1, len(pairs) // (5 if count == 6 else 100))]
    table_s = apart_s = 0.0
    for a, b in some:
        began = time.perf_counter()
        table = costs.by_ways(rows[a], rows[b], -LINE_CM, LINE_CM, EVERY_CM)
        table_s += time.perf_counter() - began
        inside = least_of(table, places[a], places[b])
        if inside != least[pairs.index((a, b))]:
            print("the least cost is not the least of the table")
            return 1
        was = rows[a].stand(rows[a].end, Place(0, False))
        began = time.perf_counter()
        for k in range(0, len(shifts), 97):
            now = rows[b].stand(rows[b].start, Place(int(shifts[k]), True))
            if changeover(was, now, DEFAULT_HANDLING).seconds != table[0, 1, k]:
                print("the two ways disagree")
                return 1
        apart_s += time.perf_counter() - began
    each = table_s / len(some) / (4 * len(shifts))
    apart = apart_s / len(some) / len(range(0, len(shifts), 97))
    print(f"load {os.getloadavg()[0]:.1f}; rows of five elements, both ways round")
    print(
        f"least cost of a pair: {least_s / len(pairs) * 1e6:.0f} µs by the clock, "
        f"{least_cpu_s / len(pairs) * 1e6:.0f} µs CPU ({len(pairs)} pairs)"
    )
    print(f"table: {each * 1e6:.2f} µs a place ({4 * len(shifts)} places a pair)")
    print(f"assignment by SciPy, place by place: {apart * 1e6:.0f} µs a place")
    print(f"ratio: {apart / each:.0f}; all equal")
    return 0


def least_of(
    table: np.ndarray, before: tuple[Place, ...], after: tuple[Place, ...]
) -> int:
    """Return the least of a table over the places two rows may have."""
    least = None
    for was in (False, True):
        for now in (False, True):
            froms = [p.offset_cm for p in before if p.mirrored is was]
            tos = [p.offset_cm for p in after if p.mirrored is now]
            first = (min(tos) - max(froms) + LINE_CM) // EVERY_CM
            last = (max(tos) - min(froms) + LINE_CM) // EVERY_CM
            inside = int(table[int(was), int(now), first : last + 1].min())
            least = inside if least is None else min(least, inside)
    return least or 0


if __name__ == "__main__":
    sys.exit(main())
