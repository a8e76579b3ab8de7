"""Orders a day: the plan that needs the least rebuilding, with a proof.

The engine orders the day on the least cost of each reset by itself. Where a
row lies decides what the next reset costs, so the rows of the order found are
then placed exactly; chains that turn out dearer than their resets by
themselves go back to the engine, until what it finds costs what it says.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from threading import Event
from typing import Any

from scheduling.changeover import places
from scheduling.changeover.tables import Costs
from scheduling.dayplan.check import check_plan
from scheduling.dayplan.clashes import booked_slots, over_limits
from scheduling.dayplan.day import Day, minutes_at
from scheduling.dayplan.document import read_day
from scheduling.dayplan.fallback import best_effort
from scheduling.dayplan.numbers import Numbers, numbers_of
from scheduling.dayplan.placing import Placed, dear_chains, place_order
from scheduling.dayplan.plan import (
    Booked,
    Outcome,
    about_booked,
    booked_day,
    plan_document,
    settled_day,
)
from scheduling.dayplan.settled import Known, Settled
from scheduling.solver.problem import Arc, Cut, Guess, Problem
from scheduling.solver.result import Result, Status
from scheduling.solver.search import Search, warm_up
from scheduling.solver.solve import solve

Progress = Callable[[int, int], None]
"""Told the best cost so far and the proved bound, in seconds."""

_OUT_OF_TIME = {
    "rule": "time",
    "lessons": [],
    "says": "No plan was found in the time given; more seconds may find one.",
}

_LEAST_S = 0.2
"""No engine run is given less time than this, in seconds."""

_SPARE_S, _SPARE_SHARE = 1.0, 8
"""Time kept to place, time, write and judge what is found, and the part of the whole
that is at most [s]."""

_TIMING_S = 1.0
"""A day found is not lost for want of this much time to time it, in seconds."""


@dataclass(slots=True)
class _Search:
    """The best plan so far, and what is proved."""

    best: Result | None = None
    placed: Placed | None = None
    bound_s: int = 0
    impossible: bool = False

    @property
    def proved(self) -> bool:
        return self.best is not None and self.best.objective_s <= self.bound_s

    def offer(self, result: Result, placed: Placed) -> None:
        if self.best is None or result.objective_s < self.best.objective_s:
            self.best, self.placed = result, placed


def order_day(
    document: object,
    *,
    seconds: float = 10,
    seed: int = 0,
    as_booked: bool = False,
    start_from: Mapping[str, Any] | None = None,
    on_progress: Progress | None = None,
    clock: Callable[[], float] = time.monotonic,
    stop: Event | None = None,
) -> dict[str, Any]:
    """Make the plan file of a day file.

    Parameters
    ----------
    document
        The day file, as read from JSON.
    seconds
        Time to search at most [s].
    seed
        Of the search.
    as_booked
        Keep every booked start and arena.
    start_from
        A plan file to begin the search at, of this day or one much like it. What
        it says of lessons that are not there, or of places they may not have, is
        passed over.
    on_progress
        Told of each better plan and each better bound, from any thread.
    clock
        Measures elapsed seconds.
    stop
        Once set, from another thread say, the search ends with the best it has.

    Raises
    ------
    InvalidDay
        If the day file is refused.
    RuntimeError
        If the plan found fails the judge; then it is an error, not an answer.
    """
    day = read_day(document)
    places.warm_up()
    warm_up()
    began = clock()
    costs = Costs(day.handling)
    booked = as_it_is_booked(day, costs, seconds=seconds / 2, seed=seed, stop=stop)
    numbers = numbers_of(day, as_booked=as_booked, costs=costs)
    guess = None if start_from is None else guess_from(numbers, start_from)
    prepared_s = clock() - began
    left = max(seconds - prepared_s, _LEAST_S)
    # Placing, timing, writing and judging take about as long as preparing did.
    spare_s = min(max(_SPARE_S, prepared_s), left / _SPARE_SHARE)
    search = _search(numbers, left, seed, guess, on_progress, stop, clock, spare_s)
    plan = _judged_plan(numbers, search, booked, seed)
    plan["elapsed_s"] = round(clock() - began, 3)
    return plan


def _judged_plan(
    numbers: Numbers, search: _Search, booked: Booked | None, seed: int
) -> dict[str, Any]:
    """Write the plan found, or a best effort with what it breaks."""
    day = numbers.day
    outcome = Outcome(numbers, search.best, search.placed, search.bound_s, booked, seed)
    if search.best is None:
        plan = best_effort(day)
        plan |= about_booked(booked) | {"seed": seed}
    else:
        plan = plan_document(outcome)
    broken = check_plan(day, plan)
    if search.best is not None and broken:
        raise RuntimeError(f"the plan found breaks a rule: {broken[0].says}")
    if search.best is None:
        plan["broken"] = [one.as_data() for one in broken]
        if not broken:
            plan["status"] = "stopped"
        elif not search.impossible:
            plan["broken"].insert(0, _OUT_OF_TIME)
    return plan


def as_it_is_booked(
    day: Day, costs: Costs, *, seconds: float, seed: int, stop: Event | None = None
) -> Booked | None:
    """Return what the day as booked takes; None if that breaks a rule.

    The engine is asked only where settling each arena by itself does not tell.
    """
    slots = booked_slots(day) if day.lessons else None
    if slots is None:
        return None
    settled = Settled(day).settle(slots)
    if settled.known is not Known.ASK:
        return settled_day(day, settled) if settled.known is Known.EXACT else None
    numbers = numbers_of(day, as_booked=True, costs=costs)
    left = max(seconds, _LEAST_S)
    search = _search(numbers, left, seed, stop=stop)
    if search.best is None or search.placed is None:
        return None
    return booked_day(numbers, search.best, search.placed)


def _search(
    numbers: Numbers,
    seconds: float,
    seed: int,
    guess: Guess | None = None,
    on_progress: Progress | None = None,
    stop: Event | None = None,
    clock: Callable[[], float] = time.monotonic,
    spare_s: float = 0.0,
) -> _Search:
    search, ends = _Search(), clock() + seconds
    known: dict[tuple[Arc, ...], Cut] = {}
    if any(over_limits(numbers.day, n) for n in range(len(numbers.day.lessons))):
        search.impossible = True
        return search
    engine = Search(
        numbers.problem, seed=seed, guess=guess, on_progress=on_progress, stop=stop
    )
    while not known or clock() < ends:
        result = engine.run(
            seconds=max(ends - spare_s - clock(), _LEAST_S),
            cuts=tuple(known.values()),
        )
        if result.status in {Status.INFEASIBLE, Status.UNKNOWN}:
            search.impossible = result.status is Status.INFEASIBLE
            break
        search.bound_s = max(search.bound_s, result.bound_s)
        _take(numbers, result, search, seed, ends - clock())
        stopped = stop is not None and stop.is_set()
        if search.proved or stopped or result.status is not Status.OPTIMAL:
            break
        new = [cut for cut in dear_chains(numbers, result) if cut.arcs not in known]
        if not new:
            break
        known |= {cut.arcs: cut for cut in new}
        if on_progress and search.best:
            on_progress(search.best.objective_s, search.bound_s)
    return search


def guess_from(numbers: Numbers, plan: Mapping[str, Any]) -> Guess | None:
    """Read an order to begin at from a plan file; None if it names no lesson.

    A lesson it does not name is guessed as booked, or as early as allowed.
    """
    day = numbers.day
    named = {one["id"]: one for one in plan["lessons"]}
    if not any(lesson.id in named for lesson in day.lessons):
        return None
    arenas = {arena.id: n for n, arena in enumerate(day.arenas)}
    lines = {(arena, line.id): k for k, (arena, line) in enumerate(numbers.lines)}
    found: list[tuple[int, int, int | None]] = []
    for lesson, task in zip(day.lessons, numbers.problem.tasks, strict=True):
        one = named.get(lesson.id)
        if one is not None:
            arena = arenas.get(one["arena"], -1)
            line = lines.get((arena, one["line"]))
            found.append((minutes_at(one["start"]), arena, line))
        elif task.booked is not None:
            found.append((*task.booked, None))
        else:
            found.append((task.starts[0] if task.starts else 0, task.arenas[0], None))
    starts, where, on = zip(*found, strict=True)
    return Guess(starts, where, on)


def _take(
    numbers: Numbers, result: Result, search: _Search, seed: int, left: float
) -> None:
    """Place an order exactly and time it anew where its resets grew."""
    placed = place_order(numbers, result)
    timed = _timed(numbers, result, placed, seed, left)
    if timed is not None:
        search.offer(timed, placed)
        return
    try:
        placed = place_order(numbers, result, within_minutes=True)
    except places.UnableToPlace:
        return
    timed = _timed(numbers, result, placed, seed, left)
    if timed is not None:
        search.offer(timed, placed)


def _timed(
    numbers: Numbers, result: Result, placed: Placed, seed: int, left: float
) -> Result | None:
    """Return the order with its resets' true seconds, timed; None if it can't be."""
    least = numbers.problem
    arcs = {arc for chain in result.chains for arc in chain}
    built = {arc for arc in arcs if arc[:2] in result.stripped and arc in placed.arc_s}
    true = replace(
        least,
        arc_s={
            arc: placed.arc_s.get(arc, seconds) if arc not in built else seconds
            for arc, seconds in least.arc_s.items()
        },
        strip_s=dict(least.strip_s) | placed.strip_s,
        build_s=dict(least.build_s)
        | {(arc[0], arc[2]): placed.arc_s[arc] for arc in built},
    )
    if true == least and result.status is Status.OPTIMAL:
        return result
    again = solve(
        _only(true, arcs),
        seconds=max(left, _TIMING_S),
        seed=seed,
        fixed=tuple(arcs),
    )
    return again if again.status in {Status.OPTIMAL, Status.FEASIBLE} else None


def _only(problem: Problem, arcs: set[tuple[int, int, int]]) -> Problem:
    return replace(
        problem, arc_s={arc: s for arc, s in problem.arc_s.items() if arc in arcs}
    )
