"""Runs CP-SAT on a problem and reads its answer."""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event, Thread

from ortools.sat.python import cp_model

from scheduling.solver.model import build_model
from scheduling.solver.narrow import Excess, Options
from scheduling.solver.problem import MORNING, Arc, Cut, Guess, Problem
from scheduling.solver.result import Reset, Result, Status
from scheduling.solver.variables import Model

Progress = Callable[[int, int], None]
"""Told the best cost so far and the bound, in seconds."""

SETTLERS = ("no_lp", "core")
"""Of CP-SAT's ways to search, those for a day near its bound."""

LOOK_EVERY_S = 0.05
"""Seconds between two looks at whether the search is to stop."""

_STATUS = {
    cp_model.OPTIMAL: Status.OPTIMAL,
    cp_model.FEASIBLE: Status.FEASIBLE,
    cp_model.INFEASIBLE: Status.INFEASIBLE,
}


class _Told(cp_model.CpSolverSolutionCallback):
    """Tells of every better answer and every better bound.

    Both are run in the engine's own threads, where coverage cannot follow.
    """

    def __init__(self, tell: Progress) -> None:
        super().__init__()
        self._tell = tell
        self._best: int | None = None
        self._bound = 0

    def on_solution_callback(self) -> None:  # pragma: no cover
        self._best = round(self.objective_value)
        self._bound = max(self._bound, int(self.best_objective_bound))
        self._tell(self._best, min(self._best, self._bound))

    def on_bound(self, bound: float) -> None:  # pragma: no cover
        self._bound = max(self._bound, int(bound))
        if self._best is not None:
            self._tell(self._best, min(self._best, self._bound))


def solve(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 0,
    cuts: tuple[Cut, ...] = (),
    fixed: tuple[Arc, ...] | None = None,
    guess: Guess | None = None,
    options: Options | None = None,
    excess: Excess | None = None,
    between: tuple[int, int] | None = None,
    on_progress: Progress | None = None,
    stop: Event | None = None,
) -> Result:
    """Order the day of a problem at the least cost.

    Parameters
    ----------
    problem
        The day in numbers.
    seconds
        Time to search at most [s].
    seed
        Of the search. Two workers race: what is proved costs the same at every
        run, but of equally good orders either may be found.
    cuts
        Chains of arcs that cost more than their sum.
    fixed
        If given, exactly these arcs are taken and only times are sought.
    guess
        An order to begin the search at.
    options
        If given, no task is anywhere else.
    excess
        If given, what options and arcs cost above a bound, and the room there is.
    between
        If given, the cost is known to be sought from the first to the second [s].
    on_progress
        Told of each better answer and bound.
    stop
        Once set, the search ends with the best it has.
    """
    if any(not task.starts or not task.arenas for task in problem.tasks):
        return Result(Status.INFEASIBLE)
    if any(task.has_row and not task.lines for task in problem.tasks):
        return Result(Status.INFEASIBLE)
    model = build_model(problem, cuts, fixed, options, excess)
    if between is not None:
        model.cp.add_linear_constraint(sum(model.cost), *between)
    _hint(model, guess)
    solver = _solver(seconds, seed, near_bound=excess is not None)
    told = None
    if on_progress:
        told = _Told(on_progress)
        solver.best_bound_callback = told.on_bound
    with heeding(stop, solver):
        status = _STATUS.get(solver.solve(model.cp, told), Status.UNKNOWN)
    if status not in {Status.OPTIMAL, Status.FEASIBLE}:
        return Result(status)
    return _read(model, solver, status)


def _solver(seconds: float, seed: int, *, near_bound: bool) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(seconds, 0.01)
    solver.parameters.random_seed = seed
    solver.parameters.num_workers = 2
    if near_bound:
        # Near a bound, reasoning settles what relaxations only slow down.
        solver.parameters.subsolvers.extend(SETTLERS)
    return solver


@contextmanager
def heeding(stop: Event | None, solver: cp_model.CpSolver) -> Iterator[None]:
    """Stop the search soon after `stop` is set."""
    if stop is None:
        yield
        return
    over = Event()

    def watch() -> None:
        # Told again and again: the search may not have begun at the first time.
        while not over.wait(LOOK_EVERY_S):
            if stop.is_set():
                solver.stop_search()

    watcher = Thread(target=watch, name="stop-the-search", daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        watcher.join()


def _hint(model: Model, guess: Guess | None) -> None:
    """Begin at a guess, or at what was booked."""
    cp = model.cp
    for number, task in enumerate(model.problem.tasks):
        if guess is None:
            if task.booked and task.booked[0] in task.starts:
                cp.add_hint(model.start[number], task.booked[0])
            continue
        cp.add_hint(model.start[number], guess.starts[number])
        for arena, here in model.in_arena[number].items():
            cp.add_hint(here, arena == guess.arenas[number])
        if task.has_row:
            for line in task.lines:
                cp.add_hint(model.on_line[number, line], line == guess.lines[number])


def _read(model: Model, solver: cp_model.CpSolver, status: Status) -> Result:
    problem = model.problem
    stripped = frozenset(
        where for where, taken in model.strip.items() if solver.boolean_value(taken)
    )
    chains = tuple(
        _chain(model, solver, line) for line in range(len(problem.line_arena))
    )
    # Bounds are sums of whole seconds, so a bound of 599.2 means 600.
    bound = math.ceil(solver.best_objective_bound - 1e-6)
    return Result(
        status=status,
        objective_s=round(solver.objective_value),
        bound_s=min(bound, round(solver.objective_value)),
        starts=tuple(solver.value(start) for start in model.start),
        arenas=tuple(
            next(a for a, here in places.items() if solver.boolean_value(here))
            for places in model.in_arena
        ),
        chains=chains,
        stripped=stripped,
        resets=_resets(model, solver, chains, stripped),
    )


def _chain(model: Model, solver: cp_model.CpSolver, line: int) -> tuple[Arc, ...]:
    after = {
        arc[1]: arc
        for arc, taken in model.arc.items()
        if arc[0] == line and solver.boolean_value(taken)
    }
    chain: list[Arc] = []
    at = MORNING
    while at in after:
        chain.append(after[at])
        at = after[at][2]
    return tuple(chain)


def _resets(
    model: Model,
    solver: cp_model.CpSolver,
    chains: tuple[tuple[Arc, ...], ...],
    stripped: frozenset[tuple[int, int]],
) -> tuple[Reset, ...]:
    problem = model.problem
    into = {(arc[0], arc[2]): arc for chain in chains for arc in chain}
    after = {(arc[0], arc[1]): arc[2] for chain in chains for arc in chain}
    resets = []
    for one in model.resets:
        if not solver.boolean_value(one.present):
            continue
        start, minutes = solver.value(one.start), solver.value(one.minutes)
        if one.strip_of is not None:
            seconds = problem.strip_s[one.line, one.strip_of]
            to = after.get((one.line, one.strip_of), MORNING)
            resets.append(
                Reset(one.line, one.strip_of, to, start, minutes, seconds, strip=True)
            )
            continue
        arc = into[one.line, one.task]
        built = (one.line, arc[1]) in stripped
        seconds = problem.build_s[one.line, one.task] if built else problem.arc_s[arc]
        resets.append(Reset(one.line, arc[1], one.task, start, minutes, seconds))
    return tuple(sorted(resets, key=lambda r: (r.start, r.line, r.strip)))
