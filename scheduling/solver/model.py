"""The day as a CP-SAT model: a circuit for each line, resets as intervals.

Every task that stands on a line (a row, or a clearing) is a node of that line's
circuit; the arc into it is the reset before it. With stock that may run short,
what a task left may also be stripped in a reset of its own.
"""

from collections import defaultdict

from ortools.sat.python import cp_model

from scheduling.solver.narrow import Excess, Options, add_excess, keep_to
from scheduling.solver.problem import MORNING, Arc, Cut, Problem, Task, minutes_of
from scheduling.solver.stock import add_stock
from scheduling.solver.variables import Model, Timed, strip_timed

Into = dict[tuple[int, int], dict[Arc, cp_model.IntVar]]
"""The arcs into each task on each line."""


def build_model(
    problem: Problem,
    cuts: tuple[Cut, ...] = (),
    fixed: tuple[Arc, ...] | None = None,
    options: Options | None = None,
    excess: Excess | None = None,
) -> Model:
    """Build the model of a problem, with chains that cost more than their sum.

    Parameters
    ----------
    problem
        Every task must have a start and an arena.
    cuts
        Chains found to cost more than the sum of their arcs.
    fixed
        If given, exactly these arcs are taken.
    options
        If given, no task is anywhere else.
    excess
        If given, what each option and arc costs above a bound, and the room there is.
    """
    model = Model(problem)
    for number, task in enumerate(problem.tasks):
        _add_task(model, number, task)
    taken = {} if options is None else keep_to(model, options)
    _add_apart(model)
    for line in range(len(problem.line_arena)):
        _add_circuit(model, line)
    into: Into = defaultdict(dict)
    for (line, before, after), literal in model.arc.items():
        into[line, after][line, before, after] = literal
    for number in range(len(problem.tasks)):
        _add_resets(model, number, into)
    _add_arena_rules(model)
    _add_crew(model)
    for stock in range(len(problem.stocks)):
        add_stock(model, stock)
    _add_cuts(model, cuts)
    if excess is not None:
        add_excess(model, excess, taken)
    if fixed is not None:
        for arc, literal in model.arc.items():
            model.cp.add(literal == int(arc in fixed))
    model.cp.minimize(sum(model.cost))
    return model


def _add_task(model: Model, number: int, task: Task) -> None:
    cp, problem = model.cp, model.problem
    start = cp.new_int_var_from_domain(
        cp_model.Domain.from_values(list(task.starts)), f"s{number}"
    )
    model.start.append(start)
    places = {arena: cp.new_bool_var(f"a{number}_{arena}") for arena in task.arenas}
    model.in_arena.append(places)
    cp.add_exactly_one(places.values())
    if task.has_row:
        lines = {line: cp.new_bool_var(f"l{number}_{line}") for line in task.lines}
        cp.add_exactly_one(lines.values())
        for line, chosen in lines.items():
            model.on_line[number, line] = chosen
            arena = problem.line_arena[line]
            if arena in places:
                cp.add_implication(chosen, places[arena])
            else:
                cp.add(chosen == 0)
    elif task.clears:
        for line, arena in enumerate(problem.line_arena):
            if arena in places:
                model.on_line[number, line] = places[arena]
    if task.booked is not None:
        at, arena = task.booked
        if at not in task.starts:
            model.cost.append(problem.moved_start_s)
        elif len(task.starts) > 1:
            moved = cp.new_bool_var(f"m{number}")
            cp.add(start == at).only_enforce_if(~moved)
            model.cost.append(problem.moved_start_s * moved)
        here = places.get(arena)
        away = 1 if here is None else 1 - here
        model.cost.append(problem.moved_arena_s * away)


def _add_apart(model: Model) -> None:
    cp, tasks = model.cp, model.problem.tasks
    for group in model.problem.apart:
        cp.add_no_overlap(
            cp.new_fixed_size_interval_var(
                model.start[n], tasks[n].minutes + group.rest, f"p{n}"
            )
            for n in group.tasks
        )


def _add_circuit(model: Model, line: int) -> None:
    """Put the tasks of a line in a circuit that starts at the morning (node 0)."""
    cp, problem = model.cp, model.problem
    nodes = [n for (n, where) in model.on_line if where == line]
    literals: list[tuple[int, int, cp_model.LiteralT]] = []
    index = {n: k for k, n in enumerate(nodes, start=1)}
    unused = cp.new_bool_var(f"unused{line}")
    literals.append((0, 0, unused))
    for n in nodes:
        literals.append((index[n], index[n], ~model.on_line[n, line]))
        cp.add_implication(unused, ~model.on_line[n, line])
        last = cp.new_bool_var(f"last{line}_{n}")
        model.last[line, n] = last
        literals.append((index[n], 0, last))
    for (where, before, after), seconds in problem.arc_s.items():
        stands = before == MORNING or before in index
        if where != line or after not in index or not stands:
            continue
        taken = cp.new_bool_var(f"z{line}_{before}_{after}")
        model.arc[line, before, after] = taken
        literals.append((index.get(before, 0), index[after], taken))
        if before != MORNING:
            cp.add(
                model.start[after]
                >= model.start[before] + problem.tasks[before].minutes
            ).only_enforce_if(taken)
        _split(model, (line, before, after), seconds)
    if nodes:
        cp.add_circuit(literals)
    for before in (MORNING, *nodes):
        _add_strip(model, line, before)


def _split(model: Model, arc: Arc, seconds: int) -> None:
    """Let an arc be taken directly, or by a strip first and a build after."""
    cp, problem = model.cp, model.problem
    line, before, after = arc
    if (line, before) not in problem.strip_s:
        model.cost.append(seconds * model.arc[arc])
        return
    stripped = cp.new_bool_var(f"zs{line}_{before}_{after}")
    model.arc_after_strip[arc] = stripped
    cp.add_implication(stripped, model.arc[arc])
    build = problem.build_s.get((line, after), 0)
    model.cost.append(seconds * model.arc[arc] + (build - seconds) * stripped)


def _add_strip(model: Model, line: int, before: int) -> None:
    """Add the reset that only strips what `before` left on the line."""
    cp, problem = model.cp, model.problem
    seconds = problem.strip_s.get((line, before))
    if seconds is None:
        return
    present = cp.new_bool_var(f"strip{line}_{before}")
    model.strip[line, before] = present
    model.cost.append(seconds * present)
    if before != MORNING:
        cp.add_implication(present, model.on_line[before, line])
    for arc, stripped in model.arc_after_strip.items():
        if arc[:2] == (line, before):
            # After a strip the next row is built from nothing, and only then.
            cp.add_implication(stripped, present)
            cp.add_bool_or(~present, ~model.arc[arc], stripped)
    start = cp.new_int_var(problem.crew_from, problem.crew_to, f"rs{line}_{before}")
    size = cp.new_constant(minutes_of(seconds))
    end = cp.new_int_var(0, model.horizon, f"re{line}_{before}")
    cp.add(end == start + size)
    cp.add(end <= problem.crew_to).only_enforce_if(present)
    if before != MORNING:
        one = problem.tasks[before]
        cp.add(
            start >= model.start[before] + one.minutes - one.cool_down
        ).only_enforce_if(present)
    model.resets.append(Timed(line, MORNING, start, size, end, present, before))


def _add_resets(model: Model, number: int, arcs: Into) -> None:
    """Add the timed reset for a task, on each line it may stand on."""
    cp, problem = model.cp, model.problem
    task = problem.tasks[number]
    for line in [where for (n, where) in model.on_line if n == number]:
        into = arcs[line, number]
        longest = max(
            [minutes_of(problem.arc_s[arc]) for arc in into]
            + [minutes_of(problem.build_s.get((line, number), 0))]
        )
        if longest == 0:
            continue
        size = cp.new_int_var(0, longest, f"d{line}_{number}")
        total: list[cp_model.LinearExprT] = []
        for arc, taken in into.items():
            direct = minutes_of(problem.arc_s[arc])
            total.append(direct * taken)
            if arc in model.arc_after_strip:
                build = minutes_of(problem.build_s.get((line, number), 0))
                total.append((build - direct) * model.arc_after_strip[arc])
        cp.add(size == sum(total))
        present = cp.new_bool_var(f"r{line}_{number}")
        cp.add(size >= 1).only_enforce_if(present)
        cp.add(size == 0).only_enforce_if(~present)
        start = cp.new_int_var(0, model.horizon, f"rs{line}_{number}")
        end = cp.new_int_var(0, model.horizon, f"re{line}_{number}")
        cp.add(end == start + size)
        cp.add(start >= problem.crew_from).only_enforce_if(present)
        cp.add(end <= problem.crew_to).only_enforce_if(present)
        # A clear arena is clear when the lesson starts; a row may be finished
        # in the warm-up.
        late = 0 if task.clears else task.warm_up
        cp.add(end <= model.start[number] + late).only_enforce_if(present)
        for arc, taken in into.items():
            before = arc[1]
            if before != MORNING:
                one = problem.tasks[before]
                cp.add(
                    start >= model.start[before] + one.minutes - one.cool_down
                ).only_enforce_if(taken, present)
            strip = strip_timed(model, line, before)
            if strip is not None and arc in model.arc_after_strip:
                cp.add(start >= strip.end).only_enforce_if(model.arc_after_strip[arc])
        model.resets.append(Timed(line, number, start, size, end, present))


def _add_arena_rules(model: Model) -> None:
    """No two lessons in an arena at once, and no reset while it is ridden."""
    cp, problem = model.cp, model.problem
    lessons: dict[int, list[cp_model.IntervalVar]] = defaultdict(list)
    for n, task in enumerate(problem.tasks):
        for arena, here in model.in_arena[n].items():
            lessons[arena].append(
                cp.new_optional_fixed_size_interval_var(
                    model.start[n], task.minutes, here, f"i{n}_{arena}"
                )
            )
    for intervals in lessons.values():
        cp.add_no_overlap(intervals)
    by_line: dict[int, list[Timed]] = defaultdict(list)
    for reset in model.resets:
        by_line[reset.line].append(reset)
        if reset.strip_of is not None:
            _before_next(model, reset)
    for line, resets in by_line.items():
        # Resets of one line are one after the other by the line's order.
        cp.add_no_overlap([*_ridden_past(model, line), *_working(model, resets)])


def _ridden_past(model: Model, line: int) -> list[cp_model.IntervalVar]:
    """Return when an arena is ridden by lessons that do not stand on one of its lines.

    Whoever is on the line is before or after its resets by the line's order.
    """
    cp, problem = model.cp, model.problem
    arena, found = problem.line_arena[line], []
    for n, task in enumerate(problem.tasks):
        here, on = model.in_arena[n].get(arena), model.on_line.get((n, line))
        if here is None or (on is not None and on.index == here.index):
            continue
        past = here
        if on is not None:
            past = cp.new_bool_var(f"past{line}_{n}")
            cp.add_bool_or(past, ~here, on)
            cp.add_implication(past, here)
            cp.add_implication(past, ~on)
        found.append(
            cp.new_optional_fixed_size_interval_var(
                model.start[n], task.minutes - task.cool_down, past, f"w{line}_{n}"
            )
        )
    return found


def _working(model: Model, resets: list[Timed]) -> list[cp_model.IntervalVar]:
    return [
        model.cp.new_optional_interval_var(
            one.start, one.minutes, one.end, one.present, f"b{one.line}_{n}"
        )
        for n, one in enumerate(resets)
    ]


def _before_next(model: Model, reset: Timed) -> None:
    """End a strip before whatever stands next on the line is needed."""
    for arc, taken in model.arc.items():
        if arc[:2] == (reset.line, reset.strip_of):
            model.cp.add(reset.end <= model.start[arc[2]]).only_enforce_if(
                taken, reset.present
            )


def _add_crew(model: Model) -> None:
    intervals = _working(model, model.resets)
    model.cp.add_cumulative(intervals, [1] * len(intervals), model.problem.crew)


def _add_cuts(model: Model, cuts: tuple[Cut, ...]) -> None:
    """Let each line cost what its dearest chain costs above the sum of its arcs.

    The extras of chains that overlap may be paid once for both, so they are not
    added up.
    """
    cp = model.cp
    by_line: dict[int, list[Cut]] = defaultdict(list)
    for cut in cuts:
        if all(arc in model.arc for arc in cut.arcs):
            by_line[cut.arcs[0][0]].append(cut)
    for line, its in by_line.items():
        extra = cp.new_int_var(0, max(cut.extra_s for cut in its), f"extra{line}")
        model.cost.append(extra)
        model.extra.append(extra)
        for n, cut in enumerate(its):
            whole = cp.new_bool_var(f"cut{line}_{n}")
            parted = [
                model.arc_after_strip[arc]
                for arc in cut.arcs
                if arc in model.arc_after_strip
            ]
            taken = [~model.arc[arc] for arc in cut.arcs]
            cp.add_bool_or(whole, *parted, *taken)
            cp.add(extra >= cut.extra_s).only_enforce_if(whole)
