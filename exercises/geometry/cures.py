"""What would make a row fit its horses, and what each cure costs.

Three cures stand open when one built distance does not suit every horse:
change the distance, split the ride by size, swap the horse. Each is given with
its price: who is then how far off, or how the halves fit by themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from exercises.geometry.fitting import (
    STEP_CM,
    FittedGap,
    FittedRow,
    HorseGap,
    fit_row,
)
from exercises.geometry.spec import AnElement, ExerciseSpec
from exercises.geometry.strides import GapTarget, Ground, HorseSize, Tradition


@dataclass(frozen=True, slots=True)
class Change:
    """Another built distance for one gap, and how it suits each horse [cm]."""

    before: int
    was_cm: int
    built_cm: int
    horses: tuple[HorseGap, ...]

    @property
    def outside(self) -> tuple[HorseGap, ...]:
        """The horses that are then outside their bands."""
        return tuple(one for one in self.horses if not one.inside)


@dataclass(frozen=True, slots=True)
class Half:
    """A part of the ride, and the row it would have by itself."""

    horses: tuple[HorseSize, ...]
    row: FittedRow


@dataclass(frozen=True, slots=True)
class Split:
    """A ride in two: the shorter-striding first."""

    short: Half
    long: Half

    @property
    def worst(self) -> float:
        """The largest deviation left, in halves of the band."""
        return max(self.short.row.worst, self.long.row.worst)


@dataclass(frozen=True, slots=True)
class Swap:
    """Another horse for one of the ride, and the row of the ride it makes."""

    gone: str
    horse: HorseSize
    row: FittedRow


def changes_for(row: FittedRow, horse: str) -> tuple[Change, ...]:
    """Return the least changes of distance that bring a horse into its bands.

    Of each gap outside its band the mark of the tape inside it that lies
    nearest to what is built; nothing for a horse that is inside everywhere.
    """
    changes = []
    for gap in row.gaps:
        for one in gap.horses:
            if one.horse.name == horse and not one.inside:
                built = nearest_inside_cm(one.target, gap.built_cm)
                changes.append(_change(gap, built))
    return tuple(changes)


def nearest_inside_cm(target: GapTarget, built_cm: int) -> int:
    """Return the mark of the tape inside a band that lies nearest to a distance."""
    first = -(-target.low_cm // STEP_CM) * STEP_CM
    last = target.high_cm // STEP_CM * STEP_CM
    return min(max(built_cm, first), last)


def _change(gap: FittedGap, built_cm: int) -> Change:
    horses = tuple(
        HorseGap(one.horse, one.target, built_cm - one.target.target_cm)
        for one in gap.horses
    )
    return Change(gap.before, gap.built_cm, built_cm, horses)


def split_by_size(
    spec: ExerciseSpec,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
) -> Split | None:
    """Return the ride in two parts with the least largest deviation left.

    The horses are put in the order of what they want over the whole row, and
    parted once; of equal parts the more even. None where there are fewer than two
    horses, or no gap that is measured by a horse.
    """
    if len(horses) < 2:
        return None
    by_itself = {one: fit_row(spec, [one], tradition, ground) for one in horses}

    def wants(one: HorseSize) -> int:
        return sum(
            its.target.target_cm for gap in by_itself[one].gaps for its in gap.horses
        )

    ordered = sorted(horses, key=lambda one: (wants(one), one.name))
    if not wants(ordered[-1]):
        return None

    def part(at: int) -> Split:
        short, long = tuple(ordered[:at]), tuple(ordered[at:])
        return Split(
            Half(short, fit_row(spec, short, tradition, ground)),
            Half(long, fit_row(spec, long, tradition, ground)),
        )

    parts = [part(at) for at in range(1, len(ordered))]
    return min(
        parts,
        key=lambda one: (
            one.worst,
            abs(len(one.short.horses) - len(one.long.horses)),
        ),
    )


def swaps_for(
    spec: ExerciseSpec,
    horses: Sequence[HorseSize],
    gone: str,
    others: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
) -> tuple[Swap, ...]:
    """Return who else of the yard could go in a horse's place, the best first.

    The ride is fitted anew with each; only those are returned that lie inside
    every band then and leave no horse farther off than it is now.
    """
    now = fit_row(spec, horses, tradition, ground)
    rest = [one for one in horses if one.name != gone]
    swaps = []
    for other in others:
        row = fit_row(spec, [*rest, other], tradition, ground)
        its = [one for gap in row.gaps for one in gap.horses if one.horse is other]
        if all(one.inside for one in its) and row.worst <= max(now.worst, 1.0):
            swaps.append(Swap(gone, other, row))
    return tuple(sorted(swaps, key=lambda one: (one.row.worst, one.horse.name)))


def lowered(spec: ExerciseSpec, highest_cm: int) -> ExerciseSpec:
    """Return an exercise with nothing higher than a height, in centimetres."""

    def lower(one: AnElement) -> AnElement:
        height_cm = min(one.height_cm, highest_cm)
        return type(one).model_validate(one.model_dump() | {"height_cm": height_cm})

    return spec.altered(lower)


def built_for(spec: ExerciseSpec, row: FittedRow, horse: str) -> ExerciseSpec:
    """Return an exercise whose gaps bring a horse into its bands; see `changes_for`."""
    elements = list(spec.elements)
    for change in changes_for(row, horse):
        one = elements[change.before]
        by_cm = one.by_cm + change.built_cm - change.was_cm
        elements[change.before] = one.model_copy(update={"by_cm": by_cm})
    return spec.model_copy(update={"elements": tuple(elements)})


def unshifted(spec: ExerciseSpec) -> ExerciseSpec:
    """Return an exercise with every distance as its horses want it, no step taken."""
    elements = tuple(one.model_copy(update={"by_cm": 0}) for one in spec.elements)
    return spec.model_copy(update={"elements": elements})


def built_like(spec: ExerciseSpec, row: FittedRow, other: FittedRow) -> ExerciseSpec:
    """Return an exercise that is built as another row of it, for part of the ride.

    Parameters
    ----------
    spec
        The exercise.
    row
        As it is fitted to the whole ride with no step taken; see `unshifted`.
    other
        As it is fitted to the part.
    """
    elements = list(unshifted(spec).elements)
    for its, part in zip(row.gaps, other.gaps, strict=True):
        one = elements[its.before]
        by_cm = part.built_cm - its.built_cm
        elements[its.before] = one.model_copy(update={"by_cm": by_cm})
    return spec.model_copy(update={"elements": tuple(elements)})
