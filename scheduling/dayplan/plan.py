"""Writes the plan file: what is done when, where every row lies, every move."""

from dataclasses import dataclass
from typing import Any

from scheduling.changeover.effort import US_PER_S
from scheduling.changeover.moves import Changeover, Move, changeover
from scheduling.changeover.setups import Setup
from scheduling.dayplan.day import Day, clock
from scheduling.dayplan.document import placed_as_data
from scheduling.dayplan.numbers import Numbers
from scheduling.dayplan.placing import Placed
from scheduling.dayplan.settled import SettledDay
from scheduling.solver.problem import MORNING, minutes_of
from scheduling.solver.result import Reset, Result


@dataclass(frozen=True, slots=True)
class Booked:
    """The day as booked: what changing its fences takes [s], and when it is done."""

    reset_s: int
    resets: list[dict[str, Any]]


def booked_day(numbers: Numbers, result: Result, placed: Placed) -> Booked:
    """Say what the day as booked takes, from the order found for it."""
    resets = [
        {key: reset[key] for key in reset if key != "moves"}
        for reset in _resets(numbers, result, placed)
    ]
    return Booked(placed.total_s, resets)


def settled_day(day: Day, settled: SettledDay) -> Booked:
    """Say what the day as booked takes, where settling its arenas tells exactly."""
    lines = [(arena, line) for arena in day.arenas for line in arena.lines]
    todo = (one for one in settled.resets if one.seconds)
    starts = {id(one): at for one, at in zip(todo, settled.starts, strict=True)}
    written: list[tuple[int, int, dict[str, Any]]] = []
    stood: dict[int, str] = {}
    for one in settled.resets:
        own = day.lessons[one.after]
        if one.seconds:
            arena, line = lines[one.line]
            start = starts[id(one)]
            reset = {
                "for": own.id,
                "after": stood.get(one.line),
                "arena": arena.id,
                "line": line.id,
                "from": clock(start),
                "to": clock(start + minutes_of(one.seconds)),
                "seconds": one.seconds,
            }
            written.append((start, one.line, reset))
        if own.grid is not None:
            stood[one.line] = own.id
    written.sort(key=lambda row: row[:2])
    return Booked(settled.reset_s, [reset for _, _, reset in written])


def about_booked(booked: Booked | None) -> dict[str, Any]:
    """Write what a plan file says of the day as booked."""
    if booked is None:
        return {"as_booked_reset_s": None}
    return {"as_booked_reset_s": booked.reset_s, "as_booked_resets": booked.resets}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the search ended with."""

    numbers: Numbers
    result: Result | None
    placed: Placed | None
    bound_s: int
    booked: Booked | None
    seed: int


def plan_document(outcome: Outcome) -> dict[str, Any]:
    """Write the plan of a search that found one, without its elapsed time."""
    numbers, result, placed = outcome.numbers, outcome.result, outcome.placed
    if result is None or placed is None:
        raise RuntimeError("there is no plan to write")
    resets = _resets(numbers, result, placed)
    objective = result.objective_s
    bound = min(outcome.bound_s, objective)
    return {
        "version": 1,
        "status": "proved" if bound == objective else "stopped",
        "objective_s": objective,
        "bound_s": bound,
        "reset_s": sum(reset["seconds"] for reset in resets),
        **about_booked(outcome.booked),
        "elapsed_s": 0.0,
        "seed": outcome.seed,
        "lessons": _lessons(numbers, result, placed),
        "resets": resets,
        "broken": [],
    }


def _lessons(numbers: Numbers, result: Result, placed: Placed) -> list[dict[str, Any]]:
    where = dict(placed.places.keys())
    rows = []
    for n, lesson in enumerate(numbers.day.lessons):
        line = where.get(n)
        place = placed.places[n, line] if line is not None else None
        rows.append(
            {
                "id": lesson.id,
                "arena": numbers.day.arenas[result.arenas[n]].id,
                "line": None if line is None else numbers.lines[line][1].id,
                "start": clock(result.starts[n]),
                "offset_cm": None if place is None else place.offset_cm,
                "mirrored": place is not None and place.mirrored,
            }
        )
    return rows


def _resets(numbers: Numbers, result: Result, placed: Placed) -> list[dict[str, Any]]:
    timed = {(r.line, r.before, r.strip): r for r in result.resets}
    written: list[tuple[Reset, dict[str, Any]]] = []
    for line, chain in enumerate(result.chains):
        standing: Setup = numbers.lines[line][1].standing
        left_by = MORNING
        for before in [MORNING, *(arc[2] for arc in chain)]:
            strip = timed.get((line, before, True))
            if strip is not None:
                made = changeover(standing, (), numbers.day.handling)
                written.append((strip, _reset(numbers, result, strip, left_by, made)))
                standing = ()
            arc = next((one for one in chain if one[1] == before), None)
            if arc is None:
                continue
            row, after = numbers.row(arc[2]), arc[2]
            wanted: Setup = ()
            if row is not None:
                wanted = row.stand(row.start, placed.places[after, line])
            reset = timed.get((line, before, False))
            if reset is not None:
                made = changeover(standing, wanted, numbers.day.handling)
                written.append((reset, _reset(numbers, result, reset, left_by, made)))
            standing = wanted
            if row is not None:
                standing = row.stand(row.end, placed.places[after, line])
                left_by = after
    written.sort(key=lambda one: (one[0].start, one[0].line, not one[0].strip))
    return [document for _, document in written]


def _makes_way_for(numbers: Numbers, result: Result, reset: Reset) -> int:
    """Return whom a reset is for: a strip for its pieces, the next row built."""
    clears = reset.after != MORNING and numbers.row(reset.after) is None
    if not reset.strip or clears:
        return reset.after
    ends = reset.start + reset.minutes
    order = sorted((start, n) for n, start in enumerate(result.starts))
    rows = [n for start, n in order if start >= ends and numbers.row(n) is not None]
    return rows[0] if rows else order[-1][1]


def _reset(
    numbers: Numbers, result: Result, reset: Reset, left_by: int, made: Changeover
) -> dict[str, Any]:
    lessons = numbers.day.lessons
    arena, line = numbers.lines[reset.line]
    return {
        "for": lessons[_makes_way_for(numbers, result, reset)].id,
        "after": None if left_by == MORNING else lessons[left_by].id,
        "arena": numbers.day.arenas[arena].id,
        "line": line.id,
        "from": clock(reset.start),
        "to": clock(reset.start + reset.minutes),
        "seconds": made.seconds,
        "moves": [move_as_data(move) for move in made.moves],
    }


def move_as_data(move: Move) -> dict[str, Any]:
    """Write a move with the keys of the contract."""
    return {
        "do": move.do.value,
        "was": None if move.was is None else placed_as_data(move.was),
        "now": None if move.now is None else placed_as_data(move.now),
        "seconds": round(move.cost_us / US_PER_S, 2),
    }
