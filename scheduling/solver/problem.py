"""The problem of ordering a day, in numbers only.

Tasks are lessons; lines belong to arenas; an arc (line, before, after) is the
reset that makes what `after` needs of what `before` left on that line. Times
are minutes of the day, costs whole seconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

MORNING = -1
"""Stands for what is on a line before the first task that uses it."""

Arc = tuple[int, int, int]
"""(line, task before or MORNING, task after)."""


class InvalidProblem(ValueError):
    """A problem whose numbers do not belong together."""


@dataclass(frozen=True, slots=True)
class Task:
    """A lesson.

    Parameters
    ----------
    starts
        Starts it may have, ascending [min].
    minutes
        How long it holds its arena [min].
    arenas
        Arenas it may be in.
    lines
        Lines its row fits; empty for a task without a row.
    clears
        Nothing may stand in its arena when it starts.
    warm_up, cool_down
        How far a reset may run into its beginning, or begin before its end [min].
    booked
        Start and arena it was booked at, or None.
    """

    starts: tuple[int, ...]
    minutes: int
    arenas: tuple[int, ...]
    lines: tuple[int, ...] = ()
    has_row: bool = False
    clears: bool = False
    warm_up: int = 0
    cool_down: int = 0
    booked: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Apart:
    """Tasks that share a person or horse: never at once, `rest` between [min]."""

    tasks: tuple[int, ...]
    rest: int = 0


@dataclass(frozen=True, slots=True)
class Stock:
    """One kind of piece that may run short.

    Parameters
    ----------
    owned
        Pieces there are.
    by_task
        Pieces a task's row holds from the moment it is built.
    by_line
        Pieces that stand on each line in the morning.
    """

    owned: int
    by_task: Mapping[int, int]
    by_line: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the engine needs.

    Parameters
    ----------
    tasks, line_arena
        Lessons, and the arena of each line.
    arc_s
        Least seconds of each reset; an arc that is not there is not allowed.
        For a task that clears: seconds to strip. After one: from nothing.
    strip_s, build_s
        Seconds to strip what (line, task or MORNING) left, and to build a
        task's row on a line from nothing; used where stock may run short.
    apart
        Tasks that may not overlap.
    stocks
        Kinds of pieces that may run short.
    crew, crew_from, crew_to
        Resets at once, and the crew's hours [min].
    moved_start_s, moved_arena_s
        What moving a booked task weighs [s].
    """

    tasks: tuple[Task, ...]
    line_arena: tuple[int, ...]
    arc_s: Mapping[Arc, int]
    strip_s: Mapping[tuple[int, int], int] = field(default_factory=dict)
    build_s: Mapping[tuple[int, int], int] = field(default_factory=dict)
    apart: tuple[Apart, ...] = ()
    stocks: tuple[Stock, ...] = ()
    crew: int = 1
    crew_from: int = 0
    crew_to: int = 24 * 60
    moved_start_s: int = 0
    moved_arena_s: int = 0

    def __post_init__(self) -> None:
        for n, task in enumerate(self.tasks):
            if list(task.starts) != sorted(set(task.starts)):
                raise InvalidProblem(f"task {n}: starts must ascend")
            if task.minutes <= 0:
                raise InvalidProblem(f"task {n}: must last a minute at least")
            if task.warm_up + task.cool_down > task.minutes:
                raise InvalidProblem(f"task {n}: warm-up and cool-down exceed it")
        for line, before, after in self.arc_s:
            known = range(MORNING, len(self.tasks))
            if line not in range(len(self.line_arena)) or before not in known:
                raise InvalidProblem("an arc names a line or task that is not there")
            if after not in range(len(self.tasks)) or after == before:
                raise InvalidProblem("an arc leads to a task that is not there")
        if any(seconds < 0 for seconds in self.arc_s.values()):
            raise InvalidProblem("a reset can't take less than no time")


@dataclass(frozen=True, slots=True)
class Cut:
    """A chain of arcs on one line that together cost more than their sum.

    `extra_s` is what the chain costs above the sum of its arcs, wherever it
    stands; found by placing its rows exactly.
    """

    arcs: tuple[Arc, ...]
    extra_s: int


@dataclass(frozen=True, slots=True)
class Guess:
    """An order to begin a search at; it need not keep any rule.

    Starts [min], arenas and lines by task; a line is None where no row stands.
    """

    starts: tuple[int, ...]
    arenas: tuple[int, ...]
    lines: tuple[int | None, ...]


def minutes_of(seconds: int) -> int:
    """Round seconds up to whole minutes."""
    return -(-seconds // 60)
