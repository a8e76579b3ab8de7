"""Annealing: as written and compiled, from a given day, by seeds, and its end."""

import time
from dataclasses import replace

import numpy as np
import pytest

from scheduling.solver import anneal_kernels, annealing
from scheduling.solver.annealing import Annealings, annealed, halted_after
from scheduling.solver.arrays import arrays_of
from scheduling.solver.solve import solve
from tests.scheduling.solver.problems import random_problem
from tests.scheduling.solver.searched import as_python, possible_problem, the_best


@pytest.mark.parametrize("seed", range(12))
def test_annealing_as_written_is_annealing_as_compiled(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = random_problem(seed, tasks=7)
    arrays = arrays_of(problem)
    monkeypatch.setattr(annealing, "_MOVES", 12)

    fast = annealed(arrays, problem, None, seed)
    as_python(monkeypatch, anneal_kernels)
    plain = annealed(arrays, problem, None, seed)

    assert fast[1] == plain[1]
    assert fast[0].tolist() == plain[0].tolist()


def test_annealing_keeps_a_clean_day_it_begins_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = possible_problem()
    as_python(monkeypatch, anneal_kernels)
    monkeypatch.setattr(annealing, "_MOVES", 0)

    _, cost = annealed(arrays_of(problem), problem, the_best(problem), 0)

    assert cost == solve(problem, seconds=120).objective_s


def test_without_a_crew_no_day_is_clean(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = replace(possible_problem(), crew=0)
    as_python(monkeypatch, anneal_kernels)
    monkeypatch.setattr(annealing, "_MOVES", 2)

    assert annealed(arrays_of(problem), problem, None, 0)[1] == -1


def test_an_annealing_without_time_is_halted() -> None:
    with halted_after(0) as halt:
        ends = time.monotonic() + 60
        while not halt[0] and time.monotonic() < ends:
            time.sleep(0.01)

    assert halt[0]


@pytest.mark.parametrize("compiled", [True, False])
def test_annealing_ends_at_once_when_it_is_told_to(
    compiled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = possible_problem()
    if not compiled:
        as_python(monkeypatch, anneal_kernels)

    chosen, _ = annealed(
        arrays_of(problem), problem, the_best(problem), 0, halt=np.ones(1, np.int64)
    )

    guess = annealing.guess_of(arrays_of(problem), chosen)
    assert guess.starts == the_best(problem).starts


def test_further_annealings_give_the_best_of_their_seeds() -> None:
    problem = possible_problem(tasks=8)
    arrays = arrays_of(problem)
    apart = [annealed(arrays, problem, None, seed)[1] for seed in (6, 7, 8)]

    with Annealings(arrays, problem, None, 5, times=3) as others:
        found = others.best(lambda: False)

    assert found[1] == min((one for one in apart if one >= 0), default=-1)


def test_further_annealings_end_with_the_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = possible_problem(tasks=8)
    arrays = arrays_of(problem)
    annealed(arrays, problem, None, 0)
    monkeypatch.setattr(annealing, "AGAIN_FROM", 0)
    monkeypatch.setattr(annealing, "_MOVES", 10_000_000)
    began = time.monotonic()

    with Annealings(arrays, problem, None, 0, times=5) as others:
        others.best(lambda: time.monotonic() - began > 0.2)

    assert time.monotonic() - began < 30
