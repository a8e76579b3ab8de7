"""A row as it stands in one of its stages: held against its horses once more.

The tape is read once, but what stands between its marks changes: a fence raised
wants more room, one taken out leaves a longer gap. Each stage is therefore read
as a row of its own. A gap whose neighbours are others than it was meant for, or
that was given as a measure, is read as what it is nearest to.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from exercises.geometry.elements import FENCES
from exercises.geometry.fitting import (
    STEP_CM,
    FittedGap,
    FittedRow,
    FittedStage,
    HorseGap,
    fit_row,
)
from exercises.geometry.reverse import Turned, turn_row
from exercises.geometry.spec import (
    LONGEST_GAP_CM,
    SHORTEST_GAP_CM,
    STRIDES,
    ExerciseSpec,
    Gap,
    SpecElement,
)
from exercises.geometry.stages import added_slots
from exercises.geometry.strides import (
    GapSetting,
    Ground,
    HorseSize,
    Tradition,
    gap_target,
)

_JUMPED = (Gap.BOUNCE, *STRIDES)


@dataclass(frozen=True, slots=True)
class StageFit:
    """A stage as it stands, and how its gaps suit the horses then.

    Parameters
    ----------
    number
        Counted from 1, the row as built.
    stage
        What stands, and what has changed.
    spec, row
        The stage as a row of its own, its distances as they lie.
    """

    number: int
    stage: FittedStage
    spec: ExerciseSpec
    row: FittedRow

    @property
    def outside(self) -> tuple[tuple[FittedGap, HorseGap], ...]:
        """Gaps between fences that lie outside a horse's band, with the horse."""
        elements = self.stage.elements
        return tuple(
            (gap, one)
            for gap in self.row.gaps
            for one in gap.horses
            if not one.inside
            and {elements[gap.before - 1].kind, elements[gap.before].kind} <= FENCES
        )


def fit_stages(
    spec: ExerciseSpec,
    row: FittedRow,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
) -> tuple[StageFit, ...]:
    """Hold every stage of a fitted row against its horses as it stands then."""
    fits = []
    for number in range(1, len(row.stages) + 1):
        alone, built = _alone(spec, row, number, horses, tradition)
        fits.append(
            StageFit(
                number,
                row.stages[number - 1],
                alone,
                fit_row(alone, horses, tradition, ground, built),
            )
        )
    return tuple(fits)


def turn_last_stage(
    last: StageFit,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
) -> Turned:
    """Hold the last stage against its horses as ridden from the other end.

    Raises
    ------
    UnableToReverse
        For an ascending oxer, or a ground line on one side only.
    """
    return turn_row(last.spec, last.row, horses, tradition, ground)


def _alone(
    spec: ExerciseSpec,
    row: FittedRow,
    number: int,
    horses: Sequence[HorseSize],
    tradition: Tradition,
) -> tuple[ExerciseSpec, dict[int, int]]:
    """Return a stage as an exercise without stages, and its gaps as they lie."""
    stage, slots = row.stages[number - 1], spec.played[number - 1]
    elements: list[SpecElement] = []
    built: dict[int, int] = {}
    for n, slot in enumerate(stage.slots):
        plain = {
            key: value
            for key, value in slots[slot].model_dump().items()
            if key in SpecElement.model_fields and key not in {"gap", "gap_cm"}
        }
        if n == 0:
            elements.append(SpecElement(**plain))
            continue
        lies = stage.elements[n].at_cm - stage.elements[n - 1].landing_cm
        gap = _meaning(spec, stage, n)
        if gap is None:
            gap = _read(spec, stage, n, lies, horses, tradition)
        if not _on_the_tape(lies):
            gap = Gap.MEASURE
        if gap is Gap.MEASURE:
            one = SpecElement(**plain, gap=gap, gap_cm=SHORTEST_GAP_CM)
            elements.append(one.model_copy(update={"gap_cm": lies}))
        else:
            built[n] = lies
            elements.append(SpecElement(**plain, gap=gap))
    alone = spec.model_copy(update={"elements": tuple(elements), "stages": ()})
    return alone, built


def _on_the_tape(gap_cm: int) -> bool:
    return gap_cm % STEP_CM == 0 and SHORTEST_GAP_CM <= gap_cm <= LONGEST_GAP_CM


def _meaning(spec: ExerciseSpec, stage: FittedStage, n: int) -> Gap | None:
    """Return how a gap is meant, if it lies between the two it is meant for.

    The half of a stride has its meaning only while the other half stands too.
    """
    slot, before = stage.slots[n], stage.slots[n - 1]
    if slot >= len(spec.elements):
        _, own, one = added_slots(spec)[slot - len(spec.elements)]
        return one.gap if own == before and one.gap is not Gap.MEASURE else None
    gap = spec.elements[slot].gap
    pair = {Gap.MID_STRIDE_LANDING: slot + 1, Gap.MID_STRIDE_TAKE_OFF: slot - 2}
    if gap in pair and pair[gap] not in stage.slots:
        return None
    return gap if slot - 1 == before and gap is not Gap.MEASURE else None


def _read(
    spec: ExerciseSpec,
    stage: FittedStage,
    n: int,
    lies_cm: int,
    horses: Sequence[HorseSize],
    tradition: Tradition,
) -> Gap:
    """Read a gap between two fences as what it is nearest to, else as a measure."""
    first, second = stage.elements[n - 1], stage.elements[n]
    if not {first.kind, second.kind} <= FENCES:
        return Gap.MEASURE
    number = sum(one.kind in FENCES for one in stage.elements[:n])
    setting = GapSetting(Gap.BOUNCE, first, second, spec.approach, number)

    def off(gap: Gap) -> int:
        meant = replace(setting, gap=gap)
        return sum(
            abs(gap_target(meant, horse, tradition).target_cm - lies_cm)
            for horse in horses
        )

    return min(_JUMPED, key=off)
