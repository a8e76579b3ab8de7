"""Places of a day's rows chosen together, judged by trying every choice."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import changeover, strip_all
from scheduling.changeover.places import RowStep, UnableToPlace, best_places
from scheduling.changeover.tables import Costs, kernels
from tests.scheduling.changeover.builders import CROSS, POLE, placed, row, setups

H = DEFAULT_HANDLING
COSTS = Costs(H)
LINE_CM, EVERY_CM = 1500, 250


def step(setup, mirror: bool) -> RowStep | None:
    if not setup:
        return None
    grid = row(*setup, may_mirror=mirror)
    return RowStep(grid, grid.places(LINE_CM, EVERY_CM)[:5])


def by_every_choice(standing, steps) -> int:
    best = None
    choices = [[None] if one is None else one.places for one in steps]
    for places in product(*choices):
        stands, total = standing, 0
        for one, place in zip(steps, places, strict=True):
            if one is None:
                total += strip_all(stands, H).seconds
                stands = ()
            else:
                total += changeover(
                    stands, one.row.stand(one.row.start, place), H
                ).seconds
                stands = one.row.stand(one.row.end, place)
        best = total if best is None else min(best, total)
    return best


@settings(max_examples=15)
@given(setups(2), st.lists(st.tuples(setups(3), st.booleans()), min_size=1, max_size=3))
def test_no_choice_of_places_needs_less(standing, wanted) -> None:
    steps = [step(setup, mirror) for setup, mirror in wanted]
    if any(one is not None and not one.places for one in steps):
        return

    placing = best_places(standing, steps, COSTS, EVERY_CM)

    assert placing.total_s == by_every_choice(standing, steps)
    assert len(placing.places) == len(placing.seconds) == len(steps)


def test_a_first_row_left_free_costs_nothing() -> None:
    steps = [step((placed(CROSS),), False), step((placed(CROSS),), False)]

    assert best_places(None, steps, COSTS, EVERY_CM).total_s == 0


def test_nothing_stands_after_a_clearing() -> None:
    cross = step((placed(CROSS),), False)

    placing = best_places(
        (placed(CROSS, 500),), [None, cross, None, None], COSTS, EVERY_CM
    )

    assert placing.seconds == (60 + 116, 60 + 200, 60 + 116, 0)
    assert placing.places[0] is None


def test_a_row_without_a_place_is_refused() -> None:
    with pytest.raises(UnableToPlace, match="fits nowhere"):
        best_places((), [RowStep(row(placed(POLE)), ())], COSTS, EVERY_CM)


def test_minutes_are_kept_or_refused() -> None:
    cross = step((placed(CROSS),), False)

    assert best_places((), [cross], COSTS, EVERY_CM, [5]).seconds == (260,)
    with pytest.raises(UnableToPlace, match="within these minutes"):
        best_places((), [cross], COSTS, EVERY_CM, [4])


def test_of_places_within_the_minutes_the_cheapest_is_taken() -> None:
    standing = (placed(CROSS, 500),)
    cross = step((placed(CROSS),), False)

    assert (
        best_places(standing, [cross], COSTS, EVERY_CM, [0]).places[0].offset_cm == 500
    )


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("as_written", [True, False], ids=["written", "compiled"])
def test_a_step_between_places_finds_the_least_sum_of_all(
    seed: int, as_written: bool
) -> None:
    dice, every, never = np.random.default_rng(seed), 50, 1 << 40
    both = dice.random() < 0.5
    from_cm = every * np.sort(dice.choice(12, dice.integers(1, 8), replace=False))
    to_cm = every * np.sort(dice.choice(12, dice.integers(1, 8), replace=False))
    from_way = np.sort(dice.integers(0, 1 + both, len(from_cm)))
    to_way = np.sort(dice.integers(0, 1 + both, len(to_cm)))
    best = dice.integers(0, 300, len(from_cm))
    best[dice.random(len(best)) < 0.2] = never
    first = int(to_cm.min() - from_cm.max())
    shifts = int(to_cm.max() - from_cm.min() - first) // every + 1
    table = dice.integers(0, 600, (2, 2, shifts))
    order, most = np.argsort(table, axis=2, kind="stable"), 500
    step = kernels().cheapest_way

    sums, back = (step.py_func if as_written else step)(
        best, from_cm, from_way, to_cm, to_way, table, order, first, every, most
    )

    for j, at in enumerate(to_cm):
        took = table[from_way, to_way[j], (at - from_cm - first) // every]
        tried = np.where((took <= most) & (best < never), best + took, never)
        assert sums[j] == tried.min()
        assert tried[back[j]] == sums[j] or sums[j] == never


@pytest.mark.parametrize("compiled", [True, False])
def test_sums_carried_on_are_the_least_over_every_place_before(compiled: bool) -> None:
    dice = np.random.default_rng(4)
    so_far, costs = dice.integers(0, 99, 5), dice.integers(0, 99, 11)
    out = dice.integers(0, 60, 7)
    carry_on = kernels().carry_on if compiled else kernels().carry_on.py_func

    then = out.copy()
    carry_on(costs, so_far, then)

    for j in range(7):
        ways = [so_far[i] + costs[j + 4 - i] for i in range(5)]
        assert then[j] == min(out[j], *ways)
