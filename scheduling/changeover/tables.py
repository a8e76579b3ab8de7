"""Costs between two rows for every place of one relative to the other.

The cost of a changeover depends on where both rows lie only by the difference
of their offsets and by their directions. Matchings are solved by compiled code
(`kernels`); what was found for a pair of rows is kept.
"""

from collections.abc import Sequence
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from exercises.geometry.elements import Element
from scheduling.changeover.costs import build_us, shape_cost, shape_of, strip_us
from scheduling.changeover.effort import US_PER_S, Handling
from scheduling.changeover.setups import GridRow, Place, PlacedElement, Setup

Micros = NDArray[np.int64]
"""An array of microseconds, or of whole seconds where said."""

_Coded = tuple[Micros, Micros]
"""A setup as the numbers of its elements' shapes, and their places [cm]."""


def kernels() -> ModuleType:
    """Return the compiled functions; they are slow to import, so not before use."""
    from scheduling.changeover import kernels as module  # noqa: PLC0415

    return module


class Costs:
    """What changeovers cost by one school's times; remembers what it worked out."""

    def __init__(self, handling: Handling) -> None:
        self.handling = handling
        self._shapes: dict[tuple[Element, bool], int] = {}
        self._tables: tuple[Micros, ...] = ()
        # A row is known by the object it is: comparing rows takes longer than
        # what is to be looked up.
        self._rows: dict[int, GridRow] = {}
        self._fits: dict[tuple[int, int, int], Micros | None] = {}
        self._stood: dict[tuple[int, bool, bool], _Coded] = {}
        self._either_way: dict[tuple[int, bool], _Coded] = {}
        self._least: dict[tuple[object, ...], int] = {}
        self._between: dict[tuple[int, ...], Micros] = {}
        self._in_order: dict[tuple[int, ...], Micros] = {}

    def by_shift(self, standing: Setup, wanted: Setup, shifts_cm: Micros) -> Micros:
        """Cost of `standing` to `wanted` with `wanted` moved by each shift.

        Parameters
        ----------
        standing, wanted
            Setups on one line.
        shifts_cm
            By how much `wanted` is moved away from the datum, ascending, shape
            (k,) [cm].

        Returns
        -------
        ndarray
            Least cost over all matchings, the start included, shape (k,) [µs].
        """
        return self._by_shift(self._code(standing), self._code(wanted), shifts_cm)

    def _by_shift(self, standing: _Coded, wanted: _Coded, shifts_cm: Micros) -> Micros:
        found: Micros = kernels().costs_at(
            *(*standing, *wanted, shifts_cm),
            *(*self._known(), self.handling.start_us),
        )
        return found

    def least_between(
        self,
        earlier: GridRow,
        later: GridRow,
        line_cm: int,
        every_cm: int,
        *,
        was_fixed: Place | None = None,
        now_fixed: Place | None = None,
    ) -> int:
        """Least whole seconds from one row's end to the next one's start [s].

        Each may lie anywhere on the raster of a line where it fits, unless its
        place is fixed.
        """
        key = (
            *(self._number(earlier), self._number(later), line_cm, every_cm),
            *(was_fixed, now_fixed),
        )
        if key in self._least:
            return self._least[key]
        befores = self._ranges(earlier, line_cm, every_cm, was_fixed)
        afters = self._ranges(later, line_cm, every_cm, now_fixed)
        if befores is None or afters is None:
            raise ValueError("both rows need a place")
        cost = kernels().least_cost(
            *(*self._both(earlier, end=True), befores),
            *(*self._both(later, end=False), afters),
            *(every_cm, *self._known(), self.handling.start_us),
        )
        self._least[key] = _up(int(cost))
        return self._least[key]

    def from_standing(
        self, standing: Setup, later: GridRow, later_places: Sequence[Place]
    ) -> Micros:
        """Whole seconds from what stands to a row's start, by its place [s]."""
        seconds = np.zeros(len(later_places), dtype=np.int64)
        offsets = np.array([one.offset_cm for one in later_places])
        for mirrored in {one.mirrored for one in later_places}:
            which = np.array([one.mirrored is mirrored for one in later_places])
            wanted = self._stand(later, mirrored, end=False)
            cost = self._by_shift(self._code(standing), wanted, offsets[which])
            seconds[which] = -(-cost // US_PER_S)
        return seconds

    def to_strip(self, setup: Setup) -> int:
        """Whole seconds to clear a line of a setup, wherever it lies."""
        cost = sum(strip_us(one, self.handling) for one in setup)
        return _up(cost + self.handling.start_us) if cost else 0

    def by_ways(
        self, earlier: GridRow, later: GridRow, first: int, last: int, every_cm: int
    ) -> Micros:
        """Whole seconds from one row's end to the next one's start [s].

        Returns
        -------
        ndarray
            Shape (2, 2, k): by whether the earlier row is mirrored, whether the
            later one is, and the difference of their offsets, from `first` on in
            steps of `every_cm` to `last`.
        """
        key = (self._number(earlier), self._number(later), first, last, every_cm)
        if key not in self._between:
            shifts = np.arange(first, last + 1, every_cm)
            table = np.zeros((2, 2, len(shifts)), dtype=np.int64)
            for was in range(1 + earlier.may_mirror):
                standing = self._stand(earlier, bool(was), end=True)
                for now in range(1 + later.may_mirror):
                    wanted = self._stand(later, bool(now), end=False)
                    cost = self._by_shift(standing, wanted, shifts)
                    table[was, now] = -(-cost // US_PER_S)
            self._between[key] = table
        return self._between[key]

    def ways_in_order(
        self, earlier: GridRow, later: GridRow, first: int, last: int, every_cm: int
    ) -> Micros:
        """Return the shifts of `by_ways` from the cheapest on, for each two ways."""
        key = (self._number(earlier), self._number(later), first, last, every_cm)
        if key not in self._in_order:
            table = self.by_ways(earlier, later, first, last, every_cm)
            self._in_order[key] = np.argsort(table, axis=2, kind="stable")
        return self._in_order[key]

    def _number(self, row: GridRow) -> int:
        self._rows[id(row)] = row
        return id(row)

    def _ranges(
        self, row: GridRow, line_cm: int, every_cm: int, fixed: Place | None
    ) -> Micros | None:
        """Return the first and last offset at which a row may lie, by direction.

        None if it fits nowhere; shape (2, 2), by whether it is mirrored [cm].
        """
        if fixed is not None:
            return _as_ranges({fixed.mirrored: (fixed.offset_cm, fixed.offset_cm)})
        key = (self._number(row), line_cm, every_cm)
        if key not in self._fits:
            self._fits[key] = _as_ranges(
                {
                    mirrored: (offsets[0], offsets[-1])
                    for mirrored, offsets in row.ranges(line_cm, every_cm).items()
                }
            )
        return self._fits[key]

    def _both(self, row: GridRow, *, end: bool) -> _Coded:
        """Return a row's start or end in both directions, offset at zero."""
        key = (self._number(row), end)
        if key not in self._either_way:
            ways = [self._stand(row, mirrored, end=end) for mirrored in (False, True)]
            shapes, places = (np.stack(one) for one in zip(*ways, strict=True))
            self._either_way[key] = shapes, places
        return self._either_way[key]

    def _stand(self, row: GridRow, mirrored: bool, *, end: bool) -> _Coded:
        """Return a row's start or end as it stands with its offset at zero."""
        key = (self._number(row), mirrored, end)
        if key not in self._stood:
            elements = row.end if end else row.start
            self._stood[key] = self._code(row.stand(elements, Place(0, mirrored)))
        return self._stood[key]

    def _code(self, setup: Setup) -> _Coded:
        return (
            np.array([self._shape(one) for one in setup], dtype=np.int64),
            np.array([one.at_cm for one in setup], dtype=np.int64),
        )

    def _shape(self, one: PlacedElement) -> int:
        return self._shapes.setdefault(shape_of(one), len(self._shapes))

    def _known(self) -> tuple[Micros, ...]:
        """Return the tables of costs by shape, grown to every shape met so far."""
        size = len(self._shapes)
        had = len(self._tables[0]) if self._tables else 0
        if had == size and self._tables:
            return self._tables
        pairs = np.zeros((3, size, size), dtype=np.int64)
        alone = np.zeros((2, size), dtype=np.int64)
        if self._tables:
            pairs[:, :had, :had] = self._tables[:3]
            alone[:, :had] = self._tables[3:]
        shapes = list(self._shapes)
        for i, was in enumerate(shapes):
            if i >= had:
                one = PlacedElement(was[0])
                alone[:, i] = strip_us(one, self.handling), build_us(one, self.handling)
            for j in range(0 if i >= had else had, size):
                cost = shape_cost(was, shapes[j], self.handling)
                pairs[:, i, j] = cost.in_place_us, cost.lift_us, cost.per_cm_us
        self._tables = (*pairs, *alone)
        return self._tables


def _up(cost_us: int) -> int:
    return -(-cost_us // US_PER_S)


def _as_ranges(offsets: dict[bool, tuple[int, int]]) -> Micros | None:
    if not offsets:
        return None
    nowhere = (1, 0)
    return np.array([offsets.get(one, nowhere) for one in (False, True)], np.int64)
