"""Stages that follow a changed row: counted anew, and only what still changes."""

from collections.abc import Mapping, Sequence
from typing import Any

from exercises.geometry.data import BY_HAND
from exercises.geometry.editing.edits import RemoveStage, SetPasses, UnableToEdit
from exercises.geometry.elements import FENCES
from exercises.geometry.spec import (
    Change,
    ExerciseSpec,
    SpecElement,
    Stage,
)

FIELDS = (
    "kind", "height_cm", "spread_cm", "rails", "ground_line", "guides", "ascending",
    *BY_HAND,
)  # fmt: skip
"""What an element is built as."""

MOST_PASSES = 6
MOST_STAGES = 14


def counted_anew(spec: ExerciseSpec, origin: Sequence[int | None]) -> tuple[Stage, ...]:
    """Return the stages of a row whose elements stand at other places.

    Parameters
    ----------
    spec
        The exercise as it was.
    origin
        Which element of the old row each of the new one is; None for a new one.
    """
    place = {old: new for new, old in enumerate(origin) if old is not None}
    return _placed(spec.stages, place, len(spec.elements), len(origin))


def _placed(
    stages: Sequence[Stage], place: Mapping[int, int], old: int, new: int
) -> tuple[Stage, ...]:
    """Name the slots of the stages anew; what stood on a lost slot is left out."""
    place = dict(place)
    done = []
    for stage in stages:
        changes = []
        for one in stage.changes:
            if one.after is not None:
                if one.after in place:
                    changes.append(one.model_copy(update={"after": place[one.after]}))
                    place[old] = new
                    new += 1
                old += 1
            elif one.of in place:
                changes.append(one.model_copy(update={"of": place[one.of]}))
        out = tuple(place[gone] for gone in stage.out if gone in place)
        if changes or out:
            done.append(
                stage.model_copy(update={"changes": tuple(changes), "out": out})
            )
    return tuple(done)


def from_stage_on(
    spec: ExerciseSpec, stage: int, slot: int, now: SpecElement, says: str
) -> ExerciseSpec:
    """Return the exercise with an element as it is from a stage on.

    Parameters
    ----------
    stage
        0 for the row as built; one beyond the last makes a new stage.
    slot
        Of the element.
    now
        What stands there in that stage.
    says
        The words of a new stage.
    """
    was = spec.played[min(stage, len(spec.stages))][slot]
    elements = list(spec.elements)
    stages = list(spec.stages)
    if stage == 0:
        elements[slot] = elements[slot].model_copy(update=_built(now))
    elif stage > len(stages):
        stages.append(Stage(says=says, changes=(_change(now, slot),)))
    else:
        stages[stage - 1] = _with(spec, stage - 1, slot, now)
    for n, later in enumerate(stages[stage:], start=stage):
        followed = tuple(
            _followed(one, was, now) if one.of == slot else one for one in later.changes
        )
        stages[n] = later.model_copy(update={"changes": followed})
    return spec.model_copy(
        update={
            "elements": tuple(elements),
            "stages": _that_change(tuple(elements), stages),
        }
    )


def _built(one: SpecElement) -> dict[str, Any]:
    return {name: getattr(one, name) for name in FIELDS}


def _change(one: SpecElement, slot: int) -> Change:
    return Change(**_built(one), of=slot)


def _with(spec: ExerciseSpec, n: int, slot: int, now: SpecElement) -> Stage:
    """Return the n-th further stage with a slot that stands as given."""
    stage = spec.stages[n]
    known = _slots_before(spec, n)
    changes, mine = [], False
    for one in stage.changes:
        here = one.of if one.after is None else known
        known += one.after is not None
        if here == slot:
            one, mine = one.model_copy(update=_built(now)), True
        changes.append(one)
    if not mine:
        changes.append(_change(now, slot))
    return stage.model_copy(update={"changes": tuple(changes)})


def _slots_before(spec: ExerciseSpec, n: int) -> int:
    """Count the slots that are named before the n-th further stage."""
    return len(spec.elements) + sum(
        one.after is not None for stage in spec.stages[:n] for one in stage.changes
    )


def _followed(one: Change, was: SpecElement, now: SpecElement) -> Change:
    """Let what a later change had in common with the stage before follow it."""
    update: dict[str, Any] = {}
    if one.kind is was.kind:
        update = {
            name: getattr(now, name)
            for name in FIELDS
            if now.kind is not was.kind or getattr(one, name) == getattr(was, name)
        }
    if {one.kind, now.kind} <= FENCES:
        update["height_cm"] = max(one.height_cm, now.height_cm)
        if one.height_cm == was.height_cm:
            update["height_cm"] = now.height_cm
    return one.model_copy(update=update)


def _that_change(
    elements: Sequence[SpecElement], stages: Sequence[Stage]
) -> tuple[Stage, ...]:
    """Leave out what changes nothing any more, and stages that are empty then."""
    standing = {n: _built(one) for n, one in enumerate(elements)}
    known = len(elements)
    done = []
    for stage in stages:
        changes = []
        for gone in stage.out:
            standing.pop(gone, None)
        for one in stage.changes:
            slot = one.of if one.of is not None else known
            known += one.of is None
            if one.of is None or standing.get(slot) != _built(one):
                changes.append(one)
                standing[slot] = _built(one)
        if changes or stage.out:
            done.append(stage.model_copy(update={"changes": tuple(changes)}))
    return tuple(done)


def without_stage(spec: ExerciseSpec, edit: RemoveStage) -> ExerciseSpec:
    """Leave a stage out; see `RemoveStage`."""
    _check_stage(spec, edit.stage, first=1)
    gone = spec.stages[edit.stage - 1]
    before = spec.stages[: edit.stage - 1]
    known = _slots_before(spec, edit.stage - 1)
    added = sum(one.after is not None for one in gone.changes)
    after = _placed(
        spec.stages[edit.stage :], {n: n for n in range(known)}, known + added, known
    )
    stages = _that_change(spec.elements, (*before, *after))
    return spec.model_copy(update={"stages": stages})


def with_passes(spec: ExerciseSpec, edit: SetPasses) -> ExerciseSpec:
    """Set how often a stage is ridden; see `SetPasses`."""
    _check_stage(spec, edit.stage, first=0)
    if not 1 <= edit.passes <= MOST_PASSES:
        raise UnableToEdit(
            "passes",
            f"Ride a stage from once to {MOST_PASSES} times; for more, give the "
            "horses a rest and begin again.",
        )
    passes = {"passes": edit.passes}
    if edit.stage == 0:
        return spec.model_copy(update={"start": spec.start.model_copy(update=passes)})
    stages = list(spec.stages)
    stages[edit.stage - 1] = stages[edit.stage - 1].model_copy(update=passes)
    return spec.model_copy(update={"stages": tuple(stages)})


def _check_stage(spec: ExerciseSpec, stage: int, *, first: int) -> None:
    if not first <= stage <= len(spec.stages):
        raise UnableToEdit(
            "no-stage",
            f"There is no stage {stage}: the grid has {len(spec.stages)} after it is "
            "built. Load the page again.",
        )
