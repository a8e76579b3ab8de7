"""Changes of one element at its place, at the start or at the end of the lesson."""

from typing import Any

from exercises.geometry.editing.bounds import (
    check_gap,
    check_height,
    check_spread,
    element_at,
    only,
    slot_name,
    standing,
)
from exercises.geometry.editing.edits import (
    ElementEdit,
    SetAscending,
    SetGap,
    SetGroundLine,
    SetGroundLineOut,
    SetGuides,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetRails,
    SetSpread,
    SetVPoles,
    ShiftGap,
    UnableToEdit,
)
from exercises.geometry.editing.gaps import MID_STRIDE, mended, with_gap
from exercises.geometry.editing.kinds import as_kind
from exercises.geometry.editing.rows import with_mended_gaps
from exercises.geometry.editing.stages import MOST_STAGES, from_stage_on
from exercises.geometry.elements import Kind
from exercises.geometry.spec import (
    ExerciseSpec,
    Gap,
)


def changed(spec: ExerciseSpec, edit: ElementEdit, says: str) -> ExerciseSpec:
    """Return the exercise with one element changed; see the edits.

    `says` are the words of a new stage, where the edit makes one.
    """
    one = standing(spec, edit.at, edit.stage)
    made = _made(one, edit, slot_name(spec, edit.at, edit.stage), spec)
    if made == one:
        return spec
    if edit.stage > MOST_STAGES:
        raise UnableToEdit(
            "too-many-stages",
            f"The grid has {MOST_STAGES} stages, which is the most it can have: leave "
            "one out first.",
        )
    return with_mended_gaps(from_stage_on(spec, edit.stage, edit.at, made, says))


def _made(one: Any, edit: ElementEdit, name: str, spec: ExerciseSpec) -> Any:
    match edit:
        case SetKind():
            return as_kind(one, edit.kind, near=spec.elements)
        case SetHeight():
            check_height(one, edit.height_cm, name)
            return one.model_copy(update={"height_cm": edit.height_cm})
        case SetSpread():
            check_spread(one, edit.spread_cm, name)
            return one.model_copy(update={"spread_cm": edit.spread_cm})
        case SetAscending():
            if edit.ascending and one.kind is not Kind.OXER:
                raise only(name, one, "an oxer", "ascending")
            return one.model_copy(update={"ascending": edit.ascending})
        case SetRails():
            if edit.rails is not None and one.kind not in {Kind.VERTICAL, Kind.OXER}:
                raise only(name, one, "a vertical or an oxer", "given rails")
            if edit.rails is not None and not 1 <= edit.rails <= 6:
                raise UnableToEdit("rails", f"Give the {name} from 1 to 6 rails.")
            return one.model_copy(update={"rails": edit.rails})
        case SetGroundLine():
            return one.model_copy(update={"ground_line": edit.ground_line})
        case SetGuides():
            return one.model_copy(update={"guides": edit.guides})
        case SetGroundLineOut():
            return one.model_copy(update={"ground_line_cm": edit.out_cm})
        case SetGuidesApart():
            return one.model_copy(update={"guides_cm": edit.apart_cm})
        case SetVPoles():
            return one.model_copy(update={"v_poles_cm": edit.apart_cm})
        case _:
            return one.model_copy(update={"leaning": edit.leaning})


def regapped(spec: ExerciseSpec, edit: SetGap) -> ExerciseSpec:
    """Return the exercise with another meaning of a gap; see `SetGap`."""
    one = element_at(spec, edit.before)
    if edit.before == 0:
        raise UnableToEdit("no-gap", "The first element has no gap before it.")
    kinds = [each.kind for each in spec.meant]
    before, after = kinds[edit.before - 1], kinds[edit.before]
    check_gap(before, after, edit.gap, edit.gap_cm, edit.before)
    elements = list(spec.elements)
    measure = edit.gap_cm if edit.gap is Gap.MEASURE else None
    elements[edit.before] = with_gap(one, edit.gap, measure)
    if edit.gap in MID_STRIDE:
        pair = edit.before + (1 if edit.gap is Gap.MID_STRIDE_LANDING else -1)
        other = (MID_STRIDE - {edit.gap}).pop()
        if 0 < pair < len(elements):
            elements[pair] = with_gap(elements[pair], other)
    row = mended(elements, kinds, frozenset(), spec.approach)
    if row[edit.before].gap is not edit.gap:
        raise UnableToEdit(
            "gap-unsuited",
            "The middle of a stride lies between two fences: add a fence on the "
            "other side first.",
            at=edit.before,
        )
    return spec.model_copy(update={"elements": row})


def shifted(spec: ExerciseSpec, edit: ShiftGap) -> ExerciseSpec:
    """Return the exercise with a gap built otherwise than its fit; see `ShiftGap`."""
    one = element_at(spec, edit.before)
    if edit.before == 0:
        raise UnableToEdit("no-gap", "The first element has no gap before it.")
    if one.gap is Gap.MEASURE:
        raise UnableToEdit(
            "no-fit", "That gap is a measure: give it another length.", at=edit.before
        )
    elements = list(spec.elements)
    elements[edit.before] = one.model_copy(update={"by_cm": edit.by_cm})
    return spec.model_copy(update={"elements": tuple(elements)})
