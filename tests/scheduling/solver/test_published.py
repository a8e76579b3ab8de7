"""The engine at published instances of the problems inside a day."""

from dataclasses import replace

import pytest

from scheduling.solver.problem import MORNING, Problem, Task
from scheduling.solver.result import Status
from scheduling.solver.search import Search
from scheduling.solver.solve import solve
from tests.scheduling.solver import published
from tests.scheduling.solver.problems import one_line


def matrix(text: str) -> list[list[int]]:
    return [[int(one) for one in row.split()] for row in text.split("\n") if row]


def test_a_published_round_trip_is_solved_to_its_known_value() -> None:
    """br17 of TSPLIB (17 cities, Repetto): the shortest round trip is 39.

    The matrix was read in public copies of the file; the value is the one listed
    with the collection. City 0 is the morning, and again a last task that comes
    home: it alone may start in the evening.
    """
    cities = matrix(published.BR17)
    n = len(cities)
    day = tuple(range(0, (n - 1) * 60, 60))
    tasks = [Task(day, 30, (0,), lines=(0,), has_row=True) for _ in range(n - 1)]
    tasks.append(Task(((n - 1) * 60,), 30, (0,), lines=(0,), has_row=True))
    arcs = {(0, MORNING, j - 1): cities[0][j] for j in range(1, n)}
    for i in range(1, n):
        arcs |= {(0, i - 1, j - 1): cities[i][j] for j in range(1, n) if i != j}
        arcs[0, i - 1, n - 1] = cities[i][0]

    result = solve(Problem(tuple(tasks), (0,), arcs), seconds=120)

    assert result.status is Status.OPTIMAL
    assert result.objective_s == 39


def test_a_worked_example_of_setups_on_one_machine() -> None:
    """Three jobs whose setups depend on the job before: the least sum is 22.

    A worked exercise ("Example 6 There are three jobs to be processed by a
    machine", homeworksource.com, read 25 November 2026) that lists all six orders:
    29, 30, 24, 23, 22 and 28; the best is job 3, job 1, job 2.
    """
    first, after = [5, 3, 8], [[0, 9, 13], [8, 0, 15], [5, 12, 0]]

    result = solve(one_line([first, *after]), seconds=120)

    assert result.objective_s == 22
    assert [arc[2] for arc in result.chains[0]] == [2, 0, 1]


def travelling(
    distances: list[list[int]], windows: list[list[int]]
) -> tuple[Problem, int]:
    """A round trip in time as a day, and the minutes that are no travel.

    Times are doubled: a stop lasts a minute and the way after it a minute less than
    twice its length. City 0 is the morning, and again a last task that comes home.
    """
    n = len(distances)
    tasks = [
        Task(tuple(range(2 * a, 2 * b + 1)), 1, (0,), lines=(0,), has_row=True)
        for a, b in list(zip(*windows, strict=True))[1:]
    ]
    home = 2 * windows[1][0]
    tasks.append(Task((home,), 1, (0,), lines=(0,), has_row=True))
    arcs = {(0, MORNING, j - 1): 120 * distances[0][j] for j in range(1, n)}
    for i in range(1, n):
        for j in range(n):
            if i != j:
                to = j - 1 if j else n - 1
                arcs[0, i - 1, to] = 60 * (2 * distances[i][j] - 1)
    problem = Problem(tuple(tasks), (0,), arcs, crew_from=0, crew_to=home + 1)
    return problem, n - 1


@pytest.mark.parametrize(
    ("distances", "windows", "known"),
    [
        (published.N20W20_001, published.N20W20_001_WINDOWS, 378),
        (published.RBG010A, published.RBG010A_WINDOWS, 671),
    ],
    ids=["n20w20.001 (Dumas and others, 1995)", "rbg010a (Ascheuer and others)"],
)
def test_a_published_round_trip_with_time_windows_costs_its_known_value(
    distances: str, windows: str, known: int
) -> None:
    """The optimal values listed with the collected benchmark instances of the
    travelling salesman problem with time windows (lists of two public copies read
    26 November 2026): 378 and 671.
    """
    problem, stops = travelling(matrix(distances), matrix(windows))

    result = solve(problem, seconds=120)

    assert result.status is Status.OPTIMAL
    assert result.objective_s + 60 * stops == 120 * known


def test_the_search_in_stages_proves_a_published_value_too() -> None:
    """n20w20.001 once more (378), through bound, annealing and stages."""
    problem, stops = travelling(
        matrix(published.N20W20_001), matrix(published.N20W20_001_WINDOWS)
    )

    result = Search(problem).run(seconds=120)

    assert result.status is Status.OPTIMAL
    assert result.objective_s + 60 * stops == 120 * 378


def test_a_published_order_with_precedences_costs_its_known_value() -> None:
    """ESC07 of TSPLIB (sequential ordering): the least length is 2125.

    A day has no precedences, only times. So tasks are placed at numbered moments,
    and where an answer turns two of them round, the search branches: for some
    moment the first is not after it and the second is.
    """
    rows = matrix(published.ESC07)
    n = len(rows) - 2
    before = [
        (j - 1, i - 1)
        for i in range(1, n + 1)
        for j in range(1, n + 1)
        if rows[i][j] < 0
    ]
    costs = [[max(0, c) for c in row[1 : n + 1]] for row in rows[: n + 1]]
    day = one_line(costs)
    possible = {
        arc: cost for arc, cost in day.arc_s.items() if arc[:0:-1] not in before
    }
    day = replace(day, arc_s=possible)

    assert least_in_order(day, before) == 2125


def least_in_order(problem: Problem, before: list[tuple[int, int]]) -> int | None:
    best: int | None = None
    waiting = [[(0, len(problem.tasks) - 1)] * len(problem.tasks)]
    while waiting:
        windows = waiting.pop()
        if any(first > last for first, last in windows):
            continue
        tasks = tuple(
            replace(task, starts=tuple(60 * k for k in range(first, last + 1)))
            for task, (first, last) in zip(problem.tasks, windows, strict=True)
        )
        result = solve(replace(problem, tasks=tasks), seconds=120)
        if result.status is Status.INFEASIBLE:
            continue
        assert result.status is Status.OPTIMAL
        if best is not None and result.objective_s >= best:
            continue
        turned = [(a, b) for a, b in before if result.starts[a] > result.starts[b]]
        if not turned:
            best = result.objective_s
            continue
        a, b = turned[0]
        for moment in range(len(tasks) - 1):
            child = list(windows)
            child[a] = (child[a][0], min(child[a][1], moment))
            child[b] = (max(child[b][0], moment + 1), child[b][1])
            waiting.append(child)
    return best
