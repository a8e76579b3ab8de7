"""Anneals a day: good days soon, of which nothing is believed but that they are clean.

Several annealings from seeds of their own find better days than one as long as all.
"""

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import reduce
from threading import Thread, Timer
from types import ModuleType
from typing import Self

import numpy as np

from scheduling.solver.arrays import Arrays, Ints
from scheduling.solver.narrow import Option
from scheduling.solver.problem import Guess, Problem

_MOVES, _FEW_MOVES = 400, 120
"""Moves of annealing for each option; on days annealed once, stages find the rest."""

_HEATS = ((1.0, 300.0, 20.0), (0.2, 20.0, 2.0))
"""Share of the moves, and temperatures from and to [s]: at last, from the best day
met, only what moving a lesson weighs is still at stake."""

AGAIN_FROM = 500
"""Options from which on a day is annealed again: days of fewer are hit at once."""

_LOOK_S = 0.05
"""Seconds between two looks at whether the time is over."""

LEAST_S = 0.2
"""No part of a search is given less time than this [s]."""


def kernels() -> ModuleType:
    """Return the compiled functions; they are slow to import, so not before use."""
    from scheduling.solver import anneal_kernels as module  # noqa: PLC0415

    return module


@contextmanager
def halted_after(seconds: float) -> Iterator[Ints]:
    """Give a number that is set after some seconds: a day too large ends early."""
    halt = np.zeros(1, np.int64)
    timer = Timer(max(seconds, LEAST_S), halt.fill, (1,))
    timer.daemon = True
    timer.start()
    try:
        yield halt
    finally:
        timer.cancel()


def annealed(
    arrays: Arrays,
    problem: Problem,
    guess: Guess | None,
    seed: int,
    *,
    halt: Ints | None = None,
) -> tuple[Ints, int]:
    """Return a good choice of options, and its cost; below 0 if it is not clean.

    Parameters
    ----------
    arrays, problem, guess, seed
        The day, where to begin, and the seed of the dice.
    halt
        Ends early once its one number is set, from another thread.
    """
    chosen = np.array(
        [_nearest(arrays, problem, guess, n) for n in range(len(problem.tasks))],
        dtype=np.int64,
    )
    parts = (
        *(arrays.arena, arrays.line, arrays.start, arrays.minutes, arrays.warm_up),
        *(arrays.cool_down, arrays.clears, arrays.seconds, arrays.rest),
        *(arrays.line_arena, arrays.crew),
    )
    halt = np.zeros(1, np.int64) if halt is None else halt
    options = len(arrays.task)
    each = _MOVES if options >= AGAIN_FROM else min(_MOVES, _FEW_MOVES)
    moves = each * options
    cost = -1
    for share, hot, cold in _HEATS:
        cost = kernels().anneal(
            *(chosen, arrays.first, arrays.cost, int(moves * share), hot, cold),
            *(seed, parts, halt),
        )
    return chosen, int(cost)


def cheaper(one: tuple[Ints, int], other: tuple[Ints, int]) -> tuple[Ints, int]:
    """Return the cheaper of two choices; one that is not clean (below 0) is dear."""
    return other if 0 <= other[1] < one[1] or one[1] < 0 <= other[1] else one


class Annealings:
    """Further annealings in a thread of their own; the compiled code shares cores.

    Parameters
    ----------
    arrays, problem, guess, seed
        As of the first.
    times
        How many, each with its own seed.
    """

    def __init__(
        self,
        arrays: Arrays,
        problem: Problem,
        guess: Guess | None,
        seed: int,
        times: int,
    ) -> None:
        self._day = (arrays, problem, guess)
        self._seeds = deque(range(seed + 1, seed + 1 + times))
        self._halt = np.zeros(1, np.int64)
        self._found: dict[int, tuple[Ints, int]] = {}
        self._thread = Thread(target=self._anneal, name="anneal", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._halt[0] = 1
        self._thread.join()

    def _anneal(self) -> None:
        while self._seeds and not self._halt[0]:
            try:
                seed = self._seeds.popleft()
            except IndexError:  # pragma: no cover - the other took the last one
                return
            self._found[seed] = annealed(*self._day, seed, halt=self._halt)

    def best(self, over: Callable[[], bool]) -> tuple[Ints, int]:
        """Anneal with the thread, and return the best of all seeds.

        Once the time is over, the best of those there are.
        """
        second = Thread(target=self._anneal, name="anneal-too", daemon=True)
        second.start()
        for one in (second, self._thread):
            while one.is_alive() and not over():
                one.join(_LOOK_S)
        self._halt[0] = 1
        second.join()
        self._thread.join()
        # In the order of their seeds: the same seed gives the same day.
        nothing: tuple[Ints, int] = (np.zeros(0, np.int64), -1)
        return reduce(cheaper, (self._found[n] for n in sorted(self._found)), nothing)


def _nearest(arrays: Arrays, problem: Problem, guess: Guess | None, n: int) -> int:
    """Return the option of a task nearest to a guess, or to what was booked."""
    task = problem.tasks[n]
    arena, line, start = -1, -1, task.starts[0]
    if guess is not None:
        arena, start = guess.arenas[n], guess.starts[n]
        line = -1 if guess.lines[n] is None else int(guess.lines[n] or 0)
    elif task.booked is not None:
        start, arena = task.booked
    options = range(int(arrays.first[n]), int(arrays.first[n + 1]))
    return min(
        options,
        key=lambda k: (
            arrays.arena[k] != arena,
            abs(int(arrays.start[k]) - start),
            arrays.line[k] != line,
        ),
    )


def options_of(arrays: Arrays, chosen: Ints | slice) -> list[Option]:
    """Return (task, arena, line, start) of some options."""
    columns = (arrays.task, arrays.arena, arrays.line, arrays.start)
    return list(zip(*(one[chosen].tolist() for one in columns), strict=True))


def guess_of(arrays: Arrays, chosen: Ints) -> Guess:
    """Return the options chosen, one a task, as an order to begin at."""
    lines = arrays.line[chosen].tolist()
    return Guess(
        tuple(arrays.start[chosen].tolist()),
        tuple(arrays.arena[chosen].tolist()),
        tuple(None if one < 0 else one for one in lines),
    )
