"""Costs for every relative place at once, against one changeover at a time."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduling.changeover import kernels
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import changeover
from scheduling.changeover.places import RowStep, best_places
from scheduling.changeover.setups import GridRow, Place, PlacedElement
from scheduling.changeover.tables import Costs
from tests.scheduling.changeover.builders import CROSS, POLE, placed, row, setups

H = DEFAULT_HANDLING
COSTS = Costs(H)
SHIFTS = np.array([-300, -100, -50, 0, 50, 100, 650])


@st.composite
def rows(draw: st.DrawFn) -> GridRow:
    elements = tuple(e.element for e in draw(setups().filter(bool)))
    return GridRow(elements, elements, approach_cm=100, may_mirror=draw(st.booleans()))


def one_by_one(standing, wanted, shifts) -> list[int]:
    return [changeover(standing, moved(wanted, int(by)), H).cost_us for by in shifts]


def moved(setup, by_cm: int):
    return tuple(
        PlacedElement(replace(one.element, at_cm=one.at_cm + by_cm), one.faces)
        for one in setup
    )


@given(setups(), setups())
def test_every_shift_costs_what_its_changeover_costs(standing, wanted) -> None:
    costs = COSTS.by_shift(standing, wanted, SHIFTS)

    assert costs.tolist() == one_by_one(standing, wanted, SHIFTS)


def test_no_shift_costs_nothing_to_look_at() -> None:
    none = np.array([], dtype=np.int64)

    assert COSTS.by_shift((placed(CROSS),), (placed(CROSS),), none).tolist() == []


@given(rows(), rows(), st.sampled_from([1500, 2000]))
def test_the_table_holds_every_pair_of_places(earlier, later, line_cm: int) -> None:
    a, b = earlier.places(line_cm, 250), later.places(line_cm, 250)
    if not a or not b:
        return

    table = COSTS.by_ways(earlier, later, -2000, 2000, 250)

    for was in a[::3]:
        for now in b[::3]:
            made = changeover(
                earlier.stand(earlier.end, was), later.stand(later.start, now), H
            )
            shift = (now.offset_cm - was.offset_cm + 2000) // 250
            assert table[int(was.mirrored), int(now.mirrored), shift] == made.seconds


@given(rows(), rows())
def test_the_least_of_a_pair_is_the_least_of_all_places(earlier, later) -> None:
    a, b = earlier.places(2000, 50), later.places(2000, 50)
    if not a or not b:
        return

    least = COSTS.least_between(earlier, later, 2000, 50)

    table = COSTS.by_ways(earlier, later, -4000, 4000, 50)
    assert least == min(
        table[
            int(was.mirrored),
            int(now.mirrored),
            (now.offset_cm - was.offset_cm + 4000) // 50,
        ]
        for was in a
        for now in b
    )
    assert COSTS.least_between(earlier, later, 2000, 50) == least
    assert COSTS.by_ways(earlier, later, -4000, 4000, 50) is table


def test_rows_without_a_place_have_no_least() -> None:
    grid = row(placed(POLE), approach_cm=900)

    with pytest.raises(ValueError, match="need a place"):
        COSTS.least_between(grid, grid, 800, 5)


@given(setups(), rows())
def test_from_what_stands_each_place_costs_its_changeover(standing, later) -> None:
    places = later.places(2000, 100)
    if not places:
        return

    costs = COSTS.from_standing(standing, later, places)

    for j, place in list(enumerate(places))[::4]:
        made = changeover(standing, later.stand(later.start, place), H)
        assert costs[j] == made.seconds


@given(setups())
def test_clearing_costs_the_same_wherever_it_is(setup) -> None:
    assert COSTS.to_strip(setup) == changeover(setup, (), H).seconds


def test_a_place_is_an_offset_and_a_direction() -> None:
    assert Place(5, False) < Place(5, True) < Place(10, False)


@given(standing=setups(), wanted=setups(), earlier=rows(), later=rows())
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_compiled_functions_do_as_they_are_written(
    monkeypatch: pytest.MonkeyPatch, standing, wanted, earlier, later
) -> None:
    fast = Costs(H)
    by_shift = fast.by_shift(standing, wanted, SHIFTS)
    places = earlier.places(1200, 200), later.places(1200, 200)
    steps = [RowStep(earlier, places[0]), RowStep(later, places[1])]
    if not all(places):
        return
    least = fast.least_between(earlier, later, 1200, 200)
    placing = best_places((), steps, fast, 200)

    with monkeypatch.context() as patch:
        for name, one in vars(kernels).copy().items():
            if hasattr(one, "py_func"):
                patch.setattr(kernels, name, one.py_func)
        plain = Costs(H)
        assert plain.by_shift(standing, wanted, SHIFTS).tolist() == by_shift.tolist()
        assert plain.least_between(earlier, later, 1200, 200) == least
        assert best_places((), steps, plain, 200) == placing


@given(rows(), rows())
def test_a_place_that_is_fixed_is_the_only_one(earlier, later) -> None:
    a, b = earlier.places(2000, 100), later.places(2000, 100)
    if not a or not b:
        return

    least = COSTS.least_between(
        earlier, later, 2000, 100, was_fixed=a[0], now_fixed=b[-1]
    )

    made = changeover(
        earlier.stand(earlier.end, a[0]), later.stand(later.start, b[-1]), H
    )
    assert least == made.seconds


FREE_TO_SHIFT = replace(
    H,
    pieces={p: replace(t, lift_us=0, per_cm_us=0) for p, t in H.pieces.items()},
    measure_us=0,
)


@pytest.mark.parametrize("handling", [H, FREE_TO_SHIFT], ids=["usual", "free"])
@given(setups(), setups(), st.integers(-800, 300), st.sampled_from([1, 5, 20]))
def test_a_whole_raster_costs_what_each_of_its_shifts_costs(
    handling, standing, wanted, first: int, every: int
) -> None:
    """Most shifts of a raster are read off a line between two others."""
    costs = Costs(handling)
    raster = np.arange(first, first + 60 * every, every)

    whole = costs.by_shift(standing, wanted, raster)

    each = [costs.by_shift(standing, wanted, raster[k : k + 1])[0] for k in range(60)]
    assert whole.tolist() == each


@pytest.mark.parametrize(
    "shifts", [range(-500, 1505, 5), range(-498, 1507, 5), range(0, 1005, 5)]
)
def test_where_two_matchings_share_a_stretch_each_shift_has_its_own(
    monkeypatch: pytest.MonkeyPatch, shifts: range
) -> None:
    """Up to half way between two poles the one is shifted, beyond it the other."""
    standing = (placed(POLE, 0), placed(POLE, 1000))
    wanted = (placed(POLE, 0),)
    for name, one in vars(kernels).copy().items():
        if hasattr(one, "py_func"):
            monkeypatch.setattr(kernels, name, one.py_func)

    costs = Costs(H).by_shift(standing, wanted, np.array(shifts))

    assert costs.tolist() == one_by_one(standing, wanted, shifts)
