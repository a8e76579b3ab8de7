"""What a sequence of rows on one line costs, by the place of its first or last row.

The cost from one row to the next depends on both places only by the distance
between them and their directions, so it is kept as one array over distances. A
sequence's least cost is carried along as an array over the places of its last
row; adding a row is a min-plus product with that array.
"""

from collections import OrderedDict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduling.changeover.effort import US_PER_S, Handling
from scheduling.changeover.setups import GridRow, Place, Setup
from scheduling.changeover.tables import Costs, kernels
from scheduling.dayplan.day import Day, DayLine

Seconds = NDArray[np.int64]

CLEAR = -2
"""A step at which the line must be bare."""

Steps = tuple[int, ...]
"""What a line is used for in order: lessons by number, and CLEAR."""

NEVER = 1 << 40
"""Seconds that no day reaches."""

MOST_KEPT = 6_000
"""Arrays over distances that are kept from call to call."""

_kept: "OrderedDict[tuple[object, ...], Seconds]" = OrderedDict()


@dataclass(frozen=True, slots=True)
class Run:
    """Places of one direction: a raster from `first_cm`, and where it begins."""

    mirrored: bool
    first_cm: int
    count: int
    at: int

    @property
    def part(self) -> slice:
        """Where its places lie among all places of the row on the line."""
        return slice(self.at, self.at + self.count)


@dataclass(slots=True)
class Shared:
    """What is found of rows and lines, for days on which they come again.

    Rows, and lines with what stands on them, are known by numbers.
    """

    numbers: dict[object, int] = field(default_factory=dict)
    runs: dict[tuple[int, int], tuple[Run, ...]] = field(default_factory=dict)
    forward: dict[tuple[int, Steps], Seconds] = field(default_factory=dict)
    total: dict[tuple[int, Steps], int] = field(default_factory=dict)
    least: dict[tuple[int, int | None, int], int] = field(default_factory=dict)
    pairs: dict[tuple[int, Run, int, Run], Seconds] = field(default_factory=dict)

    def number(self, what: object) -> int:
        """Return the number of something, the same for all that is equal."""
        return self.numbers.setdefault(what, len(self.numbers))


@dataclass(slots=True)
class Chains:
    """Costs of sequences on the lines of a day, kept as they are found.

    Parameters
    ----------
    day
        As read.
    shared
        What was found on other days.
    """

    day: Day
    shared: Shared = field(default_factory=Shared)
    lines: tuple[tuple[int, str], ...] = ()
    _line_numbers: tuple[int, ...] = ()
    _row_numbers: tuple[int, ...] = ()
    _times: tuple[object, ...] = ()
    costs: Costs = field(init=False)

    def __post_init__(self) -> None:
        """Count the lines and rows; say by which times arrays are kept."""
        self.lines = tuple(
            (n, line.id)
            for n, arena in enumerate(self.day.arenas)
            for line in arena.lines
        )
        self._times = key_of_times(self.day.handling)
        self.costs = Costs(self.day.handling)
        number, day = self.shared.number, self.day
        by = (day.place_every_cm, self._times)
        self._line_numbers = tuple(
            number((line.id, line.length_cm, line.standing, *by))
            for arena in day.arenas
            for line in arena.lines
        )
        self._row_numbers = tuple(number((x.grid, x.place, *by)) for x in day.lessons)

    def _numbered(self, steps: Steps) -> Steps:
        """Return steps by the numbers of their rows."""
        rows = self._row_numbers
        return tuple(one if one == CLEAR else rows[one] for one in steps)

    def row(self, lesson: int) -> GridRow | None:
        """Return the row of a lesson by its number."""
        return self.day.lessons[lesson].grid

    def _built(self, lesson: int) -> GridRow:
        row = self.row(lesson)
        if row is None:
            raise ValueError("a lesson without a row has no place on a line")
        return row

    def standing(self, line: int) -> Setup:
        """Return what stands on a line in the morning."""
        return self._line(line).standing

    def runs(self, lesson: int, line: int) -> tuple[Run, ...]:
        """Return the places of a lesson's row on a line, by direction."""
        key = (self._row_numbers[lesson], self._line_numbers[line])
        if key not in self.shared.runs:
            one, fixed = self.day.lessons[lesson], self.day.lessons[lesson].place
            if one.grid is None:
                self.shared.runs[key] = ()
            elif fixed is None:
                self.shared.runs[key] = self._rasters(one.grid, line)
            else:
                self.shared.runs[key] = tuple(
                    Run(where.mirrored, where.offset_cm, 1, 0)
                    for where in one.places_on(self._line(line), 1)
                )
        return self.shared.runs[key]

    def _rasters(self, row: GridRow, line: int) -> tuple[Run, ...]:
        """Return where a row may stand: between the ends of its room, by direction."""
        every, length = self.day.place_every_cm, self._length(line)
        feet = [f for e in (*row.start, *row.end) for f in (e.at_cm, e.landing_cm)]
        first, last, size = min(feet), max(feet), row.length_cm
        ends = [(row.approach_cm - first, length - row.runout_cm - last)]
        if row.may_mirror:
            ends.append(
                (row.runout_cm + last - size, length - row.approach_cm - size + first)
            )
        runs: list[Run] = []
        at = 0
        for mirrored, (low, high) in enumerate(ends):
            lowest = -(-low // every) * every
            count = max(0, (high - lowest) // every + 1)
            if count:
                runs.append(Run(bool(mirrored), lowest, count, at))
            at += count
        return tuple(runs)

    def count(self, lesson: int, line: int) -> int:
        """Return how many places a lesson's row has on a line."""
        return sum(run.count for run in self.runs(lesson, line))

    def place(self, lesson: int, line: int, at: int) -> Place:
        """Return a place of a lesson's row by its number."""
        run = self._run_of(lesson, line, at)
        offset_cm = run.first_cm + (at - run.at) * self.day.place_every_cm
        return Place(offset_cm, run.mirrored)

    def _run_of(self, lesson: int, line: int, at: int) -> Run:
        return next(r for r in self.runs(lesson, line) if at < r.at + r.count)

    def _length(self, line: int) -> int:
        return self._line(line).length_cm

    def _line(self, line: int) -> DayLine:
        arena, name = self.lines[line]
        return next(one for one in self.day.arenas[arena].lines if one.id == name)

    def forward(self, line: int, steps: Steps) -> Seconds:
        """Least seconds of a sequence, by the place of its last row, shape (p,).

        A sequence that ends with CLEAR, or is empty, has one entry.
        """
        if not steps:
            return np.zeros(1, dtype=np.int64)
        key = (self._line_numbers[line], self._numbered(steps))
        if key not in self.shared.forward:
            before, last = steps[:-1], steps[-1]
            self.shared.forward[key] = self._step(
                line, self.forward(line, before), before, last
            )
        return self.shared.forward[key]

    def total(self, line: int, steps: Steps) -> int:
        """Least seconds of a whole sequence."""
        key = (self._line_numbers[line], self._numbered(steps))
        if key not in self.shared.total:
            self.shared.total[key] = int(self.forward(line, steps).min())
        return self.shared.total[key]

    def _step(self, line: int, so_far: Seconds, before: Steps, last: int) -> Seconds:
        stood = before[-1] if before else None
        if last == CLEAR:
            return np.array([so_far.min() + self.strip(line, stood)])
        if stood is None or stood == CLEAR:
            build = self.from_bare_or_morning(line, stood, last)
            added: Seconds = np.add(build, so_far.min())
            return added
        return self.after(line, stood, so_far, last)

    def strip(self, line: int, stood: int | None) -> int:
        """Seconds to strip what a step, or the morning, left."""
        if stood == CLEAR:
            return 0
        setup = self.standing(line)
        if stood is not None:
            row = self._built(stood)
            setup = row.stand(row.end, Place(0, False))
        return self.costs.to_strip(setup)

    def from_bare_or_morning(self, line: int, stood: int | None, last: int) -> Seconds:
        """Seconds to build a row on a bare line, or from what stands, shape (p,)."""
        row = self._built(last)
        was = self.standing(line) if stood is None else ()
        parts = [
            self._by_shift(
                was,
                row.stand(row.start, Place(0, to.mirrored)),
                to.first_cm,
                to.count,
            )
            for to in self.runs(last, line)
        ]
        return np.concatenate(parts)

    def after(self, line: int, stood: int, so_far: Seconds, last: int) -> Seconds:
        """Carry a sequence's least seconds on to the row after it, shape (p,)."""
        out = np.full(self.count(last, line), NEVER, dtype=np.int64)
        for to in self.runs(last, line):
            for by in self.runs(stood, line):
                costs = self._costs(stood, by, last, to)
                kernels().carry_on(costs, so_far[by.part], out[to.part])
        return out

    def least(self, line: int, stood: int | None, last: int) -> int:
        """Least seconds of one reset by itself, wherever both rows lie."""
        if last == CLEAR:
            return self.strip(line, stood)
        rows = self._row_numbers
        was = stood if stood is None or stood == CLEAR else rows[stood]
        key = (self._line_numbers[line], was, rows[last])
        if key in self.shared.least:
            return self.shared.least[key]
        if stood is None or stood == CLEAR:
            least = int(self.from_bare_or_morning(line, stood, last).min())
        else:
            least = min(
                int(self._costs(stood, by, last, to).min())
                for by in self.runs(stood, line)
                for to in self.runs(last, line)
            )
        self.shared.least[key] = least
        return least

    def _costs(self, stood: int, by: Run, last: int, to: Run) -> Seconds:
        """Seconds from one row's end to the next one's start, by distance."""
        rows = self._row_numbers
        key = (rows[stood], by, rows[last], to)
        if key not in self.shared.pairs:
            earlier, later = self._built(stood), self._built(last)
            back = (by.count - 1) * self.day.place_every_cm
            self.shared.pairs[key] = self._by_shift(
                earlier.stand(earlier.end, Place(0, by.mirrored)),
                later.stand(later.start, Place(0, to.mirrored)),
                to.first_cm - by.first_cm - back,
                by.count + to.count - 1,
            )
        return self.shared.pairs[key]

    def _by_shift(self, was: Setup, now: Setup, first_cm: int, count: int) -> Seconds:
        """Seconds from one setup to another moved by a raster of distances."""
        every = self.day.place_every_cm
        key = (was, now, first_cm, count, every, self._times)
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
        shifts = first_cm + every * np.arange(count, dtype=np.int64)
        costs = self.costs.by_shift(was, now, shifts)
        _kept[key] = -(-costs // US_PER_S)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
        return _kept[key]

    def traced(
        self, line: int, steps: Steps
    ) -> tuple[tuple[Place | None, ...], tuple[int, ...]]:
        """Return a sequence's places at its least cost, and each reset's seconds."""
        places: list[Place | None] = []
        seconds: list[int] = []
        at = int(self.forward(line, steps).argmin()) if steps else 0
        for n in range(len(steps) - 1, -1, -1):
            last, before = steps[n], steps[:n]
            total = int(self.forward(line, steps[: n + 1])[at])
            places.append(None if last == CLEAR else self.place(last, line, at))
            so_far = self.forward(line, before)
            stood = before[-1] if before else None
            if last == CLEAR or stood is None or stood == CLEAR:
                at = int(so_far.argmin())
            else:
                at = int((so_far + self._into(line, stood, last, at)).argmin())
            seconds.append(total - int(so_far[at]))
        return tuple(reversed(places)), tuple(reversed(seconds))

    def _into(self, line: int, stood: int, last: int, at: int) -> Seconds:
        """Seconds to one place of a row from every place of the one before."""
        out = np.empty(self.count(stood, line), dtype=np.int64)
        to = self._run_of(last, line, at)
        for by in self.runs(stood, line):
            costs = self._costs(stood, by, last, to)
            j = at - to.at
            out[by.part] = costs[j : j + by.count][::-1]
        return out


def key_of_times(handling: Handling) -> tuple[object, ...]:
    """Return handling times as something that can be looked up."""
    pieces = tuple(sorted((p.value, t) for p, t in handling.pieces.items()))
    return (
        tuple(
            (name, t.fetch_us, t.return_us, t.lift_us, t.per_cm_us)
            for name, t in pieces
        ),
        handling.measure_us,
        handling.cup_height_us,
        handling.turn_us,
        handling.start_us,
    )
