"""Places the rows of an order exactly, and finds chains dearer than their arcs."""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.changeover.places import (
    RowStep,
    Step,
    UnableToPlace,
    best_places,
    least_sums,
)
from scheduling.changeover.setups import Place
from scheduling.dayplan.numbers import Numbers
from scheduling.solver.problem import MORNING, Arc, Cut, minutes_of
from scheduling.solver.result import Result


@dataclass(frozen=True, slots=True)
class Placed:
    """An order with the place of every row.

    Parameters
    ----------
    places
        By (lesson, line).
    arc_s, strip_s
        Seconds of each reset with these places.
    """

    places: dict[tuple[int, int], Place]
    arc_s: dict[Arc, int]
    strip_s: dict[tuple[int, int], int]

    @property
    def total_s(self) -> int:
        """Sum of all resets, in seconds."""
        return sum(self.arc_s.values()) + sum(self.strip_s.values())


def place_order(
    numbers: Numbers, result: Result, *, within_minutes: bool = False
) -> Placed:
    """Choose the places of all rows of an order, at the least sum of seconds.

    Parameters
    ----------
    numbers, result
        The day, and the order found.
    within_minutes
        Keep each reset within the whole minutes the order gave it.

    Raises
    ------
    UnableToPlace
        If no places keep within the minutes.
    """
    places: dict[tuple[int, int], Place] = {}
    arc_s: dict[Arc, int] = {}
    strip_s: dict[tuple[int, int], int] = {}
    for line, chain in enumerate(result.chains):
        keys, steps = _steps(numbers, result, line, chain)
        limits = [minutes_of(_least(numbers, key)) for key in keys]
        standing = numbers.lines[line][1].standing
        placing = best_places(
            standing,
            steps,
            numbers.costs,
            numbers.day.place_every_cm,
            limits if within_minutes else None,
        )
        for key, place, seconds in zip(
            keys, placing.places, placing.seconds, strict=True
        ):
            if len(key) == 2:
                strip_s[key] = seconds
                continue
            arc_s[key] = seconds
            if place is not None:
                places[key[2], line] = place
    return Placed(places, arc_s, strip_s)


Key = Arc | tuple[int, int]
"""An arc, or (line, before) of a strip."""


def _least(numbers: Numbers, key: Key) -> int:
    problem = numbers.problem
    return problem.strip_s[key] if len(key) == 2 else problem.arc_s[key]


def _steps(
    numbers: Numbers, result: Result, line: int, chain: Sequence[Arc]
) -> tuple[list[Key], list[Step]]:
    keys: list[Key] = []
    steps: list[Step] = []
    befores = [MORNING, *(arc[2] for arc in chain)]
    for n, before in enumerate(befores):
        if (line, before) in result.stripped:
            keys.append((line, before))
            steps.append(None)
        if n < len(chain):
            arc = chain[n]
            row = numbers.row(arc[2])
            keys.append(arc)
            steps.append(
                None if row is None else RowStep(row, numbers.places[arc[2], line])
            )
    return keys, steps


def dear_chains(numbers: Numbers, result: Result) -> tuple[Cut, ...]:
    """Return the chains of an order that cost more than the sum of their arcs.

    For each line: the shortest such stretches, and the whole stretch between two
    clearings. A stretch's rows are placed with its first row free to stand
    anywhere, so what is found holds wherever the stretch occurs.
    """
    cuts: list[Cut] = []
    for line, chain in enumerate(result.chains):
        for stretch in _stretches(numbers, result, line, chain):
            cuts += _dear(numbers, line, stretch)
    return tuple(cuts)


def _stretches(
    numbers: Numbers, result: Result, line: int, chain: Sequence[Arc]
) -> list[list[Arc]]:
    """Split a chain where the line is cleared: places do not reach over that."""
    parts: list[list[Arc]] = [[]]
    for arc in chain:
        if numbers.row(arc[2]) is None or (line, arc[1]) in result.stripped:
            parts.append([])
        elif arc[1] == MORNING or numbers.row(arc[1]) is not None:
            parts[-1].append(arc)
    return [part for part in parts if len(part) > 1]


def _dear(numbers: Numbers, line: int, stretch: list[Arc]) -> list[Cut]:
    """Return the shortest stretches from each arc on that are dear, and the whole."""
    apart = [numbers.problem.arc_s[arc] for arc in stretch]
    whole = _sums(numbers, line, stretch)
    if whole[-1] == sum(apart):
        # Then no part of it is dear either.
        return []
    cuts: list[Cut] = []
    latest = len(stretch)
    for at in reversed(range(latest - 1)):
        sums = _sums(numbers, line, stretch[at:latest]) if at else whole
        ends = range(at + 2, (latest if at else len(stretch)) + 1)
        dear = [end for end in ends if sums[end - at - 1] > sum(apart[at:end])]
        # A stretch that holds a shorter dear one adds little, but for the whole.
        wanted = [end for end in dear[:1] if end <= latest]
        if at == 0:
            wanted = sorted({*wanted, len(stretch)})
        for end in wanted:
            extra = sums[end - at - 1] - sum(apart[at:end])
            cuts.append(Cut(tuple(stretch[at:end]), extra))
        latest = min([latest, *(end - 1 for end in dear[:1])])
    return cuts


def _sums(numbers: Numbers, line: int, window: list[Arc]) -> tuple[int, ...]:
    """Least seconds up to each arc, with the first row free to stand anywhere."""
    before = window[0][1]
    nodes = [arc[2] for arc in window]
    standing = numbers.lines[line][1].standing if before == MORNING else None
    if before != MORNING:
        nodes.insert(0, before)
    steps: list[Step] = []
    for node in nodes:
        row = numbers.row(node)
        steps.append(RowStep(row, numbers.places[node, line]) if row else None)
    sums = least_sums(standing, steps, numbers.costs, numbers.day.place_every_cm)
    return sums[len(sums) - len(window) :]


__all__ = ["Placed", "UnableToPlace", "dear_chains", "place_order"]
