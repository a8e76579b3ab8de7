"""Jumping efforts: a worked count, and sums that are exact."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.efforts import efforts_words, pass_quarters, ridden_quarters
from exercises.geometry.elements import Element, Kind

POLE, PLANK = Element(Kind.POLE), Element(Kind.PLANK)
RAISED = Element(Kind.RAISED_POLE, 100, 15)
CROSS, OXER = Element(Kind.CROSS, 300, 40), Element(Kind.OXER, 900, 60, 60)


def test_poles_count_nothing_raised_poles_a_quarter_and_fences_one() -> None:
    assert pass_quarters([POLE, PLANK, RAISED, CROSS, OXER]) == 9
    assert efforts_words(9) == "2.25"


def test_a_grid_of_three_fences_built_up_and_ridden_six_times() -> None:
    """Three fences six times are 18 efforts; with six to warm up, 24.

    The school's own example for its day's limit.
    """
    warm_up, grid = [CROSS], [CROSS, CROSS, OXER]

    ridden = ridden_quarters([warm_up, grid], [6, 6], stage=2, passes_there=6)

    assert efforts_words(ridden) == "24"


@pytest.mark.parametrize(("stage", "quarters"), [(0, 0), (1, 8), (2, 28)])
def test_only_what_was_ridden_counts(stage, quarters) -> None:
    stages = [[CROSS], [CROSS, OXER], [CROSS, OXER, OXER]]

    assert ridden_quarters(stages, [3, 3, 3], stage=stage, passes_there=2) == quarters


@given(
    st.lists(
        st.lists(st.sampled_from([POLE, PLANK, RAISED, CROSS, OXER]), max_size=6),
        min_size=1,
        max_size=5,
    ),
    st.data(),
)
def test_efforts_are_those_of_every_pass_added_up(stages, data) -> None:
    passes = data.draw(
        st.lists(st.integers(1, 6), min_size=len(stages), max_size=len(stages))
    )
    stage = data.draw(st.integers(1, len(stages)))
    there = data.draw(st.integers(0, 9))

    jumped = [
        one
        for n in range(stage)
        for _ in range(there if n == stage - 1 else passes[n])
        for one in stages[n]
    ]
    fences = sum(one.kind in {Kind.CROSS, Kind.OXER} for one in jumped)
    raised = sum(one.kind is Kind.RAISED_POLE for one in jumped)
    assert (
        ridden_quarters(stages, passes, stage=stage, passes_there=there)
        == 4 * fences + raised
    )
