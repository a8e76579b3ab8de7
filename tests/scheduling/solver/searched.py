"""What tests of the search have in common."""

from itertools import count
from types import ModuleType

import pytest

from scheduling.solver.problem import Guess, Problem
from scheduling.solver.result import Status
from scheduling.solver.solve import solve
from tests.scheduling.solver.problems import random_problem


def as_python(monkeypatch: pytest.MonkeyPatch, *modules: ModuleType) -> None:
    """Let compiled functions run as they are written."""
    for module in modules:
        for name, one in vars(module).copy().items():
            if hasattr(one, "py_func"):
                monkeypatch.setattr(module, name, one.py_func)


def possible_problem(tasks: int = 6) -> Problem:
    """Return the first problem at random that can be kept."""
    return next(
        problem
        for seed in count(1)
        if solve(problem := random_problem(seed, tasks), seconds=120).status
        is Status.OPTIMAL
    )


def the_best(problem: Problem) -> Guess:
    best = solve(problem, seconds=120)
    lines: list[int | None] = [None] * len(problem.tasks)
    for chain in best.chains:
        for line, _, after in chain:
            lines[after] = line if problem.tasks[after].has_row else None
    return Guess(best.starts, best.arenas, tuple(lines))
