"""Where a line goes next, and what moving it takes.

Steps of 2 to 3 m each week: handbook, practice 4 (grade b). A fence about 5 m wide with
its wings: handbook, practice 7 (own figure). Handling times: the day file's contract.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.setups import PlacedElement
from scheduling.changeover.sideways import (
    EMPTY_LINE_MIN,
    FENCE_WIDE_CM,
    LEAST_STEP_CM,
    Bounds,
    next_place,
    sideways_minutes,
)
from scheduling.dayplan.document import placed_from_data

HALL = Bounds(450, 1550)


def test_a_line_goes_to_and_fro():
    at_cm, outward, places = 500, True, []
    for _ in range(7):
        to_cm = next_place(at_cm, 250, outward, HALL)
        outward, at_cm = to_cm > at_cm, to_cm
        places.append(at_cm)

    assert places == [750, 1000, 1250, 1500, 1250, 1000, 750]


@pytest.mark.parametrize(
    ("at_cm", "neighbours", "to_cm"),
    [
        (1000, (1500,), 750),
        (1000, (1700, 300), 1200),
        (1000, (1500, 500), None),
        (500, (900,), None),
        (1000, (1000,), None),
    ],
    ids=["turns", "as far as it can", "shut in", "too near already", "same place"],
)
def test_a_line_keeps_its_distance_from_its_neighbours(at_cm, neighbours, to_cm):
    bounds = Bounds(450, 1550, neighbours)

    assert next_place(at_cm, 250, True, bounds) == to_cm


def test_a_line_set_outside_its_room_by_hand_comes_in():
    assert next_place(300, 100, True, HALL) == 450


@given(
    at_cm=st.integers(0, 2000),
    step_cm=st.integers(50, 1000),
    outward=st.booleans(),
    neighbours=st.lists(st.integers(0, 2000), max_size=3),
)
def test_wherever_a_line_goes_it_fits(at_cm, step_cm, outward, neighbours):
    to_cm = next_place(at_cm, step_cm, outward, Bounds(450, 1550, tuple(neighbours)))

    if to_cm is not None:
        assert 450 <= to_cm <= 1550
        assert abs(to_cm - at_cm) >= LEAST_STEP_CM
        assert all(abs(one - to_cm) >= FENCE_WIDE_CM for one in neighbours)
        # It passes none of them.
        assert all((one < at_cm) == (one < to_cm) for one in neighbours)


def stood(**keys) -> PlacedElement:
    return placed_from_data({"at_cm": 0, "height_cm": 60, **keys})


def test_what_stands_is_shifted_by_the_times_of_the_contract():
    # 2 wings at 12 + 2 x 2.5 s, 1 pole at 8 + 1.6 x 2.5 s, cups at 0, 30 s measured;
    # seven such fences and 60 s to begin with.
    one = 2 * (12 + 5) + (8 + 4) + 30

    minutes = sideways_minutes([stood(kind="vertical")] * 7, 250, DEFAULT_HANDLING)

    assert minutes == -(-(60 + 7 * one) // 60)


def test_an_empty_line_takes_as_long_as_its_marks():
    assert sideways_minutes([], 250, DEFAULT_HANDLING) == EMPTY_LINE_MIN
