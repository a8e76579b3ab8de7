"""A problem as arrays, for the compiled search and bound."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.problem import Problem

Ints = NDArray[np.int64]

BARRED_S = 1_000_000
"""Seconds of a reset that may not be: more than any day of resets."""


@dataclass(frozen=True, slots=True)
class Arrays:
    """A problem as arrays.

    An option is a task in one arena, on one line (or none) at one start. Options of
    one task stand together, those of task n from `first[n]` to `first[n + 1]`.

    Parameters
    ----------
    task, arena, line, start, cost
        By option; the line is -1 without a row [min, s].
    first
        By task, and one more.
    minutes, warm_up, cool_down, clears
        By task; a task that clears has no warm-up a reset could use.
    seconds
        By line, task before (0 for the morning, else task + 1) and task after [s].
    rest
        By two tasks: minutes between them if they share a horse or person, else -1.
    line_arena
        Arena of each line.
    crew
        (resets at once, from, to) [min].
    """

    task: Ints
    arena: Ints
    line: Ints
    start: Ints
    cost: Ints
    first: Ints
    minutes: Ints
    warm_up: Ints
    cool_down: Ints
    clears: Ints
    seconds: Ints
    rest: Ints
    line_arena: Ints
    crew: Ints


def arrays_of(problem: Problem) -> Arrays:
    """Turn a problem into arrays."""
    tasks, size = problem.tasks, len(problem.tasks)
    options: list[tuple[int, int, int, int, int]] = []
    first = [0]
    for n in range(size):
        options += _options(problem, n)
        first.append(len(options))
    seconds = np.full((len(problem.line_arena), size + 1, size), BARRED_S, np.int64)
    for (k, before, after), direct in problem.arc_s.items():
        strip = problem.strip_s.get((k, before))
        if strip is not None:
            # Stripped first and built from nothing, it may cost no less than this.
            direct = min(direct, strip + problem.build_s.get((k, after), 0))
        seconds[k, before + 1, after] = direct
    rest = np.full((size, size), -1, np.int64)
    for group in problem.apart:
        for a in group.tasks:
            for b in group.tasks:
                if a != b:
                    rest[a, b] = max(rest[a, b], group.rest)
    task, arena, line, start, cost = np.array(options, np.int64).reshape(-1, 5).T.copy()
    return Arrays(
        task=task,
        arena=arena,
        line=line,
        start=start,
        cost=cost,
        first=np.array(first, np.int64),
        minutes=np.array([one.minutes for one in tasks], np.int64),
        warm_up=np.array([0 if t.clears else t.warm_up for t in tasks], np.int64),
        cool_down=np.array([one.cool_down for one in tasks], np.int64),
        clears=np.array([one.clears and not one.has_row for one in tasks], np.int64),
        seconds=seconds,
        rest=rest,
        line_arena=np.array(problem.line_arena, np.int64),
        crew=np.array(
            [problem.crew, problem.crew_from, problem.crew_to], dtype=np.int64
        ),
    )


def _options(problem: Problem, n: int) -> list[tuple[int, int, int, int, int]]:
    """Return (task, arena, line, start, cost) of each option of a task."""
    task = problem.tasks[n]
    where = [(arena, -1) for arena in task.arenas]
    if task.has_row:
        where = [
            (problem.line_arena[line], line)
            for line in task.lines
            if problem.line_arena[line] in task.arenas
        ]
    found = []
    for arena, line in where:
        for start in task.starts:
            cost = 0
            if task.booked is not None:
                cost += problem.moved_start_s * (start != task.booked[0])
                cost += problem.moved_arena_s * (arena != task.booked[1])
            found.append((n, arena, line, start, cost))
    return found
