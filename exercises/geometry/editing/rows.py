"""Changes of a row as a whole: add, take out, move, turn round."""

from collections.abc import Sequence

from exercises.geometry.editing.bounds import (
    check_gap,
    check_height,
    check_spread,
    element_at,
)
from exercises.geometry.editing.edits import (
    AddElement,
    MoveElement,
    RemoveElement,
    UnableToEdit,
)
from exercises.geometry.editing.gaps import (
    joined,
    mended,
    suits,
    usual_gap,
    with_gap,
)
from exercises.geometry.editing.kinds import as_kind
from exercises.geometry.editing.stages import counted_anew
from exercises.geometry.elements import FENCES, Kind
from exercises.geometry.reverse import turn_spec
from exercises.geometry.rows import Row, UnableToReverse
from exercises.geometry.spec import (
    LONGEST_GAP_CM,
    ExerciseSpec,
    Gap,
    SpecElement,
)

MOST_ELEMENTS = 14
"""A row takes no more elements than this (the school's own bound)."""


def added(spec: ExerciseSpec, edit: AddElement) -> ExerciseSpec:
    """Put a new element in; see `AddElement`."""
    count = len(spec.elements)
    if count >= MOST_ELEMENTS:
        raise UnableToEdit(
            "too-many",
            f"The row has {count} elements, which is the most it can have: take one "
            "out first, or make two grids of it.",
        )
    if not 0 <= edit.at <= count:
        element_at(spec, edit.at)
    kinds = [one.kind for one in spec.meant]
    bare = SpecElement(kind=Kind.POLE)
    one = as_kind(bare, edit.kind, near=spec.elements[: edit.at] or spec.elements)
    changes = {
        name: value
        for name, value in (
            ("height_cm", edit.height_cm),
            ("spread_cm", edit.spread_cm),
        )
        if value is not None
    }
    if edit.height_cm is not None:
        check_height(one, edit.height_cm, f"new {edit.kind}")
    if edit.spread_cm is not None:
        check_spread(one, edit.spread_cm, f"new {edit.kind}")
    one = one.model_copy(update=changes)
    gap, then = _gaps_around(spec, edit, kinds)
    elements = list(spec.elements)
    elements.insert(edit.at, one)
    kinds.insert(edit.at, edit.kind)
    for n, meant, cm in (
        (edit.at, gap, edit.gap_cm),
        (edit.at + 1, then, edit.then_cm),
    ):
        if meant is not None:
            check_gap(kinds[n - 1], kinds[n], meant, cm, n)
            measure = cm if meant is Gap.MEASURE else None
            elements[n] = with_gap(elements[n], meant, measure)
    origin = [*range(edit.at), None, *range(edit.at, count)]
    return rebuilt(spec, elements, origin)


def _gaps_around(
    spec: ExerciseSpec, edit: AddElement, kinds: Sequence[Kind]
) -> tuple[Gap | None, Gap | None]:
    """Return what the gaps on either side of a new element are meant as."""
    before, after = kinds[: edit.at], kinds[edit.at :]
    gap = then = None
    if before:
        gap = edit.gap or usual_gap(before, edit.kind, spec.approach)
    if after:
        then = edit.then or usual_gap([*before, edit.kind], after[0], spec.approach)
    if not before or not after or edit.gap or edit.then:
        return gap, then
    was = spec.elements[edit.at].gap
    middle = edit.kind not in FENCES and {before[-1], after[0]} <= FENCES
    if was is Gap.ONE_STRIDE and middle:
        return Gap.MID_STRIDE_LANDING, Gap.MID_STRIDE_TAKE_OFF
    if was and suits(was, edit.kind, after[0]) and was is not Gap.MEASURE:
        then = was
    return gap, then


def removed(spec: ExerciseSpec, edit: RemoveElement) -> ExerciseSpec:
    """Take an element out; see `RemoveElement`."""
    element_at(spec, edit.at)
    if len(spec.elements) == 1:
        raise UnableToEdit(
            "last-element",
            "A grid needs an element: add another first, or put the grid away.",
        )
    elements = list(spec.elements)
    gone = elements.pop(edit.at)
    if edit.at < len(elements) and gone.gap is not None:
        after = elements[edit.at]
        if after.gap is Gap.MEASURE and gone.gap is Gap.MEASURE:
            whole = (gone.gap_cm or 0) + gone.spread_cm + (after.gap_cm or 0)
            if whole <= LONGEST_GAP_CM:
                elements[edit.at] = with_gap(after, Gap.MEASURE, whole)
                origin = [n for n in range(len(spec.elements)) if n != edit.at]
                return rebuilt(spec, elements, origin, kept=edit.at)
        elif one := joined(gone.gap, after.gap or Gap.MEASURE):
            elements[edit.at] = with_gap(after, one)
    origin = [n for n in range(len(spec.elements)) if n != edit.at]
    return rebuilt(spec, elements, origin)


def moved(spec: ExerciseSpec, edit: MoveElement) -> ExerciseSpec:
    """Take an element to another place; see `MoveElement`."""
    element_at(spec, edit.at)
    element_at(spec, edit.to)
    origin = list(range(len(spec.elements)))
    origin.insert(edit.to, origin.pop(edit.at))
    return rebuilt(spec, [spec.elements[n] for n in origin], origin)


def turned_round(spec: ExerciseSpec) -> ExerciseSpec:
    """Turn the row round; see `TurnRound`.

    Raises
    ------
    UnableToEdit
        With code `not-both-ways`, for an ascending oxer or a ground line on one
        side only, in any stage, or an element that is only added later.
    """
    try:
        turned = turn_spec(spec)
        for stage in spec.stages:
            for one in stage.changes:
                Row((one.element(0),)).reversed()
    except UnableToReverse as error:
        says = str(error)
        raise UnableToEdit(
            "not-both-ways", f"{says[0].upper()}{says[1:]}, then turn the row round."
        ) from error
    if any(one.after is not None for stage in spec.stages for one in stage.changes):
        raise UnableToEdit(
            "not-both-ways",
            "A stage adds an element after another one: put it into the row from "
            "the start, then turn it round.",
        )
    origin = list(reversed(range(len(spec.elements))))
    return rebuilt(spec, turned.elements, origin, turning=True)


def rebuilt(
    spec: ExerciseSpec,
    elements: Sequence[SpecElement],
    origin: Sequence[int | None],
    *,
    kept: int | None = None,
    turning: bool = False,
) -> ExerciseSpec:
    """Return the exercise with other elements, its gaps mended, its stages with it.

    Parameters
    ----------
    origin
        Which element of the old row each is; None for a new one.
    kept
        An element whose gap is right though its neighbour before is another.
    turning
        Whether every gap was turned already.
    """
    fresh = frozenset(
        n
        for n in range(1, len(elements))
        if n != kept and not turning and not _same_neighbour(n, origin)
    )
    stages = counted_anew(spec, origin)
    loose = spec.model_copy(update={"elements": tuple(elements), "stages": stages})
    return with_mended_gaps(loose, fresh)


def with_mended_gaps(
    spec: ExerciseSpec, fresh: frozenset[int] = frozenset()
) -> ExerciseSpec:
    """Return an exercise whose every gap suits what it lies between."""
    kinds = [one.kind for one in spec.meant]
    row = mended(spec.elements, kinds, fresh, spec.approach)
    return spec.model_copy(update={"elements": row})


def _same_neighbour(n: int, origin: Sequence[int | None]) -> bool:
    """Say whether an element stands after the one it stood after, or is new."""
    before, one = origin[n - 1], origin[n]
    return one is None or before is None or before + 1 == one
