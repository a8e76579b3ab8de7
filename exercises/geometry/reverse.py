"""A row ridden from its other end: the same ground, measured for that way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from exercises.geometry.elements import FENCES, GroundLine
from exercises.geometry.fitting import STEP_CM, FittedGap, FittedRow, fit_row
from exercises.geometry.rows import Row, UnableToReverse
from exercises.geometry.spec import AnElement, ExerciseSpec, Gait, Gap, SpecElement
from exercises.geometry.strides import Ground, HorseSize, Tradition

_PLACING = {Gap.PLACING_TROT, Gap.PLACING_CANTER}

_OTHER_HALF = {
    Gap.MID_STRIDE_LANDING: Gap.MID_STRIDE_TAKE_OFF,
    Gap.MID_STRIDE_TAKE_OFF: Gap.MID_STRIDE_LANDING,
}


@dataclass(frozen=True, slots=True)
class Turned:
    """A row as ridden from its other end.

    Parameters
    ----------
    spec
        The exercise as it is met that way.
    row
        The distances as they lie, held against each horse that way.
    """

    spec: ExerciseSpec
    row: FittedRow

    @property
    def gaps(self) -> tuple[FittedGap, ...]:
        """The gaps by the numbers they had before, in that order."""
        last = len(self.spec.elements)
        return tuple(
            replace(one, before=last - one.before) for one in reversed(self.row.gaps)
        )


def turn_spec(spec: ExerciseSpec) -> ExerciseSpec:
    """Return an exercise as it is met from the other end.

    A pole that placed the horse lies behind its fence then, and is met as a
    landing pole, unless the row is meant for both ways; a landing pole places.

    Raises
    ------
    UnableToReverse
        For an ascending oxer, or a ground line on one side only.
    """
    elements: list[SpecElement] = []
    before = list(spec.elements)
    for n in range(len(before) - 1, -1, -1):
        one = before[n]
        Row((one.element(0),)).reversed()
        if n == len(before) - 1:
            turned = one.model_copy(update={"gap": None, "gap_cm": None, "by_cm": 0})
        else:
            behind = before[n + 1]
            turned = one.model_copy(
                update={
                    "gap": _meant(spec, behind, one, elements),
                    "gap_cm": behind.gap_cm,
                    "by_cm": behind.by_cm,
                }
            )
        elements.append(turned)
    return spec.model_copy(update={"elements": tuple(elements), "stages": ()})


def _meant(
    spec: ExerciseSpec,
    first: SpecElement,
    second: SpecElement,
    jumped: Sequence[SpecElement],
) -> Gap | None:
    """Say how a gap is meant the other way, after what was jumped by then."""
    gap = first.gap
    if gap in _OTHER_HALF:
        return _OTHER_HALF[gap]
    onto_a_pole = first.kind in FENCES and second.kind not in FENCES
    if gap in _PLACING and onto_a_pole and not spec.both_ways:
        return Gap.LANDING
    if gap is Gap.LANDING:
        trotting = spec.approach is Gait.TROT and not any(
            one.kind in FENCES for one in jumped
        )
        return Gap.PLACING_TROT if trotting else Gap.PLACING_CANTER
    return gap


def turn_row(
    spec: ExerciseSpec,
    row: FittedRow,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
) -> Turned:
    """Hold a row as it is built against its horses for the other direction.

    Raises
    ------
    UnableToReverse
        For an ascending oxer, or a ground line on one side only.
    """
    turned = turn_spec(spec)
    last = len(spec.elements)
    # A measure typed in between the marks of the tape stays as it was typed.
    built = {
        last - gap.before: gap.built_cm
        for gap in row.gaps
        if gap.built_cm % STEP_CM == 0
    }
    return Turned(turned, fit_row(turned, horses, tradition, ground, built))


def make_reversible(spec: ExerciseSpec) -> ExerciseSpec:
    """Return an exercise with square oxers and ground lines on both sides."""

    def both(one: AnElement) -> AnElement:
        try:
            Row((one.element(0),)).reversed()
        except UnableToReverse:
            changes: dict[str, object] = {"ascending": False}
            if one.ground_line is not GroundLine.NONE:
                changes["ground_line"] = GroundLine.BOTH
            return type(one).model_validate(one.model_dump() | changes)
        return one

    return spec.altered(both)
