"""The search in stages: against the engine alone, compiled and as plain Python."""

from collections.abc import Callable
from dataclasses import replace
from itertools import count
from threading import Event
from typing import Any

import numpy as np
import pytest

from scheduling.solver import (
    anneal_kernels,
    annealing,
    bound_kernels,
    compiled,
    search,
)
from scheduling.solver.annealing import Annealings, annealed
from scheduling.solver.arrays import arrays_of
from scheduling.solver.bound import Bound
from scheduling.solver.mending import freed
from scheduling.solver.problem import Cut, Problem, Task
from scheduling.solver.result import Result, Status
from scheduling.solver.search import Search
from scheduling.solver.solve import solve
from tests.scheduling.solver.problems import random_problem
from tests.scheduling.solver.searched import as_python, possible_problem, the_best


@pytest.fixture
def _staged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Days however small go through every stage."""
    monkeypatch.setattr(search, "_SMALL", 0)


@pytest.mark.usefixtures("_staged")
@pytest.mark.parametrize("stock", [False, True], ids=["", "stock"])
@pytest.mark.parametrize("seed", range(40))
def test_stages_prove_what_the_engine_alone_proves(seed: int, stock: bool) -> None:
    problem = random_problem(seed, stock=stock)

    alone, staged = solve(problem, seconds=120), Search(problem).run(seconds=120)

    assert staged.status is alone.status
    assert staged.objective_s == alone.objective_s
    assert staged.bound_s == alone.bound_s


@pytest.mark.parametrize("seed", range(40))
def test_no_day_comes_below_the_bound(seed: int) -> None:
    problem = random_problem(seed)
    best = solve(problem, seconds=120)
    if best.status is not Status.OPTIMAL:
        return

    bound = Bound(problem, arrays_of(problem)).better(best.objective_s, 200)

    assert bound <= best.objective_s + 1e-6


@pytest.mark.parametrize("seed", range(20))
def test_what_a_better_day_can_hold_holds_the_best_day(seed: int) -> None:
    problem = random_problem(seed)
    best = solve(problem, seconds=120)
    if best.status is not Status.OPTIMAL:
        return
    arrays = arrays_of(problem)
    bound = Bound(problem, arrays)
    bound.better(best.objective_s + 100, 50)

    kept = bound.kept(best.objective_s + 1)

    held = {
        (int(arrays.task[k]), int(arrays.arena[k]), int(arrays.start[k]))
        for k in np.flatnonzero(kept.options)
    }
    for n, (arena, start) in enumerate(zip(best.arenas, best.starts, strict=True)):
        assert (n, arena, start) in held
    assert {arc for chain in best.chains for arc in chain} <= kept.arcs


@pytest.mark.parametrize("seed", range(20))
def test_no_part_of_the_best_day_costs_more_above_the_bound_than_the_day(
    seed: int,
) -> None:
    problem = random_problem(seed)
    best = solve(problem, seconds=120)
    if best.status is not Status.OPTIMAL:
        return
    arrays = arrays_of(problem)
    bound = Bound(problem, arrays)
    bound.better(best.objective_s + 100, 50)

    kept = bound.kept(best.objective_s + 1)

    by_line: dict[int, int] = {}
    for chain in best.chains:
        for arc in chain:
            above = kept.arc_s.get(arc, 0)
            by_line[arc[0]] = max(by_line.get(arc[0], 0), above)
    assert sum(by_line.values()) <= kept.room_s


@pytest.mark.parametrize("room", [1, 2, 12])
@pytest.mark.parametrize("seed", range(8))
def test_the_bound_as_written_is_the_bound_as_compiled(
    seed: int, room: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = random_problem(seed, tasks=10)
    arrays = arrays_of(problem)
    fast = Bound(problem, arrays)
    fast.better(5000, 8)

    as_python(monkeypatch, bound_kernels)
    monkeypatch.setattr(bound_kernels, "ROOM", room)
    plain = Bound(problem, arrays)
    plain.better(5000, 8)

    if room == bound_kernels.ROOM == 12:
        assert plain.bound_s == pytest.approx(fast.bound_s)
        assert plain.kept(5000).arcs == fast.kept(5000).arcs
    else:
        assert plain.bound_s <= fast.bound_s + 200


def test_a_node_without_room_keeps_the_cheaper_and_what_both_remember(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bound_kernels, "ROOM", 1)
    value, memory = np.array([[5.0]]), np.array([[0b011]])
    origin, held = np.array([[7]]), np.array([1])

    add = bound_kernels._add.py_func
    add(value, memory, origin, held, 0, 6.0, 0b1100, 8)

    assert (value[0, 0], memory[0, 0], origin[0, 0]) == (5.0, 0b000, 7)


@pytest.mark.usefixtures("_staged")
def test_cuts_count_in_every_stage() -> None:
    problem = random_problem(3)
    free = Search(problem).run(seconds=120)
    arcs = tuple(arc for chain in free.chains for arc in chain)
    dear = tuple(Cut((arc,), 5) for arc in arcs[:1])

    engine = Search(problem)
    first = engine.run(seconds=120)
    cut = engine.run(seconds=120, cuts=dear)

    assert first.objective_s == free.objective_s
    assert cut.objective_s == solve(problem, seconds=120, cuts=dear).objective_s


@pytest.mark.usefixtures("_staged")
def test_a_task_on_a_line_of_no_arena_it_may_use_has_no_day() -> None:
    task = Task((540,), 60, (1,), lines=(0,), has_row=True)
    problem = Problem((task,), line_arena=(0,), arc_s={(0, -1, 0): 60})

    assert Search(problem).run(seconds=120).status is Status.INFEASIBLE


@pytest.mark.usefixtures("_staged")
def test_a_search_stopped_at_once_says_what_it_has() -> None:
    stop = Event()
    stop.set()

    result = Search(random_problem(7, tasks=8), stop=stop).run(seconds=120)

    assert result.bound_s <= result.objective_s


@pytest.mark.usefixtures("_staged")
def test_a_search_out_of_time_keeps_its_bound() -> None:
    ticks = count(0, 7)

    result = Search(random_problem(5, tasks=8), clock=lambda: float(next(ticks))).run(
        seconds=10
    )

    assert result.bound_s <= result.objective_s


@pytest.mark.usefixtures("_staged")
def test_the_search_tells_its_best_and_a_bound_that_holds() -> None:
    told: list[tuple[int, int]] = []
    problem = possible_problem(tasks=8)

    result = Search(problem, on_progress=lambda *both: told.append(both)).run(
        seconds=120
    )

    assert told
    assert all(bound <= result.objective_s <= best for best, bound in told)


@pytest.mark.usefixtures("_staged")
def test_a_search_begins_at_a_guess() -> None:
    problem = possible_problem()

    result = Search(problem, guess=the_best(problem)).run(seconds=120)

    assert result.objective_s == solve(problem, seconds=120).objective_s


@pytest.mark.parametrize("how", [compiled.compiled, compiled.inlined])
def test_where_nothing_can_be_kept_each_process_compiles_for_itself(
    monkeypatch: pytest.MonkeyPatch, how: Callable[..., Any]
) -> None:
    real = compiled.numba.njit

    def njit(**options):
        if options.get("cache"):
            raise RuntimeError("nowhere to keep it")
        return real(**options)

    monkeypatch.setattr(compiled.numba, "njit", njit)

    assert how(lambda a: a + 1)(2) == 3


def test_a_small_day_goes_to_the_engine_as_it_is() -> None:
    problem = random_problem(1, tasks=3)

    assert Search(problem).run(seconds=120) == solve(problem, seconds=120)


def test_a_bound_may_be_bettered_again() -> None:
    problem = possible_problem()
    bound = Bound(problem, arrays_of(problem))

    first = bound.better(5000, 5)

    assert bound.better(5000, 100) >= first


def test_a_bound_that_is_a_day_is_not_bettered() -> None:
    task = Task((540,), 60, (0,), lines=(0,), has_row=True)
    problem = Problem((task,), line_arena=(0,), arc_s={(0, -1, 0): 60})

    assert Bound(problem, arrays_of(problem)).better(5000, 100) == pytest.approx(60)


@pytest.mark.usefixtures("_staged")
def test_where_the_engine_finds_nothing_in_time_nothing_is_claimed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(search, "solve", lambda *a, **k: Result(Status.UNKNOWN))

    assert Search(possible_problem()).run(seconds=120).status is Status.UNKNOWN


@pytest.mark.usefixtures("_staged")
def test_out_of_time_without_a_day_the_whole_is_not_begun(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The model of a large day takes longer to write than the time that is over."""
    asked: list[bool] = []

    def unknown(*_: object, options: object = None, **__: object) -> Result:
        asked.append(options is None)
        return Result(Status.UNKNOWN)

    monkeypatch.setattr(search, "solve", unknown)
    ticks = count(0, 100)

    result = Search(possible_problem(), clock=lambda: float(next(ticks))).run(seconds=1)

    assert result.status is Status.UNKNOWN
    assert asked == [False]


def test_clash_lists_hold_whoever_must_be_apart() -> None:
    rest = np.array([[-1, 0, -1], [0, -1, 30], [-1, 30, -1]])

    others, counts = anneal_kernels.apart_from.py_func(rest)

    lists = [set(others[n, : counts[n]].tolist()) for n in range(3)]
    assert lists == [{1}, {0, 2}, {1}]


@pytest.mark.parametrize(
    ("one", "other", "kept"),
    [(5, 4, 4), (4, 5, 4), (-1, 7, 7), (7, -1, 7), (-1, -1, -1)],
)
def test_the_cheaper_clean_day_is_kept(one: int, other: int, kept: int) -> None:
    none = np.zeros(0, np.int64)

    assert search.cheaper((none, one), (none, other))[1] == kept


@pytest.mark.usefixtures("_staged")
def test_a_better_day_of_further_annealings_is_timed_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(annealing, "AGAIN_FROM", 0)
    problem = possible_problem(tasks=8)
    best, begun = the_best(problem), []
    arrays = arrays_of(problem)
    found = annealed(arrays, problem, best, 0, halt=np.ones(1, np.int64))
    monkeypatch.setattr(Annealings, "best", lambda self, over: found)
    monkeypatch.setattr(search, "cheaper", lambda one, other: other)
    monkeypatch.setattr(Bound, "better", lambda *_: 0.0)
    choose = Search._choose
    monkeypatch.setattr(
        Search, "_choose", lambda self, *a: (begun.append(a[1]), choose(self, *a))
    )

    result = Search(problem).run(seconds=120)

    assert begun[-1] is found[0]
    assert result.objective_s == solve(problem, seconds=120).objective_s


@pytest.mark.usefixtures("_staged")
def test_an_answer_comes_before_the_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(annealing, "AGAIN_FROM", 0)
    problem = possible_problem(tasks=8)
    engine = Search(problem)
    search.warm_up()
    known: list[bool] = []

    def better(*_: object) -> float:
        known.append(engine._best is not None)
        return 0.0

    monkeypatch.setattr(Bound, "better", better)
    result = engine.run(seconds=120)

    assert known == [True]
    assert result.objective_s == solve(problem, seconds=120).objective_s


@pytest.mark.usefixtures("_staged")
def test_the_same_seed_gives_the_same_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(annealing, "AGAIN_FROM", 0)
    problem = possible_problem(tasks=8)

    begun: list[list[int]] = []
    choose = Search._choose
    monkeypatch.setattr(
        Search,
        "_choose",
        lambda self, *a: (begun.append(a[1].tolist()), choose(self, *a)),
    )

    found = [Search(problem, seed=3).run(seconds=120) for _ in range(2)]

    assert begun[: len(begun) // 2] == begun[len(begun) // 2 :]
    assert found[0].objective_s == found[1].objective_s


@pytest.mark.usefixtures("_staged")
@pytest.mark.parametrize("seed", range(6))
def test_a_day_no_stage_settles_is_mended_part_by_part(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = random_problem(seed, tasks=8)
    best = solve(problem, seconds=120)
    if best.status is not Status.OPTIMAL:
        return
    search.warm_up()
    monkeypatch.setattr(annealing, "_MOVES", 3)
    monkeypatch.setattr(Bound, "better", lambda *_: 0.0)
    monkeypatch.setattr(Search, "_stage", lambda *_, **__: False)
    ticks = count(0, 1)
    engine = Search(problem, seed=seed, clock=lambda: float(next(ticks)))

    begun: list[int] = []
    mend = Search._mend
    monkeypatch.setattr(
        Search,
        "_mend",
        lambda self, bound, day, cuts: (
            begun.append(day.objective_s),
            mend(self, bound, day, cuts),
        ),
    )
    result = engine.run(seconds=400)

    assert result.status is not Status.INFEASIBLE
    if begun:
        assert best.objective_s <= result.objective_s <= begun[0]
        assert result.bound_s <= best.objective_s


def test_a_part_set_free_is_a_time_or_two_arenas() -> None:
    problem = random_problem(2, tasks=12)
    arrays = arrays_of(problem)
    arrays = replace(arrays, arena=np.arange(len(arrays.task)) % 4)
    chosen, dice = arrays.first[:-1], np.random.default_rng(5)

    parts = [freed(arrays, chosen, dice) for _ in range(60)]

    spans = [np.ptp(arrays.start[chosen][part]) for part in parts]
    arenas = [len(np.unique(arrays.arena[chosen][part])) for part in parts]
    assert all(part.any() for part in parts)
    assert max(spans) < 360
    assert all(span < 180 or its <= 2 for span, its in zip(spans, arenas, strict=True))
    assert max(arenas) > 2


def test_in_two_arenas_a_time_is_set_free_in_both() -> None:
    problem = random_problem(2, tasks=12)
    arrays = arrays_of(problem)
    arrays = replace(arrays, arena=np.arange(len(arrays.task)) % 2)
    chosen = arrays.first[:-1]

    part = freed(arrays, chosen, np.random.default_rng(1))

    inside = arrays.start[chosen][part]
    outside = np.delete(arrays.start[chosen], np.flatnonzero(part))
    assert not ((outside >= inside.min()) & (outside <= inside.max())).any()
