"""Makes edits of a row that stands, with everything else left where it stands.

A changed height asks for another distance by the tables. Nobody tapes a row anew
for one hole, though: what stays next to each other stays as far apart as it was
built, and the fit says how that suits.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from exercises.geometry.editing.apply import apply_all
from exercises.geometry.editing.edits import (
    AddElement,
    Edit,
    MoveElement,
    RemoveElement,
    SetGap,
    ShiftGap,
    TurnRound,
)
from exercises.geometry.fitting import STEP_CM, FittedRow
from exercises.geometry.spec import ExerciseSpec, Gap

MOST_HELD_CM = 200
"""A distance held farther than this from its fit is fitted anew, in centimetres."""

Fit = Callable[[ExerciseSpec], FittedRow]
"""Fits an exercise to the horses there are."""


@dataclass(frozen=True, slots=True)
class Held:
    """An exercise after its edits, and where its zero has gone [cm].

    `moved_cm` is where the old zero lies, counted from the new one.
    """

    spec: ExerciseSpec
    row: FittedRow
    moved_cm: int


def origin_of(edits: Sequence[Edit], count: int) -> list[int | None] | None:
    """Return which of `count` elements each is after edits; None for a new one.

    Nothing at all where the order itself is changed.
    """
    origin: list[int | None] = list(range(count))
    for edit in edits:
        match edit:
            case AddElement():
                origin.insert(edit.at, None)
            case RemoveElement():
                origin.pop(edit.at)
            case MoveElement() | TurnRound():
                return None
            case _:
                pass
    return origin


def apply_held(
    spec: ExerciseSpec, row: FittedRow, edits: Sequence[Edit], fit: Fit
) -> Held:
    """Make edits, and keep every distance that none of them speaks of.

    Raises
    ------
    UnableToEdit
        By the first edit that can't be made.
    """
    after = apply_all(spec, edits)
    origin = origin_of(edits, len(spec.elements))
    if origin is None:
        return Held(after, fit(after), 0)
    meant = {edit.before for edit in edits if isinstance(edit, SetGap | ShiftGap)}
    after = _held(spec, after, row, origin, meant, fit)
    fitted = fit(after)
    first = next((n for n, old in enumerate(origin) if old is not None), None)
    moved = 0
    if first is not None:
        old = origin[first] or 0
        moved = _feet(fitted, after)[first] - _feet(row, spec)[old]
    return Held(after, fitted, moved)


def _feet(row: FittedRow, spec: ExerciseSpec) -> list[int]:
    """Return the take-off foot of each element of the start [cm]."""
    feet, landing = [0], spec.elements[0].spread_cm
    for gap, one in zip(row.gaps, spec.elements[1:], strict=True):
        feet.append(landing + gap.built_cm)
        landing = feet[-1] + one.spread_cm
    return feet


def _held(
    spec: ExerciseSpec,
    after: ExerciseSpec,
    row: FittedRow,
    origin: Sequence[int | None],
    meant: set[int],
    fit: Fit,
) -> ExerciseSpec:
    """Set each gap by what it must differ from its fit to stay as it was."""
    was = {gap.before: gap.built_cm for gap in row.gaps}
    known = [(n, old) for n, old in enumerate(origin) if old is not None]
    elements = list(after.elements)
    for (first, before), (n, old) in pairwise(known):
        one = elements[n]
        if n in meant or one.gap is Gap.MEASURE:
            continue
        now = fit(after.model_copy(update={"elements": tuple(elements)}))
        built = {gap.before: gap.built_cm for gap in now.gaps}
        whole = sum(built[k] for k in range(first + 1, n + 1))
        whole += sum(each.spread_cm for each in elements[first + 1 : n])
        wanted = sum(was[k] for k in range(before + 1, old + 1))
        wanted += sum(each.spread_cm for each in spec.elements[before + 1 : old])
        by_cm = one.by_cm + (wanted - whole) // STEP_CM * STEP_CM
        if abs(by_cm) <= MOST_HELD_CM:
            elements[n] = one.model_copy(update={"by_cm": by_cm})
    return after.model_copy(update={"elements": tuple(elements)})
