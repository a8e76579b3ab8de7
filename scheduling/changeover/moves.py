"""The cheapest changeover from one setup to another, as a list of moves."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.optimize import linear_sum_assignment

from scheduling.changeover.costs import alike, build_us, pair_cost, strip_us
from scheduling.changeover.effort import US_PER_S, Handling
from scheduling.changeover.setups import PlacedElement, Setup


class Do(StrEnum):
    """What is done in a move."""

    KEEP = "keep"
    SHIFT = "shift"
    BUILD = "build"
    STRIP = "strip"
    CHANGE = "change"


@dataclass(frozen=True, slots=True)
class Move:
    """One step: what stood, what is to stand, and what it costs [µs]."""

    do: Do
    was: PlacedElement | None
    now: PlacedElement | None
    cost_us: int


@dataclass(frozen=True, slots=True)
class Changeover:
    """The cheapest way from one setup to another.

    Parameters
    ----------
    cost_us
        Sum of the moves, and the start if anything is done [µs].
    moves
        In the order walked from the datum, strips first.
    """

    cost_us: int
    moves: tuple[Move, ...]

    @property
    def seconds(self) -> int:
        """Cost rounded up to whole seconds."""
        return whole_seconds(self.cost_us)


def whole_seconds(cost_us: int) -> int:
    """Round a sum of microseconds up to whole seconds."""
    return -(-cost_us // US_PER_S)


def changeover(standing: Setup, wanted: Setup, handling: Handling) -> Changeover:
    """Return the cheapest changeover over all matchings of the elements.

    Each standing element becomes at most one wanted element, or is stripped;
    each wanted element is made of at most one, or is built. Solved exactly as
    an assignment with a strip for each row and a build for each column.
    """
    pairs = _cheapest_matching(standing, wanted, handling)
    used = {i for i, _ in pairs}
    made = {j for _, j in pairs}
    moves = [
        Move(Do.STRIP, one, None, strip_us(one, handling))
        for i, one in enumerate(standing)
        if i not in used
    ]
    walked = [_move(standing[i], wanted[j], handling) for i, j in pairs]
    walked += [
        Move(Do.BUILD, None, one, build_us(one, handling))
        for j, one in enumerate(wanted)
        if j not in made
    ]
    moves.sort(key=lambda move: move.was.at_cm if move.was else 0)
    walked.sort(key=lambda move: move.now.at_cm if move.now else 0)
    total = sum(move.cost_us for move in (*moves, *walked))
    if total:
        total += handling.start_us
    return Changeover(total, (*moves, *walked))


def strip_all(standing: Setup, handling: Handling) -> Changeover:
    """Return the changeover that clears a line."""
    return changeover(standing, (), handling)


def _move(was: PlacedElement, now: PlacedElement, handling: Handling) -> Move:
    cost = pair_cost(was, now, handling).at(now.at_cm - was.at_cm)
    if not alike(was, now):
        return Move(Do.CHANGE, was, now, cost)
    return Move(Do.KEEP if was.at_cm == now.at_cm else Do.SHIFT, was, now, cost)


def _cheapest_matching(
    standing: Setup, wanted: Setup, handling: Handling
) -> list[tuple[int, int]]:
    """Return the pairs (standing, wanted) of a cheapest matching."""
    n, m = len(standing), len(wanted)
    # Row i may also go to its own column m + i (strip); column j may also come
    # from its own row n + j (build). Costs are whole numbers far below 2**53,
    # where floats are exact.
    never = np.inf
    cost = np.full((n + m, m + n), never)
    for i, was in enumerate(standing):
        cost[i, m + i] = strip_us(was, handling)
        for j, now in enumerate(wanted):
            moved = now.at_cm - was.at_cm
            cost[i, j] = pair_cost(was, now, handling).at(moved)
    for j, now in enumerate(wanted):
        cost[n + j, j] = build_us(now, handling)
    cost[n:, m:] = 0
    rows, columns = linear_sum_assignment(cost)
    return [
        (int(i), int(j)) for i, j in zip(rows, columns, strict=True) if i < n and j < m
    ]
