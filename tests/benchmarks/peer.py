"""A plain model of a day for CP-SAT: what a competent person writes first.

One circuit an arena over the least costs, interval variables for lessons and
resets, two workers, nothing else. It is here to be measured against, and is not
part of the product. Days of one line an arena without stock or clearings only.
"""

import time
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from scheduling.solver.problem import MORNING, Problem, minutes_of


@dataclass
class Answer:
    best_s: int | None = None
    proved: bool = False
    seconds: float = 0.0
    told: list[tuple[float, int]] = field(default_factory=list)


class _Told(cp_model.CpSolverSolutionCallback):
    def __init__(self, answer: Answer, began: float) -> None:
        super().__init__()
        self.answer, self.began = answer, began

    def on_solution_callback(self) -> None:
        at = time.perf_counter() - self.began
        self.answer.told.append((at, round(self.objective_value)))


def peer(problem: Problem, seconds: float) -> Answer:
    began = time.perf_counter()
    cp, answer = cp_model.CpModel(), Answer()
    cost: list[cp_model.LinearExprT] = []
    starts, here, resets = [], [], []
    for n, task in enumerate(problem.tasks):
        domain = cp_model.Domain.from_values(list(task.starts))
        starts.append(cp.new_int_var_from_domain(domain, f"s{n}"))
        here.append({a: cp.new_bool_var(f"a{n}_{a}") for a in task.arenas})
        cp.add_exactly_one(here[n].values())
        if task.booked is not None:
            at, arena = task.booked
            moved = cp.new_bool_var(f"m{n}")
            cp.add(starts[n] == at).only_enforce_if(~moved)
            cost.append(problem.moved_start_s * moved)
            cost.append(problem.moved_arena_s * (1 - here[n].get(arena, 0)))
    for group in problem.apart:
        cp.add_no_overlap(
            cp.new_fixed_size_interval_var(
                starts[n], problem.tasks[n].minutes + group.rest, f"p{n}"
            )
            for n in group.tasks
        )
    for line, arena in enumerate(problem.line_arena):
        nodes = [n for n in range(len(problem.tasks)) if arena in here[n]]
        cp.add_no_overlap(
            cp.new_optional_fixed_size_interval_var(
                starts[n], problem.tasks[n].minutes, here[n][arena], f"i{n}_{arena}"
            )
            for n in nodes
        )
        rows = [n for n in nodes if problem.tasks[n].has_row]
        index = {n: k for k, n in enumerate(rows, start=1)}
        arcs = [(0, 0, cp.new_bool_var(""))]
        into: dict[int, list[tuple[int, cp_model.IntVar, int]]] = {n: [] for n in rows}
        for n in rows:
            cp.add_implication(arcs[0][2], ~here[n][arena])
            arcs.append((index[n], index[n], ~here[n][arena]))
            arcs.append((index[n], 0, cp.new_bool_var("")))
        for (k, before, after), its in problem.arc_s.items():
            if k == line:
                taken = cp.new_bool_var("")
                arcs.append((index.get(before, 0), index[after], taken))
                into[after].append((before, taken, its))
                cost.append(its * taken)
        if rows:
            cp.add_circuit(arcs)
        for n in rows:
            _reset(cp, problem, n, into[n], starts, here[n][arena], resets)
        _rides(cp, problem, arena, nodes, rows, starts, here, resets)
    cp.add_cumulative([one[2] for one in resets], [1] * len(resets), problem.crew)
    cp.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    status = solver.solve(cp, _Told(answer, began))
    answer.seconds = time.perf_counter() - began
    answer.proved = status == cp_model.OPTIMAL
    if status in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        answer.best_s = round(solver.objective_value)
    return answer


def _reset(cp, problem, n, into, starts, present, resets) -> None:
    task = problem.tasks[n]
    size = cp.new_int_var(0, 24 * 60, "")
    begin = cp.new_int_var(problem.crew_from, problem.crew_to, "")
    end = cp.new_int_var(problem.crew_from, problem.crew_to, "")
    cp.add(size == sum(minutes_of(its) * taken for _, taken, its in into))
    cp.add(end <= starts[n] + task.warm_up).only_enforce_if(present)
    for before, taken, _ in into:
        if before != MORNING:
            one = problem.tasks[before]
            cp.add(starts[n] >= starts[before] + one.minutes).only_enforce_if(taken)
            cp.add(
                begin >= starts[before] + one.minutes - one.cool_down
            ).only_enforce_if(taken)
    interval = cp.new_optional_interval_var(begin, size, end, present, "")
    resets.append((n, (begin, end, present), interval))


def _rides(cp, problem, arena, nodes, rows, starts, here, resets) -> None:
    """No reset while a flat lesson has the arena."""
    for n in (one for one in nodes if one not in rows):
        task = problem.tasks[n]
        for owner, (begin, end, present), _ in resets:
            if owner not in rows or arena not in here[owner]:
                continue
            before = cp.new_bool_var("")
            both = (here[n][arena], present, here[owner][arena])
            cp.add(end <= starts[n]).only_enforce_if(before, *both)
            cp.add(begin >= starts[n] + task.minutes - task.cool_down).only_enforce_if(
                ~before, *both
            )
