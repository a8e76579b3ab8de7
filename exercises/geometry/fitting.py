"""Fits an exercise to the horses of a lesson: one built distance for each gap.

For a group the built distance makes the largest deviation from the horses'
targets, weighted by their bands, as small as it can be. Built distances are
multiples of 5 cm, as a tape is read.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from exercises.geometry.elements import FENCES, Element
from exercises.geometry.lengths import metres
from exercises.geometry.spec import (
    LONGEST_GAP_CM,
    SHORTEST_GAP_CM,
    STRIDES,
    ExerciseSpec,
    Gap,
    SpecElement,
    Stage,
)
from exercises.geometry.stages import Step, added_slots, standing_at, steps_between
from exercises.geometry.strides import (
    GapSetting,
    GapTarget,
    Ground,
    HorseSize,
    Tradition,
    gap_target,
)
from exercises.geometry.units import METRIC, Units

STEP_CM = 5
"""Built distances are multiples of this, in centimetres."""


class UnableToFit(ValueError):
    """There is nothing to fit to, or a distance that is none."""


@dataclass(frozen=True, slots=True)
class HorseGap:
    """How a built gap suits one horse [cm]."""

    horse: HorseSize
    target: GapTarget
    off_cm: int

    @property
    def inside(self) -> bool:
        """Whether the built distance lies in the horse's band."""
        return abs(self.off_cm) <= half_band_cm(self.target)

    @property
    def halves(self) -> float:
        """How far off, in halves of the band: up to 1 lies inside."""
        return abs(self.off_cm) / half_band_cm(self.target)

    def words(self, units: Units = METRIC) -> str:
        """Say how far off, "20 cm long" say."""
        if not self.off_cm:
            return "to the mark"
        way = "long" if self.off_cm > 0 else "short"
        return f"{units.short(abs(self.off_cm))} {way}"


@dataclass(frozen=True, slots=True)
class FittedGap:
    """A gap as built: before which element, how meant, how long [cm].

    A measure is meant for no horse; between two fences `rides_as` is what it lies
    nearest to, and `seen` how it then suits each. `proposed_cm` is the distance of
    the least largest deviation, where another was chosen.
    """

    before: int
    gap: Gap
    built_cm: int
    horses: tuple[HorseGap, ...]
    proposed_cm: int | None = None
    rides_as: Gap | None = None
    seen: tuple[HorseGap, ...] = ()

    @property
    def worst(self) -> float:
        """The largest deviation of its horses, in halves of their bands."""
        return max((one.halves for one in self.horses), default=0.0)


@dataclass(frozen=True, slots=True)
class FittedStage:
    """A stage as built: its words, how often ridden, and what stands.

    Parameters
    ----------
    says, passes, together
        As the exercise has them.
    elements
        In the order ridden, counted from the zero of the start [cm].
    slots
        Of which slot each element is.
    steps
        What has changed since the stage before; none in the first.
    """

    says: str
    passes: int
    elements: tuple[Element, ...]
    slots: tuple[int, ...]
    steps: tuple[Step, ...] = ()
    together: str = ""

    @property
    def things(self) -> int:
        """How many things change in it; one is as it should be."""
        return sum(len(one.respects) for one in self.steps)


@dataclass(frozen=True, slots=True)
class FittedRow:
    """An exercise with exact distances.

    Parameters
    ----------
    stages
        The row as built, then as it grows; all counted from the same zero.
    gaps
        In order, one before each element of the start but the first.
    """

    stages: tuple[FittedStage, ...]
    gaps: tuple[FittedGap, ...]

    @property
    def start(self) -> tuple[Element, ...]:
        """What is built before the lesson."""
        return self.stages[0].elements

    @property
    def end(self) -> tuple[Element, ...]:
        """What stands when the lesson is over: the last stage."""
        return self.stages[-1].elements

    @property
    def every_element(self) -> tuple[Element, ...]:
        """The elements of all stages, as they stand in each."""
        return tuple(one for stage in self.stages for one in stage.elements)

    @property
    def length_cm(self) -> int:
        """Last landing foot of the start, in centimetres."""
        return max(one.landing_cm for one in self.start)

    @property
    def worst(self) -> float:
        """The largest deviation of any horse in any gap, in halves of the band."""
        return max((one.worst for one in self.gaps), default=0.0)


def fit_row(
    spec: ExerciseSpec,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None = None,
    built: Mapping[int, int] | None = None,
) -> FittedRow:
    """Fit an exercise to horses.

    Parameters
    ----------
    spec, horses, tradition, ground
        What is built, for whom, by which table, on what.
    built
        Distances chosen in place of the proposed, by the element they lie
        before [cm]; each horse is held against them all the same.

    Raises
    ------
    UnableToFit
        Without a horse, or with a chosen distance that is none.
    """
    if not horses:
        raise UnableToFit("give the lesson's riders their horses first")
    chosen = dict(built or {})
    _check_chosen(spec, chosen)
    feet = [0]
    landing = spec.elements[0].spread_cm
    gaps: list[FittedGap] = []
    for n, one in enumerate(spec.elements[1:], start=1):
        fitted = _fit_gap(spec, n, horses, tradition, ground, chosen.get(n))
        gaps.append(fitted)
        feet.append(landing + fitted.built_cm)
        landing = feet[-1] + one.spread_cm
    for slot, after, one in added_slots(spec):
        distance = one.gap_cm
        if distance is None:
            setting = _setting_of_added(spec, after, one)
            distance = _fitted(
                slot, setting, horses, tradition, ground, one.by_cm
            ).built_cm
        feet.append(feet[after] + standing_at(spec, slot, after).spread_cm + distance)
    return FittedRow(_stages(spec, feet), tuple(gaps))


def _stages(spec: ExerciseSpec, feet: Sequence[int]) -> tuple[FittedStage, ...]:
    """Place every stage: what changes stays at its take-off foot."""
    built: list[FittedStage] = []
    before: dict[int, Element] = {}
    for words, slots in zip((spec.start, *spec.stages), spec.played, strict=True):
        placed = dict(
            sorted(
                ((slot, one.element(feet[slot])) for slot, one in slots.items()),
                key=lambda one: (one[1].at_cm, one[1].landing_cm),
            )
        )
        steps = () if not built else steps_between(before, placed)
        built.append(
            FittedStage(
                words.says,
                words.passes,
                tuple(placed.values()),
                tuple(placed),
                steps,
                words.together if isinstance(words, Stage) else "",
            )
        )
        before = placed
    return tuple(built)


def _check_chosen(spec: ExerciseSpec, chosen: Mapping[int, int]) -> None:
    for n, cm in chosen.items():
        if not 1 <= n < len(spec.elements):
            raise UnableToFit(f"there is no gap {n} in {spec.name}")
        if cm % STEP_CM or not SHORTEST_GAP_CM <= cm <= LONGEST_GAP_CM:
            raise UnableToFit(
                f"gap {n} can't be {metres(cm)}: choose a multiple of {STEP_CM} cm "
                f"from {metres(SHORTEST_GAP_CM)} to {metres(LONGEST_GAP_CM)}"
            )


def compromise_cm(targets: Sequence[GapTarget]) -> int:
    """Return the built distance with the least largest deviation, in centimetres.

    Deviations are weighted by the half width of each band. Without rounding the
    least possible is the largest of (t_j - t_i) / (w_i + w_j) over all pairs,
    and the distance lies where the dearest pair is equally far off. Of the two
    multiples of 5 cm around it the better is taken, the longer of equals: a
    distance is better too long than too short (UK training sheet).
    """
    best, at = -1.0, float(targets[0].target_cm)
    for low in targets:
        for high in targets:
            weights = half_band_cm(low) + half_band_cm(high)
            worst = (high.target_cm - low.target_cm) / weights
            if worst > best:
                best, at = worst, high.target_cm - worst * half_band_cm(high)
    below = int(at // STEP_CM) * STEP_CM
    return min(
        (below + STEP_CM, below), key=lambda built: largest_deviation(built, targets)
    )


def largest_deviation(built_cm: int, targets: Sequence[GapTarget]) -> float:
    """Return the largest deviation of a distance, in halves of the band."""
    return max(abs(built_cm - one.target_cm) / half_band_cm(one) for one in targets)


def half_band_cm(target: GapTarget) -> int:
    """Return half the width of a horse's band, in centimetres."""
    return target.high_cm - target.target_cm


def _fit_gap(
    spec: ExerciseSpec,
    n: int,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None,
    chosen_cm: int | None,
) -> FittedGap:
    one = spec.elements[n]
    gap = one.gap or Gap.MEASURE
    meant = spec.meant
    if one.gap_cm is not None:
        built = chosen_cm or one.gap_cm
        if not {meant[n - 1].kind, meant[n].kind} <= FENCES:
            return FittedGap(n, gap, built, ())
        setting = _setting(spec, meant[n - 1], meant[n], n)
        seen = _nearest(setting, built, horses, tradition, ground)
        return FittedGap(n, gap, built, (), None, *seen)
    second = meant[n].model_copy(update={"gap": gap})
    setting = _setting(spec, meant[n - 1], second, n)
    return _fitted(n, setting, horses, tradition, ground, one.by_cm, chosen_cm)


def _nearest(
    setting: GapSetting,
    built_cm: int,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None,
) -> tuple[Gap, tuple[HorseGap, ...]]:
    """Return what a measure between two fences lies nearest to, for all horses."""
    found = {
        gap: tuple(
            gap_target(replace(setting, gap=gap), horse, tradition, ground)
            for horse in horses
        )
        for gap in (Gap.BOUNCE, *STRIDES)
    }
    best = min(found, key=lambda gap: largest_deviation(built_cm, found[gap]))
    return best, tuple(
        HorseGap(horse, target, built_cm - target.target_cm)
        for horse, target in zip(horses, found[best], strict=True)
    )


def _fitted(
    n: int,
    setting: GapSetting,
    horses: Sequence[HorseSize],
    tradition: Tradition,
    ground: Ground | None,
    by_cm: int,
    chosen_cm: int | None = None,
) -> FittedGap:
    targets = [gap_target(setting, horse, tradition, ground) for horse in horses]
    proposed = compromise_cm(targets)
    built = chosen_cm or max(proposed + by_cm, SHORTEST_GAP_CM)
    its = tuple(
        HorseGap(horse, target, built - target.target_cm)
        for horse, target in zip(horses, targets, strict=True)
    )
    return FittedGap(
        n, setting.gap, built, its, proposed if built != proposed else None
    )


def _setting(
    spec: ExerciseSpec, first: SpecElement, second: SpecElement, n: int
) -> GapSetting:
    """Say where the gap before element n stands, for the halves of a stride too."""
    meant = spec.meant
    second_fence, first_fence = second, first
    if second.gap is Gap.MID_STRIDE_LANDING:
        second_fence = meant[n + 1]
    if second.gap is Gap.MID_STRIDE_TAKE_OFF:
        first_fence = meant[n - 2]
    return _between(spec, first_fence, second_fence, second.gap, meant[:n])


def _between(
    spec: ExerciseSpec,
    first: SpecElement,
    second: SpecElement,
    gap: Gap | None,
    before: Sequence[SpecElement],
) -> GapSetting:
    fences = sum(one.kind in FENCES for one in before)
    return GapSetting(
        gap=gap or Gap.MEASURE,
        first=first.element(0),
        second=second.element(0),
        approach=spec.approach,
        number=max(fences, 1),
    )


def _setting_of_added(spec: ExerciseSpec, after: int, one: SpecElement) -> GapSetting:
    """Say where the gap before an element stands that a stage adds."""
    added = {slot: (before, its) for slot, before, its in added_slots(spec)}
    chain: list[SpecElement] = []
    slot = after
    while slot in added:
        slot, its = added[slot]
        chain.append(its)
    chain += reversed(spec.meant[: slot + 1])
    return _between(spec, chain[0], one, one.gap, chain)
