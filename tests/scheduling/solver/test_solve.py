"""The engine by its pure interface: against every order and known values."""

from itertools import pairwise, permutations
from random import Random
from threading import Event

import pytest
from ortools.sat.python import cp_model

from scheduling.solver.problem import (
    MORNING,
    Apart,
    Cut,
    InvalidProblem,
    Problem,
    Stock,
    Task,
    minutes_of,
)
from scheduling.solver.result import Status
from scheduling.solver.solve import heeding, solve
from tests.scheduling.solver.problems import one_line


def random_costs(dice: Random, n: int) -> list[list[int]]:
    return [[dice.randint(1, 900) for _ in range(n)] for _ in range(n + 1)]


def by_every_order(costs: list[list[int]]) -> int:
    n = len(costs[0])
    return min(
        costs[0][order[0]] + sum(costs[a + 1][b] for a, b in pairwise(order))
        for order in permutations(range(n))
    )


@pytest.mark.parametrize("seed", range(10))
def test_the_order_of_one_line_is_the_best_of_all_orders(seed: int) -> None:
    costs = random_costs(Random(seed), 6)

    result = solve(one_line(costs), seconds=120)

    assert result.status is Status.OPTIMAL
    assert result.objective_s == result.bound_s == by_every_order(costs)


def test_a_chain_costs_what_a_cut_says_it_does() -> None:
    costs = [[10, 50], [99, 10], [10, 99]]
    dear = Cut(arcs=((0, MORNING, 0), (0, 0, 1)), extra_s=100)
    elsewhere = Cut(arcs=((0, MORNING, 7),), extra_s=1000)

    plain = solve(one_line(costs), seconds=120)
    cut = solve(one_line(costs), seconds=120, cuts=(dear, elsewhere))

    assert (plain.objective_s, cut.objective_s) == (20, 60)


def test_arcs_that_are_fixed_are_taken() -> None:
    costs = [[10, 50], [99, 10], [10, 99]]

    result = solve(one_line(costs), seconds=120, fixed=((0, MORNING, 1), (0, 1, 0)))

    assert result.objective_s == 60


def test_an_unused_line_stays_as_it_is() -> None:
    problem = Problem(
        tasks=(Task((540,), 60, (0,)),), line_arena=(0,), arc_s={}, crew=1
    )

    assert solve(problem, seconds=120).chains == ((),)


@pytest.mark.parametrize(
    "task",
    [
        Task((), 60, (0,)),
        Task((540,), 60, ()),
        Task((540,), 60, (0,), has_row=True),
    ],
    ids=["no-start", "no-arena", "no-line"],
)
def test_a_task_without_a_start_arena_or_line_is_infeasible(task: Task) -> None:
    problem = Problem(tasks=(task,), line_arena=(0,), arc_s={})

    assert solve(problem, seconds=120).status is Status.INFEASIBLE


def test_a_row_whose_line_is_in_no_arena_it_may_use_is_infeasible() -> None:
    task = Task((540,), 60, (1,), lines=(0,), has_row=True)
    problem = Problem((task,), line_arena=(0,), arc_s={(0, MORNING, 0): 60})

    assert solve(problem, seconds=120).status is Status.INFEASIBLE


def test_people_rest_between_their_tasks() -> None:
    tasks = tuple(Task((540, 600, 660), 60, (n,)) for n in range(2))
    problem = Problem(tasks, (), {}, apart=(Apart((0, 1), rest=30),))

    result = solve(problem, seconds=120)

    assert abs(result.starts[0] - result.starts[1]) == 120


def test_what_was_booked_is_kept_where_it_costs_to_move() -> None:
    tasks = (
        Task((540, 600), 60, (0, 1), booked=(600, 1)),
        Task((540,), 60, (0,), booked=(700, 1)),
    )
    problem = Problem(tasks, (), {}, moved_start_s=30, moved_arena_s=10)

    result = solve(problem, seconds=120)

    assert (result.starts[0], result.arenas[0]) == (600, 1)
    assert result.objective_s == 40


def test_a_strip_frees_pieces_that_another_line_needs() -> None:
    tasks = (
        Task((540,), 60, (0,), lines=(0,), has_row=True),
        Task((660,), 60, (1,), lines=(1,), has_row=True),
    )
    problem = Problem(
        tasks,
        line_arena=(0, 1),
        arc_s={(0, MORNING, 0): 120, (1, MORNING, 1): 120},
        strip_s={(0, 0): 90, (1, 1): 90},
        build_s={(0, 0): 120, (1, 1): 120},
        stocks=(Stock(owned=4, by_task={0: 4, 1: 4}, by_line={}),),
    )

    result = solve(problem, seconds=120)

    assert result.objective_s == 120 + 90 + 120
    assert result.stripped == {(0, 0)}
    assert [r.strip for r in result.resets] == [False, True, False]


def test_pieces_of_a_row_that_needs_no_work_count_from_its_start() -> None:
    tasks = (Task((540,), 60, (0,), lines=(0,), has_row=True),)
    stock = Stock(owned=3, by_task={0: 4}, by_line={})
    problem = Problem(tasks, (0,), {(0, MORNING, 0): 0}, stocks=(stock,))

    assert solve(problem, seconds=120).status is Status.INFEASIBLE


def test_what_stands_in_the_morning_holds_its_pieces_until_it_is_replaced() -> None:
    tasks = (
        Task((540,), 60, (0,), lines=(0,), has_row=True),
        Task((480,), 30, (1,), lines=(1,), has_row=True),
    )
    stock = Stock(owned=4, by_task={0: 2, 1: 2}, by_line={0: 4})
    problem = Problem(
        tasks, (0, 1), {(0, MORNING, 0): 60, (1, MORNING, 1): 60}, stocks=(stock,)
    )

    assert solve(problem, seconds=120).status is Status.OPTIMAL
    assert solve(problem, seconds=120).resets[0].line == 0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"tasks": (Task((2, 1), 60, (0,)),)}, "starts must ascend"),
        ({"tasks": (Task((1,), 0, (0,)),)}, "last a minute"),
        (
            {"tasks": (Task((1,), 30, (0,), warm_up=20, cool_down=15),)},
            "warm-up and cool-down exceed",
        ),
        ({"arc_s": {(5, MORNING, 0): 1}}, "line or task that is not there"),
        ({"arc_s": {(0, 0, 0): 1}}, "leads to a task"),
        ({"arc_s": {(0, MORNING, 0): -1}}, "less than no time"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_numbers_that_do_not_belong_together_are_refused(
    changes: dict, says: str
) -> None:
    fields = {
        "tasks": (Task((1,), 60, (0,), lines=(0,), has_row=True),),
        "line_arena": (0,),
        "arc_s": {},
    }

    with pytest.raises(InvalidProblem, match=says):
        Problem(**(fields | changes))


def test_a_search_told_to_stop_ends_with_the_best_it_has() -> None:
    stop = Event()
    stop.set()
    problem = one_line(random_costs(Random(3), 40), starts=tuple(range(0, 1400, 5)))

    result = solve(problem, seconds=600, stop=stop)

    assert result.status in {Status.FEASIBLE, Status.UNKNOWN}


def test_a_search_is_told_to_stop_while_it_runs() -> None:
    class Searching:
        """Stands in for an engine that searches until it is told to stop."""

        def __init__(self) -> None:
            self.told = Event()

        def stop_search(self) -> None:
            self.told.set()

    class SetLater(Event):
        """Is set when it is looked at for the second time."""

        looks = 0

        def is_set(self) -> bool:
            self.looks += 1
            return self.looks > 1

    engine = Searching()

    with heeding(SetLater(), engine):  # type: ignore[arg-type]
        assert engine.told.wait(60)


def test_a_search_that_is_not_stopped_proves_what_it_finds() -> None:
    costs = random_costs(Random(4), 5)

    result = solve(one_line(costs), seconds=120, stop=Event())

    assert (result.status, result.objective_s) == (
        Status.OPTIMAL,
        by_every_order(costs),
    )


def test_minutes_are_rounded_up() -> None:
    assert [minutes_of(s) for s in (0, 1, 60, 61)] == [0, 1, 1, 2]


def test_a_search_at_work_hears_that_it_is_to_stop() -> None:
    """A quadratic assignment of twenty is not proved within a minute."""
    dice, n, cp, stop = Random(5), 20, cp_model.CpModel(), Event()
    at = [[cp.new_bool_var("") for _ in range(n)] for _ in range(n)]
    for k in range(n):
        cp.add_exactly_one(at[k])
        cp.add_exactly_one(row[k] for row in at)
    cost = []
    for _ in range(800):
        a, b, c, d = (dice.randrange(n) for _ in range(4))
        both = cp.new_bool_var("")
        cp.add_bool_or([at[a][b].negated(), at[c][d].negated(), both])
        cost.append(dice.randint(1, 99) * both)
    cp.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = 60
    stop.set()

    with heeding(stop, solver):
        solver.solve(cp)

    assert solver.wall_time < 30
