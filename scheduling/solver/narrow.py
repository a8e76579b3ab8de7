"""Narrows the day's model to what a day near the bound can hold.

Prices bound every line by itself. What a day costs above the bound is what its lines
cost above their own cheapest, so each line's excess is a number of its own: at least
that of each option and arc it takes. All of them together have little room, and an
option that takes most of it leaves next to nothing to every other line.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from ortools.sat.python import cp_model

from scheduling.solver.problem import Arc
from scheduling.solver.variables import Model

Option = tuple[int, int, int, int]
"""(task, arena, line, start); the line is -1 for a task without a row."""

Options = Collection[Option]


@dataclass(frozen=True, slots=True)
class Excess:
    """What options and arcs cost above the bound, whatever else is taken.

    Parameters
    ----------
    options, arcs
        Seconds above the least of their line, or of their task if it has no line.
    room_s
        How far above the bound a day may be [s].
    """

    options: Mapping[Option, int]
    arcs: Mapping[Arc, int]
    room_s: int


def keep_to(model: Model, options: Options) -> dict[Option, cp_model.IntVar]:
    """Let each task be only where and when it is said to be worth it."""
    cp = model.cp
    by_task: dict[int, list[Option]] = defaultdict(list)
    for one in sorted(options):
        by_task[one[0]].append(one)
    taken: dict[Option, cp_model.IntVar] = {}
    for n, places in enumerate(model.in_arena):
        own = {one: cp.new_bool_var(f"o{one}") for one in by_task[n]}
        taken |= own
        cp.add_exactly_one(own.values())
        cp.add(model.start[n] == sum(one[3] * its for one, its in own.items()))
        for arena, here in places.items():
            cp.add(here == sum(its for one, its in own.items() if one[1] == arena))
        if model.problem.tasks[n].has_row:
            for line in model.problem.tasks[n].lines:
                its = [its for one, its in own.items() if one[2] == line]
                cp.add(model.on_line[n, line] == sum(its))
    return taken


def add_excess(
    model: Model, excess: Excess, taken: Mapping[Option, cp_model.IntVar]
) -> None:
    """Keep the excess of all lines together within its room."""
    cp, problem = model.cp, model.problem
    lines = [
        cp.new_int_var(0, excess.room_s, f"e{line}")
        for line in range(len(problem.line_arena))
    ]
    total: list[cp_model.LinearExprT] = [*lines, *model.extra]
    for one, seconds in excess.options.items():
        n, arena, line, _ = one
        if problem.tasks[n].clears and not problem.tasks[n].has_row:
            # A clearing is counted on the first line of its arena.
            line = problem.line_arena.index(arena)
        if line < 0:
            total.append(seconds * taken[one])
        elif seconds:
            cp.add(lines[line] >= seconds).only_enforce_if(taken[one])
    for arc, seconds in excess.arcs.items():
        cp.add(lines[arc[0]] >= seconds).only_enforce_if(model.arc[arc])
    cp.add(sum(total) <= excess.room_s)
