"""The best horse for every seat at once: as many as can be, then the fewest points.

One lesson is an assignment; a day ties lessons together by what each horse may do.
Both are given to CP-SAT with whole points, one worker, one seed and a limit in its
own deterministic time, so the same question has the same answer everywhere.
"""

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from itertools import combinations
from threading import Event

from ortools.sat.python import cp_model

from scheduling.matching.problem import Mount, Problem, Seat, Term
from scheduling.matching.together import Cut, Refuses, Together, nothing_refused
from scheduling.matching.weighing import ruled_out, terms

LIMIT = 20.0
"""Deterministic seconds for the whole; each question "what else" gets a tenth."""

Pair = tuple[int, int]
Watch = Callable[[cp_model.CpSolver], AbstractContextManager[object]]


@dataclass(frozen=True, slots=True)
class Given:
    """A seat and its horse, why, and the next best.

    `more` is what the whole would cost more, in points, were this horse not to be
    had here; `next_best` the horse that would come then, None where nobody.
    """

    seat: int
    mount: int | None
    terms: tuple[Term, ...] = ()
    next_best: int | None = None
    more: int | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """Horses for all seats; `proved` says that nothing better exists."""

    given: tuple[Given, ...]
    points: int
    again: dict[int, int]
    unseated: dict[int, dict[int, str]]
    proved: bool


class UnableToMatch(ValueError):
    """Why what was fixed can't be."""


def match(
    problem: Problem,
    *,
    refuses: Refuses = nothing_refused,
    limit: float = LIMIT,
    on_progress: Callable[[int, int], None] | None = None,
    stop: Event | None = None,
    watch: Watch = nullcontext,
) -> Match:
    """Find the best horses.

    `refuses` says what a horse may not do together, by rules that are kept elsewhere.
    `on_progress` is told for how many seats the next best was looked for, of how
    many. Once `stop` is set the best found is kept, and nothing more is looked for;
    `watch` ends a search that is under way then.

    Raises
    ------
    UnableToMatch
        Where a fixed pair is ruled out, by itself or with another.
    """
    table = _Table(problem, refuses)
    _check_fixed(problem, table)
    best = _solve(problem, table, limit, watch=watch, stop=stop)
    if best is None:
        raise UnableToMatch(
            "What is fixed can't be kept together: a horse would be in two places, "
            "without its rest, or over its limit. Free one of them."
        )
    chosen, points, proved = best
    given = []
    for number, seat in enumerate(problem.seats, start=1):
        mount = chosen.get(seat.key)
        if mount is None:
            given.append(Given(seat.key, None))
            continue
        one = Given(seat.key, mount, table.terms[seat.key, mount])
        if seat.fixed is None and not (stop is not None and stop.is_set()):
            one = _with_next(problem, table, one, points, limit / 10)
        given.append(one)
        if on_progress is not None:
            on_progress(number, len(problem.seats))
    return Match(
        given=tuple(given),
        points=sum(t.points for one in given for t in one.terms)
        + sum(jumps_again(problem, chosen).values()),
        again=jumps_again(problem, chosen),
        unseated={
            seat.key: {m.key: _why_not(table, seat, m, chosen)
                       for m in problem.mounts}
            for seat in problem.seats
            if seat.key not in chosen
        },
        proved=proved,
    )  # fmt: skip


class _Table:
    """Every pair: allowed with its terms, or ruled out with its reason."""

    def __init__(self, problem: Problem, refuses: Refuses) -> None:
        mounts = tuple(one.key for one in problem.mounts)
        self.together = Together(refuses, mounts)
        self.terms: dict[Pair, tuple[Term, ...]] = {}
        self.points: dict[Pair, int] = {}
        self.why: dict[Pair, str] = {}
        for seat in problem.seats:
            for mount in problem.mounts:
                pair = (seat.key, mount.key)
                why = ruled_out(seat, mount, problem.weights)
                if why:
                    self.why[pair] = why
                else:
                    self.terms[pair] = terms(seat, mount, problem.weights)
                    self.points[pair] = sum(one.points for one in self.terms[pair])


def _why_not(table: _Table, seat: Seat, mount: Mount, chosen: dict[int, int]) -> str:
    """Say why somebody on foot does not have a horse."""
    pair = (seat.key, mount.key)
    if pair in table.why:
        return table.why[pair]
    its = [key for key, one in chosen.items() if one == mount.key]
    if its and table.together.may_not(mount.key, [*its, seat.key]):
        return "limit: over a rule of its work with what it is given here"
    return "needed elsewhere"


def _check_fixed(problem: Problem, table: _Table) -> None:
    names = {one.key: one.name for one in problem.mounts}
    for seat in problem.seats:
        if seat.fixed is None:
            continue
        why = table.why.get((seat.key, seat.fixed))
        if seat.fixed not in names:
            raise UnableToMatch(f"The horse fixed for {seat.name} is not known.")
        if why:
            raise UnableToMatch(f"{names[seat.fixed]} for {seat.name}: {why}.")


def at_odds(one: Seat, other: Seat, mount: Mount) -> bool:
    """Say whether a horse can't do both lessons, for time or rest."""
    gap = max(other.from_s - one.to_s, one.from_s - other.to_s)
    return gap < 0 or gap < mount.rest_s


def jumps_again(problem: Problem, chosen: dict[int, int]) -> dict[int, int]:
    """Return the points of each horse for jumping lessons after its day's first."""
    found = {}
    for mount in problem.mounts:
        held = sum(one.jumping for one in mount.held)
        new = sum(s.jumping for s in problem.seats if chosen.get(s.key) == mount.key)
        over = max(0, held + new - 1) - max(0, held - 1)
        if over:
            found[mount.key] = over * problem.weights.jumps_again
    return found


def _with_next(
    problem: Problem, table: _Table, one: Given, points: int, limit: float
) -> Given:
    """Ask what would come if this horse were not to be had for this seat."""
    without = _solve(problem, table, limit, forbidden=(one.seat, one.mount or 0))
    chosen, total, proved = without or ({}, 0, False)
    fewer = len(chosen) < _seated(points, problem, table)
    if not proved or fewer or one.seat not in chosen:
        return one
    return replace(one, next_best=chosen[one.seat], more=total - points)


def _unseated_points(problem: Problem, table: _Table) -> int:
    """Return more points than all the rest together can come to."""
    worst = max(table.points.values(), default=0) + problem.weights.jumps_again
    return (worst + 1) * (len(problem.seats) + 1)


def _seated(points: int, problem: Problem, table: _Table) -> int:
    return len(problem.seats) - points // _unseated_points(problem, table)


def _solve(
    problem: Problem,
    table: _Table,
    limit: float,
    forbidden: Pair | None = None,
    watch: Watch = nullcontext,
    stop: Event | None = None,
) -> tuple[dict[int, int], int, bool] | None:
    model = cp_model.CpModel()
    use = {
        pair: model.new_bool_var(f"{pair[0]} on {pair[1]}")
        for pair in table.points
        if pair != forbidden
    }
    costs: list[cp_model.LinearExprT] = [
        table.points[pair] * var for pair, var in use.items()
    ]
    alone = _unseated_points(problem, table)
    for seat in problem.seats:
        mine = [var for (key, _), var in use.items() if key == seat.key]
        nobody = model.new_bool_var(f"{seat.key} on foot")
        model.add_exactly_one([*mine, nobody])
        costs.append(alone * nobody)
        if seat.fixed is not None:
            model.add(use[seat.key, seat.fixed] == 1)
        elif seat.now in dict(use_of(seat, use)):
            model.add_hint(dict(use_of(seat, use))[seat.now], 1)
    for mount in problem.mounts:
        _keep_limits(model, problem, mount, use, costs)
    model.minimize(sum(costs))
    _forbid(model, use, table.together.cuts_in_order)
    while True:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = limit
        with watch(solver):
            status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        chosen = {seat: m for (seat, m), var in use.items() if solver.value(var)}
        new = table.together.broken_by(chosen)
        if not new:
            proved = status == cp_model.OPTIMAL
            return chosen, round(solver.objective_value), proved
        limit -= solver.response_proto.deterministic_time
        if limit <= 0 or (stop is not None and stop.is_set()):
            return _mended(problem, table, chosen)
        _forbid(model, use, new)


def _forbid(
    model: cp_model.CpModel, use: dict[Pair, cp_model.IntVar], cuts: Iterable[Cut]
) -> None:
    """Let no horse do all the seats of a cut."""
    for mount, seats in cuts:
        its = [use[seat, mount] for seat in sorted(seats) if (seat, mount) in use]
        if len(its) == len(seats):
            model.add(sum(its) < len(seats))


def _mended(
    problem: Problem, table: _Table, chosen: dict[int, int]
) -> tuple[dict[int, int], int, bool] | None:
    """Return what was found in the time given, with what breaks a rule left out."""
    fixed = [one.key for one in problem.seats if one.fixed is not None]
    kept = table.together.mended(chosen, fixed)
    if table.together.broken_by(kept):
        return None
    points = sum(table.points[pair] for pair in kept.items())
    points += sum(jumps_again(problem, kept).values())
    on_foot = len(problem.seats) - len(kept)
    return kept, points + on_foot * _unseated_points(problem, table), False


def use_of(
    seat: Seat, use: dict[Pair, cp_model.IntVar]
) -> list[tuple[int, cp_model.IntVar]]:
    """Return the choices of one seat, by horse."""
    return [(mount, var) for (key, mount), var in use.items() if key == seat.key]


def _keep_limits(
    model: cp_model.CpModel,
    problem: Problem,
    mount: Mount,
    use: dict[Pair, cp_model.IntVar],
    costs: list[cp_model.LinearExprT],
) -> None:
    mine = [
        (seat, use[seat.key, mount.key])
        for seat in problem.seats
        if (seat.key, mount.key) in use
    ]
    for (one, var), (other, also) in combinations(mine, 2):
        if at_odds(one, other, mount):
            model.add_at_most_one([var, also])
    if not mine:
        return
    held = [one for one in mount.held if one.work]
    held_s = sum(one.to_s - one.from_s for one in held)
    model.add(sum(var for _, var in mine) <= mount.max_lessons - len(held))
    model.add(
        sum((seat.to_s - seat.from_s) * var for seat, var in mine)
        <= mount.max_s - held_s
    )
    jumping = [var for seat, var in mine if seat.jumping]
    held_jumping = sum(one.jumping for one in mount.held)
    if jumping:
        free = 1 if held_jumping == 0 else 0
        over = model.new_int_var(0, len(jumping), f"{mount.key} jumps again")
        model.add(over >= sum(jumping) - free)
        costs.append(problem.weights.jumps_again * over)
