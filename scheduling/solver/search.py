"""Searches a day's order in stages, from a lower bound upwards.

Annealing finds a good day soon; prices on tasks and moments bound every day from
below (`bound`). A stage then asks CP-SAT for a day that costs at most a little more
than the bound: little can be part of such a day, so what is left is small. If there
is one, the best of them is the best of all; if there is none, the bound is that
much higher, and the next stage allows more.
"""

import math
import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from threading import Event
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from scheduling.solver import annealing
from scheduling.solver.annealing import (
    LEAST_S,
    Annealings,
    annealed,
    cheaper,
    guess_of,
    halted_after,
    options_of,
)
from scheduling.solver.arrays import Arrays, Ints, arrays_of
from scheduling.solver.bound import Bound, Kept
from scheduling.solver.mending import freed
from scheduling.solver.narrow import Excess, Option
from scheduling.solver.problem import MORNING, Cut, Guess, Problem, Task
from scheduling.solver.result import Result, Status
from scheduling.solver.solve import Progress, solve

_SMALL = 60
"""Days of no more options than this go to CP-SAT as they are."""

_SHARES = (0.007, 0.012, 0.018, 0.026)
"""How far above the bound the stages look."""

_FLAT_SHARES = (0.006, 0.015)
"""The same, where fewer than half of the lessons have a row."""

_AFTER_CUTS = (0.002, 0.006, 0.012, 0.02)
"""The same, where chains turned out dear: seldom by much."""

_AGAIN, _ROWS_EACH = 4, 12
"""Further annealings at most, while the bound is bettered, and the rows that are worth
one each: few rows are settled by the stages from any good day."""

_ROUNDS = 400
"""Rounds in which the bound is bettered."""

_MEND_S = 1.0
"""No part of a day is looked into for longer than this [s]."""

_A_RESET_S = 900
"""What a reset is taken to cost where no clean day is known [s]."""


@cache
def warm_up() -> None:
    """Compile what a search needs, or load it where it is kept; once a process.

    The first time on a machine takes some seconds, which are not a search's.
    """
    task = Task((480, 510), 30, (0,), lines=(0,), has_row=True)
    arcs = {(0, MORNING, 0): 60, (0, MORNING, 1): 60, (0, 0, 1): 60, (0, 1, 0): 60}
    problem = Problem((task, task), (0,), arcs)
    arrays = arrays_of(problem)
    annealed(arrays, problem, None, 0)
    bound = Bound(problem, arrays)
    bound.better(600, 2)
    bound.kept(600)


class _Part(TypedDict):
    problem: Problem
    options: list[Option]
    excess: Excess


class Search:
    """The search of one problem; keeps its bound from one call to the next.

    Parameters
    ----------
    problem
        The day in numbers.
    seed
        Of every search.
    guess
        An order to begin at.
    on_progress
        Told of each better answer and bound.
    stop
        Once set, the search ends with the best it has.
    """

    def __init__(
        self,
        problem: Problem,
        *,
        seed: int = 0,
        guess: Guess | None = None,
        on_progress: Progress | None = None,
        stop: Event | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.problem, self.seed, self.guess = problem, seed, guess
        self.on_progress, self.stop, self.clock = on_progress, stop, clock
        self._chosen: list[Option] = []
        self._ends = 0.0
        self._bound: Bound | None = None
        self._best: Result | None = None
        self._low_s = 0
        self._small = self._is_small()

    def run(self, *, seconds: float, cuts: tuple[Cut, ...] = ()) -> Result:
        """Order the day at the least cost, cuts included."""
        if not self._small:
            warm_up()
        self._start(seconds)
        if self._small:
            return self._solve(cuts=cuts, guess=self.guess)
        bound = self._bound
        if bound is None:
            bound = self._begin(cuts)
        else:
            self._time_chosen(cuts)
        if bound is None:
            return Result(Status.INFEASIBLE)
        base = self._low_s
        for share in _AFTER_CUTS if cuts else self._shares():
            top = int(base * (1 + share))
            if self._best is not None and self._best.objective_s <= top:
                break
            settled = self._stage(bound, top, cuts)
            if self._proved():
                return self._answer()
            if not settled:
                if self._best is not None:
                    self._mend(bound, self._best, cuts)
                break
        best = self._best
        if best is None and not self._over():
            self._take(self._solve(cuts=cuts, guess=self.guess))
        elif best is not None and not self._proved():
            self._stage(bound, best.objective_s - 1, cuts, whole=True)
        return self._answer()

    def _start(self, seconds: float) -> None:
        self._ends, self._best = self.clock() + seconds, None

    def _rows(self) -> int:
        return sum(one.has_row for one in self.problem.tasks)

    def _shares(self) -> tuple[float, ...]:
        flat = 2 * self._rows() < len(self.problem.tasks)
        return _FLAT_SHARES if flat else _SHARES

    def _is_small(self) -> bool:
        options = sum(
            len(one.starts) * max(1, len(one.lines), len(one.arenas))
            for one in self.problem.tasks
        )
        placeable = all(
            one.starts and one.arenas and (one.lines or not one.has_row)
            for one in self.problem.tasks
        )
        return options <= _SMALL or not self.problem.arc_s or not placeable

    def _begin(self, cuts: tuple[Cut, ...]) -> Bound | None:
        """Anneal and bound; None where a task has no option at all.

        The first day found is timed before anything else, so that there is an
        answer however little time there is.
        """
        arrays = arrays_of(self.problem)
        if (np.diff(arrays.first) == 0).any():
            return None
        begun = self.guess
        with halted_after((self._ends - self.clock()) / 2) as halt:
            chosen, cost = annealed(arrays, self.problem, begun, self.seed, halt=halt)
        self._choose(arrays, chosen, cuts)
        self._bound = bound = Bound(self.problem, arrays)
        # A day that is not clean says little of what the best costs.
        aim = cost if cost >= 0 else _A_RESET_S * len(self.problem.tasks)
        many = len(arrays.task) >= annealing.AGAIN_FROM
        times = min(_AGAIN, -(-self._rows() // _ROWS_EACH)) if many else 0
        half = (self.clock() + self._ends) / 2

        def over() -> bool:
            return self._over() or self.clock() >= half

        with Annealings(arrays, self.problem, begun, self.seed, times) as others:
            bound.better(aim, _ROUNDS, over)
            self._low_s = max(0, math.ceil(bound.bound_s - 1e-6))
            if self._low_s < aim:
                # Awaited, not cut short: the same seed gives the same day.
                found = cheaper((chosen, cost), others.best(over))
                if found[0] is not chosen:
                    self._choose(arrays, found[0], cuts)
        return bound

    def _choose(self, arrays: Arrays, chosen: Ints, cuts: tuple[Cut, ...]) -> None:
        """Take a day annealed as the one to go on from, and time it."""
        self._chosen = options_of(arrays, chosen)
        self.guess = guess_of(arrays, chosen)
        self._time_chosen(cuts)

    def _time_chosen(self, cuts: tuple[Cut, ...]) -> None:
        """Time the day to go on from; only its own order need be in the model."""
        at = {n: (arena, line, start) for n, arena, line, start in self._chosen}
        tasks, arenas = self.problem.tasks, self.problem.line_arena
        arcs = {
            (line, before, after): seconds
            for (line, before, after), seconds in self.problem.arc_s.items()
            if at[after][0] == arenas[line]
            and at[after][1] in {line, -1}
            and (
                before == MORNING
                or (
                    at[before][0] == arenas[line]
                    and at[before][1] in {line, -1}
                    and at[before][2] + tasks[before].minutes <= at[after][2]
                )
            )
        }
        result = self._solve(
            problem=replace(self.problem, arc_s=arcs), options=self._chosen, cuts=cuts
        )
        self._take(result, narrowed=True)

    def _go_on_from(self, result: Result) -> None:
        """Begin at an answer found, when chains turn out dearer than their resets."""
        on = {arc[2]: arc[0] for chain in result.chains for arc in chain}
        lines = tuple(
            on[n] if task.has_row else None for n, task in enumerate(self.problem.tasks)
        )
        self.guess = Guess(result.starts, result.arenas, lines)
        self._chosen = [
            (n, arena, -1 if line is None else line, start)
            for n, (arena, line, start) in enumerate(
                zip(result.arenas, lines, result.starts, strict=True)
            )
        ]

    def _over(self) -> bool:
        stopped = self.stop is not None and self.stop.is_set()
        return stopped or self.clock() >= self._ends

    def _stage(
        self, bound: Bound, top_s: int, cuts: tuple[Cut, ...], *, whole: bool = False
    ) -> bool:
        """Look for a day of at most `top_s`; say whether that is settled."""
        if self._over():
            return False
        kept = bound.kept(top_s + 1)
        left = self._ends - self.clock()
        result = self._solve(
            **self._part(bound, kept, kept.options),
            cuts=cuts,
            guess=self.guess,
            seconds=left if whole else left / 2,
            between=(self._low_s, top_s),
        )
        if result.status is Status.INFEASIBLE:
            self._low_s = top_s + 1
            return True
        if self._take(result):
            self._go_on_from(result)
        return result.status is Status.OPTIMAL

    def _part(self, bound: Bound, kept: Kept, which: NDArray[np.bool_]) -> _Part:
        """Return what a stage solves: some options, and what they cost above."""
        k = np.flatnonzero(which)
        options = options_of(bound.arrays, k)
        known = self.problem.arc_s
        return {
            "problem": replace(
                self.problem, arc_s={a: s for a, s in known.items() if a in kept.arcs}
            ),
            "options": options,
            "excess": Excess(
                dict(zip(options, kept.option_s[k].tolist(), strict=True)),
                kept.arc_s,
                kept.room_s,
            ),
        }

    def _mend(self, bound: Bound, best: Result, cuts: tuple[Cut, ...]) -> None:
        """Better the best day part by part, for half of the time that is left."""
        arrays, dice = bound.arrays, np.random.default_rng(self.seed)
        number = {one: k for k, one in enumerate(options_of(arrays, slice(None)))}
        half = (self.clock() + self._ends) / 2
        kept = bound.kept(best.objective_s)
        while not self._over() and self.clock() < half and not self._proved():
            chosen = np.array([number[one] for one in self._chosen])
            free = freed(arrays, chosen, dice)
            which = kept.options & free[arrays.task]
            which[chosen] = True
            found = self._solve(
                **self._part(bound, kept, which),
                cuts=cuts,
                guess=self.guess,
                seconds=min(_MEND_S, half - self.clock()),
                between=(self._low_s, best.objective_s - 1),
            )
            if self._take(found, narrowed=True):
                best = found
                self._go_on_from(best)
                kept = bound.kept(best.objective_s)

    def _solve(
        self,
        *,
        problem: Problem | None = None,
        options: list[Option] | None = None,
        excess: Excess | None = None,
        cuts: tuple[Cut, ...] = (),
        guess: Guess | None = None,
        seconds: float | None = None,
        between: tuple[int, int] | None = None,
    ) -> Result:
        left = self._ends - self.clock() if seconds is None else seconds
        return solve(
            self.problem if problem is None else problem,
            seconds=max(left, LEAST_S),
            seed=self.seed,
            cuts=cuts,
            guess=guess,
            options=options,
            excess=excess,
            between=between,
            on_progress=self._tell if self.on_progress else None,
            stop=self.stop,
        )

    # Run in the engine's own threads, where coverage cannot follow.
    def _tell(self, best_s: int, bound_s: int) -> None:  # pragma: no cover
        """Tell of the best there is; a stage's own bound holds for the stage only."""
        known = self._best.objective_s if self._best is not None else best_s
        bound_s = bound_s if self._small else self._low_s
        if self.on_progress is not None:
            self.on_progress(min(known, best_s), min(known, best_s, bound_s))

    def _take(self, result: Result, *, narrowed: bool = False) -> bool:
        """Keep a better answer, and what it proves unless options were left out.

        Says whether it is the best so far.
        """
        if result.status in {Status.INFEASIBLE, Status.UNKNOWN}:
            if result.status is Status.INFEASIBLE and not narrowed:
                self._best = result
            return False
        if not narrowed:
            self._low_s = max(self._low_s, result.bound_s)
        known = self._best
        if known is not None and known.objective_s <= result.objective_s:
            return False
        self._best = result
        return True

    def _proved(self) -> bool:
        return self._best is not None and self._best.objective_s <= self._low_s

    def _answer(self) -> Result:
        best = self._best
        if best is None:
            return Result(Status.UNKNOWN)
        if best.status is Status.INFEASIBLE:
            return best
        bound = min(self._low_s, best.objective_s)
        proved = bound == best.objective_s
        status = Status.OPTIMAL if proved else Status.FEASIBLE
        return replace(best, status=status, bound_s=bound)
