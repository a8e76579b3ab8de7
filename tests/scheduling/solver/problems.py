"""Problems in numbers at random, by seed: small, with all that the engine knows."""

from random import Random

from scheduling.solver.problem import MORNING, Apart, Problem, Stock, Task


def random_problem(seed: int, tasks: int = 6, *, stock: bool = False) -> Problem:
    """Rows, flat tasks and clearings in one or two arenas of one or two lines."""
    dice = Random(seed)
    line_arena = tuple(
        arena for arena in range(dice.randint(1, 2)) for _ in range(dice.randint(1, 2))
    )
    arenas = max(line_arena) + 1
    made = [_task(dice, arenas, line_arena) for _ in range(tasks)]
    arcs = {}
    for line, arena in enumerate(line_arena):
        nodes = [
            n
            for n, one in enumerate(made)
            if line in one.lines or (one.clears and arena in one.arenas)
        ]
        for after in nodes:
            for before in (MORNING, *nodes):
                if before != after:
                    arcs[line, before, after] = dice.choice([0, 70, 190, 400, 790])
    strips = {(arc[0], arc[1]): 90 for arc in arcs} if stock else {}
    builds = {(arc[0], arc[2]): 500 for arc in arcs} if stock else {}
    pieces = {n: dice.choice([2, 4]) for n, one in enumerate(made) if one.has_row}
    group = tuple(sorted(dice.sample(range(tasks), min(3, tasks))))
    return Problem(
        tasks=tuple(made),
        line_arena=line_arena,
        arc_s=arcs,
        strip_s=strips,
        build_s=builds,
        apart=(Apart(group, rest=dice.choice([0, 30])),),
        stocks=(Stock(6, pieces, {}),) if stock else (),
        crew=dice.choice([1, 2]),
        crew_from=dice.choice([7 * 60, 7 * 60, 9 * 60]),
        crew_to=20 * 60,
        moved_start_s=30,
        moved_arena_s=10,
    )


def one_line(costs: list[list[int]], **task) -> Problem:
    """Tasks on one line in any order; costs[0] from the morning, [i] from task i-1."""
    n = len(costs[0])
    every = tuple(range(0, 20 * 60, 60))
    arcs = {
        (0, i - 1 if i else MORNING, j): costs[i][j]
        for i in range(n + 1)
        for j in range(n)
        if i - 1 != j
    }
    fields = {"starts": every, "minutes": 30, "arenas": (0,), "lines": (0,)}
    tasks = tuple(Task(**(fields | task), has_row=True) for _ in range(n))
    return Problem(tasks=tasks, line_arena=(0,), arc_s=arcs)


def _task(dice: Random, arenas: int, line_arena: tuple[int, ...]) -> Task:
    start = 8 * 60 + 30 * dice.randint(0, 12)
    starts = tuple(range(start, start + 30 * dice.choice([1, 3, 6]), 30))
    where = tuple(sorted(dice.sample(range(arenas), dice.randint(1, arenas))))
    kind = dice.random()
    lines = tuple(k for k, arena in enumerate(line_arena) if arena in where)
    return Task(
        starts=starts,
        minutes=dice.choice([30, 45]),
        arenas=where,
        lines=lines if kind < 0.7 else (),
        has_row=kind < 0.7,
        clears=kind > 0.85,
        warm_up=dice.choice([0, 15]),
        cool_down=dice.choice([0, 5]),
        booked=(starts[0], where[0]) if dice.random() < 0.7 else None,
    )
