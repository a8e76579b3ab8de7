"""What the engine answers."""

from dataclasses import dataclass
from enum import StrEnum

from scheduling.solver.problem import Arc


class Status(StrEnum):
    """How far the engine came."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"
    INFEASIBLE = "infeasible"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Reset:
    """A reset as timed: an arc, or a strip (`after` is then who it makes way for)."""

    line: int
    before: int
    after: int
    start: int
    minutes: int
    seconds: int
    strip: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """An order of the day.

    Parameters
    ----------
    status
        `optimal` is proved for the problem and cuts as given.
    objective_s, bound_s
        Cost found, and a proved lower bound [s].
    starts, arenas
        By task.
    chains
        For each line the arcs in order.
    stripped
        For each line, after which arcs' `before` a strip was put.
    resets
        Timed.
    """

    status: Status
    objective_s: int = 0
    bound_s: int = 0
    starts: tuple[int, ...] = ()
    arenas: tuple[int, ...] = ()
    chains: tuple[tuple[Arc, ...], ...] = ()
    stripped: frozenset[tuple[int, int]] = frozenset()
    resets: tuple[Reset, ...] = ()
