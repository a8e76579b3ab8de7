"""Keeps the pieces that stand on all lines within what the school owns."""

from ortools.sat.python import cp_model

from scheduling.solver.problem import MORNING
from scheduling.solver.variables import Model, Timed, strip_timed

Ready = dict[tuple[int, int], Timed]
"""The reset that builds for a task on a line."""


def add_stock(model: Model, number: int) -> None:
    """Keep one kind of piece within what is owned, at every moment.

    A row holds its pieces from the start of its reset to the start of the reset
    that takes it away; while that reset runs, what it does not reuse counts on.
    """
    stock = model.problem.stocks[number]
    ready = {(one.line, one.task): one for one in model.resets if one.strip_of is None}
    intervals: list[cp_model.IntervalVar] = []
    demands: list[int] = []
    for line in range(len(model.problem.line_arena)):
        nodes = [n for (n, where) in model.on_line if where == line]
        for before in (MORNING, *nodes):
            held = (
                stock.by_line.get(line, 0)
                if before == MORNING
                else stock.by_task.get(before, 0)
            )
            if not held:
                continue
            intervals.append(_holding(model, line, before, ready))
            demands.append(held)
            for arc in model.arc:
                more = held - stock.by_task.get(arc[2], 0)
                if arc[:2] == (line, before) and (line, arc[2]) in ready and more > 0:
                    intervals.append(_while_taken_away(model, arc, ready))
                    demands.append(more)
    model.cp.add_cumulative(intervals, demands, stock.owned)


def _holding(
    model: Model, line: int, before: int, ready: Ready
) -> cp_model.IntervalVar:
    """Return the time in which what `before` built holds its pieces."""
    cp = model.cp
    start = cp.new_int_var(0, model.horizon, f"h{line}_{before}")
    end = cp.new_int_var(0, model.horizon, f"g{line}_{before}")
    size = cp.new_int_var(0, model.horizon, f"k{line}_{before}")
    _until_taken_away(model, line, before, end, ready)
    if before == MORNING:
        cp.add(start == 0)
        return cp.new_interval_var(start, size, end, f"q{line}_{before}")
    reset = ready.get((line, before))
    cp.add(start <= model.start[before])
    if reset is None:
        cp.add(start == model.start[before])
    else:
        # Also where nothing is to be done: one holding ends as the next begins.
        cp.add(start == reset.start)
    here = model.on_line[before, line]
    return cp.new_optional_interval_var(start, size, end, here, f"q{line}_{before}")


def _while_taken_away(
    model: Model, arc: tuple[int, int, int], ready: Ready
) -> cp_model.IntervalVar:
    """Return the time in which a reset still holds what it does not reuse."""
    cp, one = model.cp, ready[arc[0], arc[2]]
    during = cp.new_bool_var(f"x{arc}")
    direct = [model.arc[arc], one.present]
    parted = model.arc_after_strip.get(arc)
    others = [~literal for literal in direct]
    cp.add_bool_or(during, *others, *([parted] if parted is not None else []))
    return cp.new_optional_interval_var(
        one.start, one.minutes, one.end, during, f"y{arc}"
    )


def _until_taken_away(
    model: Model, line: int, before: int, end: cp_model.IntVar, ready: Ready
) -> None:
    """Tie the end of a holding to the strip or reset that takes it away."""
    cp = model.cp
    strip = strip_timed(model, line, before)
    gone = []
    if strip is not None:
        cp.add(end == strip.end).only_enforce_if(strip.present)
        gone.append(strip.present)
    for arc, taken in model.arc.items():
        if arc[:2] != (line, before):
            continue
        gone.append(taken)
        conditions: list[cp_model.LiteralT] = [taken]
        if strip is not None:
            conditions.append(~strip.present)
        reset = ready.get((line, arc[2]))
        at = model.start[arc[2]] if reset is None else reset.start
        cp.add(end == at).only_enforce_if(*conditions)
    staying = cp.new_bool_var(f"stay{line}_{before}")
    cp.add_bool_or(staying, *gone)
    cp.add(end == model.horizon).only_enforce_if(staying)
    for one in gone:
        cp.add_implication(staying, ~one)
