"""A lower bound of a day, line by line, and what no better day can hold.

Each line's cheapest day is found by itself, with a price on every task, and on
every moment of a person, horse or arena: Lagrangian relaxation of "each task once"
and "one place at a time". The prices follow an average of the days found (the volume
algorithm: Barahona and Anbil, Mathematical Programming 87, 2000, 385-399). Left
out, which only lowers the bound: crew at once, stock, and places that depend on each
other.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.arrays import Arrays, Ints
from scheduling.solver.problem import MORNING, Arc, Problem

Floats = NDArray[np.float64]

_NEAR = 10
"""Tasks a task remembers."""

_BITS = 62
"""Tasks of a line that can be remembered at all."""

_FIRST_SCALE, _LAST_SCALE = 1.0, 0.003
"""How far prices move: at first, and where it is no longer worth while."""

_FRESH = 0.05
"""Share of the newest day in the average."""

_PATIENCE = 10
"""Rounds without a better bound after which prices move less."""

_STEP_MIN = 15
"""Moments at which people, horses and arenas are priced are this far apart [min]."""


def kernels() -> ModuleType:
    """Return the compiled functions; they are slow to import, so not before use."""
    from scheduling.solver import bound_kernels as module  # noqa: PLC0415

    return module


@dataclass(frozen=True, slots=True)
class Kept:
    """What a day better than the best known can hold.

    Parameters
    ----------
    options
        By option, whether it can.
    arcs
        Arcs that can be taken.
    option_s, arc_s
        What each costs above the least of its line, or of its task if it has none,
        whatever else is taken [s]; an arc that is not there, nothing.
    room_s
        How far above the bound such a day can be [s].
    """

    options: NDArray[np.bool_]
    arcs: frozenset[Arc]
    option_s: Ints
    arc_s: dict[Arc, int]
    room_s: int


@dataclass(slots=True)
class _Line:
    """The nodes of a line, and what may follow what."""

    line: int
    options: Ints
    task: Ints
    links: tuple[Any, ...]
    twin_before: Ints
    twin_after: Ints
    bit: Ints
    near: Ints
    path: Ints = field(default_factory=lambda: np.zeros(0, np.int64))


class Bound:
    """Betters a lower bound of a problem; says what a better day can hold."""

    def __init__(self, problem: Problem, arrays: Arrays) -> None:
        self.problem, self.arrays = problem, arrays
        self.bound_s = 0.0
        self._lines = [
            made
            for line in range(len(problem.line_arena))
            if (made := self._line(line)) is not None
        ]
        on_line = {int(n) for one in self._lines for n in np.unique(one.task)}
        tasks = len(problem.tasks)
        self._covered = np.array([n in on_line for n in range(tasks)], dtype=bool)
        self._loose = np.array(
            [k for k, n in enumerate(arrays.task) if int(n) not in on_line], np.int64
        )
        self._moments()
        self.task_price = np.zeros(tasks)
        self.moment_price = np.zeros(self._shape)
        self._best = (self.task_price, self.moment_price)

    def _line(self, line: int) -> _Line | None:
        a, problem = self.arrays, self.problem
        arena = problem.line_arena[line]
        own, seconds = a.line == line, a.seconds[line]
        clearing = (a.clears[a.task] == 1) & (a.arena == arena)
        if problem.line_arena.index(arena) == line:
            # A clearing concerns every line of its arena; its first one counts it.
            own |= clearing
        else:
            seconds = _by_way_of(seconds, np.unique(a.task[clearing]))
        options = np.flatnonzero(own)
        if not len(options):
            return None
        options = options[np.lexsort((a.task[options], a.start[options]))]
        task, start = a.task[options], a.start[options]
        links = kernels().links(
            *(task, start, a.minutes, a.warm_up, a.cool_down, seconds),
            *(a.crew[1], a.crew[2]),
        )
        before, after = np.full(len(task), -1), np.full(len(task), -1)
        seen: dict[int, int] = {}
        for y, n in enumerate(task.tolist()):
            before[y] = seen.get(n, -1)
            if n in seen:
                after[seen[n]] = y
            seen[n] = y
        bit, near = self._memory(line, sorted(seen))
        return _Line(line, options, task, links, before, after, bit, near)

    def _memory(self, line: int, tasks: list[int]) -> tuple[Ints, Ints]:
        """Give each task a bit, and the bits of those near it."""
        seconds = self.arrays.seconds[line]
        bit, near = np.zeros(len(self.problem.tasks), np.int64), []
        for k, n in enumerate(tasks[:_BITS]):
            bit[n] = 1 << k
        for n in range(len(self.problem.tasks)):
            there = sorted(
                tasks, key=lambda m: int(seconds[n + 1, m] + seconds[m + 1, n])
            )
            near.append(int(np.bitwise_or.reduce(bit[there[:_NEAR]])) | int(bit[n]))
        return bit, np.array(near, np.int64)

    def _moments(self) -> None:
        """List which options take which resource at which moments."""
        a, problem = self.arrays, self.problem
        groups = [(set(one.tasks), one.rest) for one in problem.apart]
        rows: list[tuple[int, int, int, int]] = []
        for k, n in enumerate(a.task.tolist()):
            begins, minutes = int(a.start[k]), int(a.minutes[n])
            for r, (tasks, rest) in enumerate(groups):
                if n in tasks:
                    rows.append((k, r, *_span(begins, begins + minutes + rest)))
            where = len(groups) + int(a.arena[k])
            rows.append((k, where, *_span(begins, begins + minutes)))
        columns = np.array(rows, np.int64).reshape(-1, 4).T.copy()
        self._of, self._resource, self._from, self._to = columns
        arenas = int(a.arena.max()) + 1 if len(a.arena) else 0
        last = int(self._to.max()) + 1 if len(self._to) else 1
        self._shape = (len(groups) + arenas, last)

    def prices(self) -> Floats:
        """Return what each option costs with the prices as they are."""
        sums = np.zeros((self._shape[0], self._shape[1] + 1))
        sums[:, 1:] = np.cumsum(self.moment_price, axis=1)
        taken = sums[self._resource, self._to] - sums[self._resource, self._from]
        price = self.arrays.cost - np.where(
            self._covered[self.arrays.task], self.task_price[self.arrays.task], 0.0
        )
        return np.asarray(
            price + np.bincount(self._of, taken, minlength=len(price)), np.float64
        )

    def better(
        self, best_s: int, rounds: int, stop: Callable[[], bool] = lambda: False
    ) -> float:
        """Better the prices, and return the best bound so far.

        Parameters
        ----------
        best_s
            Cost of the best day known [s].
        rounds
            How often the prices are changed at most.
        stop
            Asked every round.
        """
        task, moment = self._best
        if not task.any():
            task = np.where(self._covered, best_s / max(1, self._covered.sum()), 0.0)
        value, used = self._priced(task, moment)
        average, scale, since = used.astype(np.float64), _FIRST_SCALE, 0
        for _ in range(rounds):
            if stop() or self.bound_s > best_s - 1 + 1e-6 or scale < _LAST_SCALE:
                break
            tasks, moments = self._missed(average, moment)
            norm = float((tasks**2).sum() + (moments**2).sum())
            if norm < 1e-9:
                break
            step = scale * max(best_s - value, 1.0) / norm
            tried = (task + step * tasks, np.maximum(0.0, moment + step * moments))
            found, used = self._priced(*tried)
            average += _FRESH * (used - average)
            if found > value:
                since = 0 if found > value + 1e-4 * abs(value) else since
                scale = min(2.0, scale * 1.05)
                value, (task, moment) = found, tried
                continue
            since += 1
            if since == _PATIENCE:
                scale, since = scale * 0.66, 0
        return self.bound_s

    def _priced(self, task: Floats, moment: Floats) -> tuple[float, Ints]:
        """Return the bound at some prices, and how often each option is taken."""
        self.task_price, self.moment_price = task, moment
        value, used = self._cheapest(self.prices())
        if value > self.bound_s:
            self.bound_s, self._best = value, (task, moment)
        return value, used

    def _cheapest(self, price: Floats) -> tuple[float, Ints]:
        """Return the bound at these prices, and how often each option is taken."""
        used = np.zeros(len(price), np.int64)
        total = float(self.task_price[self._covered].sum() - self.moment_price.sum())
        for one in self._lines:
            labels = self._label(one, price, backward=False)
            path = np.empty(len(one.task) + 1, np.int64)
            value, count = kernels().cheapest(labels[0], labels[2], labels[3], path)
            total += value
            np.add.at(used, one.options[path[:count]], 1)
        if len(self._loose):
            tasks = self.arrays.task[self._loose]
            order = np.lexsort((price[self._loose], tasks))
            _, first = np.unique(tasks[order], return_index=True)
            chosen = self._loose[order[first]]
            total += float(price[chosen].sum())
            used[chosen] += 1
        return total, used

    def _label(self, one: _Line, price: Floats, *, backward: bool) -> tuple[Any, ...]:
        at, other, cost = one.links[3:6] if backward else one.links[:3]
        twin = one.twin_after if backward else one.twin_before
        labels: tuple[Any, ...] = kernels().label(
            *(backward, one.task, price[one.options], one.near, one.bit),
            *(at, other, cost, one.links[6], twin),
        )
        return labels

    def _missed(self, used: Floats, price: Floats) -> tuple[Floats, Floats]:
        """Return how far each task is from once, and each moment from one place."""
        tasks = 1.0 - np.bincount(
            self.arrays.task, used, minlength=len(self.problem.tasks)
        )
        tasks[~self._covered] = 0.0
        taken = np.zeros((self._shape[0], self._shape[1] + 1))
        times = used[self._of]
        np.add.at(taken, (self._resource, self._from), times)
        np.add.at(taken, (self._resource, self._to), -times)
        moments = np.cumsum(taken, axis=1)[:, :-1] - 1.0
        moments[(price <= 0.0) & (moments < 0.0)] = 0.0
        return np.asarray(tasks, np.float64), np.asarray(moments, np.float64)

    def kept(self, best_s: int) -> Kept:
        """Return what a day cheaper than `best_s` can hold, by the best prices."""
        self.task_price, self.moment_price = self._best
        price = self.prices()
        value, _ = self._cheapest(price)
        room = best_s - 1 - value + 1e-6
        above = np.zeros(len(price))
        arcs: dict[Arc, float] = {}
        for one in self._lines:
            above[one.options] = self._above(one, price, arcs)
        if len(self._loose):
            tasks = self.arrays.task[self._loose]
            least_of = np.full(len(self.problem.tasks), np.inf)
            np.minimum.at(least_of, tasks, price[self._loose])
            above[self._loose] = price[self._loose] - least_of[tasks]
        known = self.problem.arc_s
        near = {arc: s for arc, s in arcs.items() if s <= room and arc in known}
        # Only an arena's first line counts clearings: on its others, any arc may be.
        clears = {n for n, task in enumerate(self.problem.tasks) if task.clears}
        arenas = self.problem.line_arena
        free = {
            arc
            for arc in known
            if arenas.index(arenas[arc[0]]) != arc[0]
            and (arc[1] in clears or arc[2] in clears)
        }
        return Kept(
            options=above <= room,
            arcs=frozenset(set(near) | free),
            option_s=np.maximum(0, np.minimum(above, room)).astype(np.int64),
            arc_s={a: int(s) for a, s in near.items() if s >= 1 and a not in free},
            room_s=max(0, int(room)),
        )

    def _above(self, one: _Line, price: Floats, arcs: dict[Arc, float]) -> Floats:
        """Return what each node of a line costs above its least; note the arcs."""
        forth = self._label(one, price, backward=False)
        back = self._label(one, price, backward=True)
        path = np.empty(len(one.task) + 1, np.int64)
        least, _ = kernels().cheapest(forth[0], forth[2], forth[3], path)
        at, before, cost = one.links[:3]
        by_node, by_link, first = kernels().through(
            *(one.task, price[one.options], one.bit, at, before, cost),
            *(one.links[6], forth, back),
        )
        tasks = one.task.tolist()
        steps = [(MORNING, n) for n in tasks]
        after = np.repeat(np.arange(len(tasks)), np.diff(at)).tolist()
        used = before[: len(after)].tolist()
        steps += [(tasks[x], tasks[y]) for x, y in zip(used, after, strict=True)]
        seconds = np.concatenate([first, by_link[: len(after)]]) - least
        for (b, n), above in zip(steps, seconds.tolist(), strict=True):
            arc = (one.line, b, n)
            arcs[arc] = min(arcs.get(arc, above), above)
        return np.asarray(by_node - least, np.float64)


def _by_way_of(seconds: Ints, tasks: Ints) -> Ints:
    """Return the least seconds from task to task, some others passed or not."""
    least = seconds.copy()
    for n in tasks.tolist():
        least = np.minimum(least, least[:, n][:, None] + least[n + 1][None, :])
    return least


def _span(begins: int, ends: int) -> tuple[int, int]:
    """Return the priced moments from one minute up to another."""
    return -(-begins // _STEP_MIN), -(-ends // _STEP_MIN)
