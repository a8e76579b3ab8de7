"""Edits of a row that stands: what none of them speaks of stays where it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.editing.edits import (
    AddElement,
    MoveElement,
    RemoveElement,
    SetHeight,
    SetSpread,
    ShiftGap,
    TurnRound,
    UnableToEdit,
)
from exercises.geometry.elements import Kind
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.holding import apply_held, origin_of
from exercises.geometry.spec import ExerciseSpec, Gap
from exercises.geometry.strides import HorseSize, Tradition
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x

RIDE = [HorseSize("Onyx", 168), HorseSize("Bracken", 158)]
ROW = spec(pole(), x("placing-trot"), vertical("one-stride"), oxer("one-stride"))


def fit(one: ExerciseSpec) -> FittedRow:
    return fit_row(one, RIDE, Tradition.SCHOOLING)


def feet(row: FittedRow) -> list[int]:
    return [one.at_cm for one in row.start]


@given(st.integers(30, 100), st.integers(1, 3))
def test_a_height_changes_no_distance(height: int, at: int) -> None:
    held = apply_held(ROW, fit(ROW), [SetHeight(at, height)], fit)

    assert feet(held.row) == feet(fit(ROW))
    assert held.moved_cm == 0


def test_a_wider_oxer_pushes_what_stands_behind_it_along() -> None:
    row = spec(oxer(), x("one-stride"))

    held = apply_held(row, fit(row), [SetSpread(0, 100)], fit)

    assert held.row.gaps[0].built_cm == fit(row).gaps[0].built_cm
    assert held.row.start[1].at_cm == fit(row).start[1].at_cm + 20


def test_a_shifted_gap_moves_what_comes_after_by_as_much() -> None:
    before = fit(ROW)

    held = apply_held(ROW, before, [ShiftGap(2, -15)], fit)

    assert [a - b for a, b in zip(feet(held.row), feet(before), strict=True)] == [
        0,
        0,
        -15,
        -15,
    ]


def test_a_pole_before_the_row_moves_its_zero_and_nothing_else() -> None:
    row = spec(x(), vertical("one-stride"))

    held = apply_held(row, fit(row), [AddElement(0, Kind.POLE)], fit)

    assert held.moved_cm == held.row.gaps[0].built_cm
    assert [one - held.moved_cm for one in feet(held.row)[1:]] == feet(fit(row))


def test_a_plank_in_a_stride_leaves_both_fences_where_they_stand() -> None:
    plank = AddElement(
        2, Kind.PLANK, gap=Gap.MID_STRIDE_LANDING, then=Gap.MID_STRIDE_TAKE_OFF
    )
    held = apply_held(ROW, fit(ROW), [plank], fit)

    fences = [one.at_cm for one in held.row.start if one.kind is not Kind.PLANK]
    assert fences == feet(fit(ROW))


def test_an_element_taken_out_leaves_its_neighbours_where_they_stand() -> None:
    row = spec(x(), x("bounce"), x("bounce"), x("one-stride"))

    held = apply_held(row, fit(row), [RemoveElement(1)], fit)

    assert feet(held.row) == [n for k, n in enumerate(feet(fit(row))) if k != 1]


def test_a_measure_stays_a_measure() -> None:
    row = spec(x(), x("measure", gap_cm=612), vertical("one-stride"))

    held = apply_held(row, fit(row), [SetHeight(0, 30)], fit)

    assert held.spec.elements[1].gap_cm == 612
    assert feet(held.row) == feet(fit(row))


def test_a_row_without_any_old_element_has_a_zero_of_its_own() -> None:
    row = spec(x())
    edits = [AddElement(1, Kind.POLE), RemoveElement(0)]

    assert apply_held(row, fit(row), edits, fit).moved_cm == 0


def test_a_neighbour_far_from_its_fit_is_fitted_anew() -> None:
    row = spec(x(), x("five-strides"), x("one-stride"), x("bounce"))
    out = apply_held(row, fit(row), [RemoveElement(1)], fit)

    assert out.row.gaps[0].gap is Gap.ONE_STRIDE
    assert out.spec.elements[1].by_cm == 0


@pytest.mark.parametrize("edit", [MoveElement(1, 2), TurnRound()])
def test_a_row_in_another_order_is_fitted_anew(edit) -> None:
    row = spec(x(), x("one-stride"), x("bounce"))

    held = apply_held(row, fit(row), [edit], fit)

    assert held.row == fit(held.spec)
    assert origin_of([edit], 3) is None


def test_what_cannot_be_made_is_refused() -> None:
    with pytest.raises(UnableToEdit):
        apply_held(ROW, fit(ROW), [SetHeight(9, 40)], fit)
