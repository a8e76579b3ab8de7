"""Where the rows of a day lie on one line, chosen together.

Where a row lies decides what the next changeover costs, so the places of a
whole sequence are found by dynamic programming over all of them: the least sum
of changeovers, each rounded up to whole seconds, exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from exercises.geometry.elements import Element, Kind
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.setups import GridRow, Place, Setup
from scheduling.changeover.tables import Costs, Micros, kernels


@dataclass(frozen=True, slots=True)
class RowStep:
    """A row that is to stand next, and the places it may have."""

    row: GridRow
    places: tuple[Place, ...]


Step = RowStep | None
"""What is wanted next on the line: a row, or nothing (`None`: clear it)."""


@dataclass(frozen=True, slots=True)
class Placing:
    """The places found: one for each step (`None` for a clearing), and seconds."""

    places: tuple[Place | None, ...]
    seconds: tuple[int, ...]

    @property
    def total_s(self) -> int:
        """Sum over the steps, in seconds."""
        return sum(self.seconds)


_NEVER = 1 << 40
"""Seconds that no sum of a day reaches."""

_Ways = tuple[Micros, Micros]
"""Offsets [cm] and directions (1 for mirrored) of a step's places."""


class UnableToPlace(ValueError):
    """A row of the sequence fits nowhere on the line."""


@cache
def warm_up() -> None:
    """Compile what costs and places need, or load it where it is kept.

    Once a process. The first time on a machine takes some seconds, which are not
    those of the day that is asked about.
    """
    pole = (Element(Kind.POLE),)
    row = GridRow(pole, pole)
    costs = Costs(DEFAULT_HANDLING)
    costs.least_between(row, row, 1000, 100)
    step = RowStep(row, (Place(0, False), Place(100, False)))
    best_places((), (step, step), costs, 100)


def best_places(
    standing: Setup | None,
    steps: Sequence[Step],
    costs: Costs,
    every_cm: int,
    most_minutes: Sequence[int] | None = None,
) -> Placing:
    """Choose the places of a sequence on one line at the least sum of seconds.

    Parameters
    ----------
    standing
        What stands before the first step; `None` leaves the first row free to
        stand anywhere at no cost.
    steps
        Rows and clearings, in order.
    costs
        By the school's times.
    every_cm
        Raster that all places lie on [cm].
    most_minutes
        If given, no step may take more whole minutes than this.

    Raises
    ------
    UnableToPlace
        If a row has no place, or none within the minutes given.
    """
    sums, froms = _sweep(standing, steps, costs, every_cm, most_minutes)
    return _trace(steps, sums, froms)


def least_sums(
    standing: Setup | None, steps: Sequence[Step], costs: Costs, every_cm: int
) -> tuple[int, ...]:
    """Return the least sum of seconds up to each step, as `best_places` finds it."""
    sums, _ = _sweep(standing, steps, costs, every_cm, None)
    return tuple(int(one.min()) for one in sums[1:])


def _sweep(
    standing: Setup | None,
    steps: Sequence[Step],
    costs: Costs,
    every_cm: int,
    most_minutes: Sequence[int] | None,
) -> tuple[list[Micros], list[Micros]]:
    """Return the least sums by place before and after each step, and where from."""
    best = np.zeros(1, dtype=np.int64)
    froms: list[Micros] = []
    sums: list[Micros] = [best]
    before: RowStep | None = None
    stands: Setup | None = standing
    for number, step in enumerate(steps):
        most = _NEVER if most_minutes is None else 60 * most_minutes[number]
        if step is not None and not step.places:
            raise UnableToPlace("a row fits nowhere on its line")
        if before is not None and step is not None:
            best, back = _between(best, before, step, costs, every_cm, most)
        else:
            seconds = _from_known(stands, before, step, costs)
            best = np.where(seconds <= most, int(best.min()) + seconds, _NEVER)
            back = np.full(len(seconds), int(sums[-1].argmin()), dtype=np.int64)
        if best.min() >= _NEVER:
            raise UnableToPlace("the rows fit nowhere within these minutes")
        froms.append(back)
        sums.append(best)
        before, stands = step, ()
    return sums, froms


@lru_cache(maxsize=1024)
def _ways(places: tuple[Place, ...]) -> _Ways:
    """Return places as arrays; kept, since a day tries the same ones many times."""
    return (
        np.array([one.offset_cm for one in places], dtype=np.int64),
        np.array([one.mirrored for one in places], dtype=np.int64),
    )


def _between(
    best: Micros, before: RowStep, step: RowStep, costs: Costs, every_cm: int, most: int
) -> tuple[Micros, Micros]:
    """Go on from a row's places to the next one's: least sums, and where from."""
    (was_cm, was), (now_cm, now) = _ways(before.places), _ways(step.places)
    first, last = int(now_cm.min() - was_cm.max()), int(now_cm.max() - was_cm.min())
    table = costs.by_ways(before.row, step.row, first, last, every_cm)
    order = costs.ways_in_order(before.row, step.row, first, last, every_cm)
    sums, back = kernels().cheapest_way(
        best, was_cm, was, now_cm, now, table, order, first, every_cm, most
    )
    return sums, back


def _from_known(
    stands: Setup | None, before: RowStep | None, step: Step, costs: Costs
) -> Micros:
    """Return the seconds of a step that does not depend on a row's place before."""
    if step is None:
        left = stands or ()
        if before is not None:
            left = before.row.stand(before.row.end, Place(0, False))
        return np.array([costs.to_strip(left)], dtype=np.int64)
    if stands is None:
        return np.zeros(len(step.places), dtype=np.int64)
    return costs.from_standing(stands, step.row, step.places)


def _trace(steps: Sequence[Step], sums: list[Micros], froms: list[Micros]) -> Placing:
    places: list[Place | None] = []
    seconds: list[int] = []
    at = int(sums[-1].argmin())
    for n in range(len(steps) - 1, -1, -1):
        step, came_from = steps[n], int(froms[n][at])
        places.append(step.places[at] if step is not None else None)
        seconds.append(int(sums[n + 1][at] - sums[n][came_from]))
        at = came_from
    return Placing(tuple(reversed(places)), tuple(reversed(seconds)))
