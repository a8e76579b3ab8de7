"""Says whether a fitted row suits its horses, riders, arena and store, and why."""

from collections.abc import Sequence
from dataclasses import dataclass

from exercises.geometry.cures import changes_for
from exercises.geometry.elements import FENCES, Kind
from exercises.geometry.fit import Fit, Verdict
from exercises.geometry.fitting import FittedRow
from exercises.geometry.lines import (
    GOOD_APPROACH_CM,
    GOOD_RUNOUT_CM,
    LEAST_RUNOUT_CM,
    Room,
    fit_lines,
    span_cm,
)
from exercises.geometry.reverse import Turned
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import ExerciseSpec, Gap
from exercises.geometry.store import EMPTY, Store, store_verdicts
from exercises.geometry.units import METRIC, Units

MOST_FENCES = 8
"""More fences in a row are too much even for the fittest (how-to page)."""

LEVELS = ("novice", "intermediate", "advanced")

CROSSES_ONLY_CM = 50
"""Up to this height a rider jumps crosses: one or two fences, no bounce, no oxer
(the school's own, from published riders' tests)."""

MOST_FENCES_BY_HEIGHT = ((CROSSES_ONLY_CM, 2), (70, 4), (90, 5))
"""How many fences in a row suit who may go up to a height [cm] (the school's own)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Whose level and highest fence bound a row [cm]."""

    who: str
    highest_cm: int
    level: str | None = None


def judge_fit(
    spec: ExerciseSpec,
    row: FittedRow,
    *,
    limits: Sequence[Limit] = (),
    rooms: Sequence[Room] = (),
    store: Store = EMPTY,
    turned: Turned | UnableToReverse | None = None,
    units: Units = METRIC,
) -> tuple[Verdict, ...]:
    """Return a verdict on each thing looked at, the worst first.

    Parameters
    ----------
    spec, row
        The exercise, and as fitted.
    limits
        Of horses, riders and the instructor.
    rooms
        Lines it might stand on; one that fits is enough.
    store
        What is kept, and in which arena the row is to stand; a piece that is not
        in its book is not limited.
    turned
        The row held against its horses from the other end, or why it can't be
        ridden from there; None where nobody rides it that way.
    units
        In which lengths and heights are written.
    """
    verdicts = [
        *_distances(row, units),
        *_measures(row, units),
        *_length(spec, row, rooms, units),
        *store_verdicts([stage.elements for stage in row.stages], store),
        *_limits(spec, row, limits, units),
        *_number(row),
        *_loose_poles(spec),
        *_reversed(spec, turned, units),
    ]
    return worst_first(verdicts)


def worst_first(verdicts: Sequence[Verdict]) -> tuple[Verdict, ...]:
    """Return verdicts in order: what does not fit, what to look at, what fits."""
    order = {Fit.DOES_NOT: 0, Fit.LOOK: 1, Fit.FITS: 2}
    return tuple(sorted(verdicts, key=lambda one: order[one.fit]))


def _distances(row: FittedRow, units: Units) -> list[Verdict]:
    verdicts = []
    horses: dict[str, list[str]] = {}
    for gap in row.gaps:
        for one in gap.horses:
            faults = horses.setdefault(one.horse.name, [])
            if not one.inside:
                faults.append(
                    f"gap {gap.before} ({units.length(gap.built_cm)}) is "
                    f"{one.words(units)}"
                )
    for name, faults in horses.items():
        if faults:
            verdicts.append(
                Verdict(
                    f"distances for {name}",
                    Fit.LOOK if len(faults) == 1 else Fit.DOES_NOT,
                    f"For {name} {'; '.join(faults)}.",
                    faults[0],
                    f"{_change_words(row, name, units)} Or split the ride by size (two "
                    f"changeovers), or give another horse than {name}.",
                )
            )
        else:
            verdicts.append(
                Verdict(
                    f"distances for {name}",
                    Fit.FITS,
                    f"Every gap lies in {name}'s band.",
                    f"{len(row.gaps)} gaps",
                )
            )
    return verdicts


def _measures(row: FittedRow, units: Units) -> list[Verdict]:
    """Say how a distance that was given as a measure rides for each horse."""
    verdicts = []
    for gap in row.gaps:
        if gap.rides_as is None:
            continue
        name = gap.rides_as.value.replace("-", " ")
        off = [f"{one.words(units)} for {one.horse.name}" for one in gap.seen]
        inside = all(one.inside for one in gap.seen)
        verdicts.append(
            Verdict(
                f"measure in gap {gap.before}",
                Fit.FITS if inside else Fit.LOOK,
                f"Gap {gap.before} is given as {units.length(gap.built_cm)}, nearest "
                f"to {name}: {', '.join(off)}.",
                units.length(gap.built_cm),
                "" if inside else "Ride it and look, or mean it as strides.",
            )
        )
    return verdicts


def _change_words(row: FittedRow, name: str, units: Units) -> str:
    """Say what to change for one horse, and who is then how far off."""
    changes = changes_for(row, name)
    built = " and ".join(
        f"gap {one.before} at {units.length(one.built_cm)}" for one in changes
    )
    off = [
        f"{its.horse.name} {its.words(units)} in gap {one.before}"
        for one in changes
        for its in one.outside
    ]
    price = f" ({', '.join(off)})" if off else " (every horse stays in its band)"
    return f"Build {built}{price}."


def _length(
    spec: ExerciseSpec, row: FittedRow, rooms: Sequence[Room], units: Units
) -> list[Verdict]:
    metres = units.length
    if not rooms:
        return []
    runout = max(spec.runout_cm, LEAST_RUNOUT_CM)
    needed = span_cm(row) + spec.approach_cm + runout
    lines = fit_lines(spec, row, rooms)
    best = lines[0]
    name, has = best.room.name, best.room.length_cm
    figure = f"{metres(needed)} needed, {name} has {metres(has)}"
    if best.fit is Fit.DOES_NOT:
        return [
            Verdict(
                "line length",
                Fit.DOES_NOT,
                f"The row with its approach and run-out is {metres(needed)} long; "
                f"the longest line, {name}, has {metres(has)}.",
                figure,
                f"Take {metres(needed - has)} out: leave an element out, "
                "or ride it in a longer arena.",
                firm=True,
            )
        ]
    if best.left_cm < GOOD_RUNOUT_CM:
        return [
            Verdict(
                "line length",
                Fit.LOOK,
                f"Only {metres(best.left_cm)} are left to pull up in after the row "
                f"on {name}.",
                figure,
                f"{metres(GOOD_RUNOUT_CM)} are usual: leave an element out, or turn "
                "away early and wide.",
            )
        ]
    if spec.approach_cm < GOOD_APPROACH_CM:
        return [
            Verdict(
                "line length",
                Fit.LOOK,
                f"The approach is only {metres(spec.approach_cm)} straight.",
                figure,
                f"{metres(GOOD_APPROACH_CM)} straight are the least that is usual: "
                "give the row a longer approach.",
            )
        ]
    short = [one.room.name for one in lines if one.fit is Fit.DOES_NOT]
    but = f" It is too long for {', '.join(short)}." if short else ""
    return [Verdict("line length", Fit.FITS, f"The row fits {name}.{but}", figure)]


def _limits(
    spec: ExerciseSpec, row: FittedRow, limits: Sequence[Limit], units: Units
) -> list[Verdict]:
    highest = max(one.height_cm for one in row.every_element)
    is_high = units.height(highest)
    verdicts = []
    for one in limits:
        if highest > one.highest_cm:
            verdicts.append(
                Verdict(
                    f"height for {one.who}",
                    Fit.DOES_NOT,
                    f"The highest fence is {is_high}; {one.who} may go up to "
                    f"{units.height(one.highest_cm)}.",
                    f"{is_high} against {units.height(one.highest_cm)}",
                    f"Lower it to {units.height(one.highest_cm)}.",
                )
            )
        if one.level and LEVELS.index(spec.level) > LEVELS.index(one.level):
            verdicts.append(
                Verdict(
                    f"level of {one.who}",
                    Fit.LOOK,
                    f"The exercise is for {spec.level} riders; {one.who} is "
                    f"{one.level}.",
                    f"{spec.level} against {one.level}",
                    "Ride its first stages only, or choose an easier row.",
                )
            )
        if one.level:
            verdicts += _elements_for(spec, row, one, units)
    if limits and not verdicts:
        verdicts.append(
            Verdict(
                "levels and heights",
                Fit.FITS,
                "Heights and level suit everyone in the lesson.",
                is_high,
            )
        )
    return verdicts


def _elements_for(
    spec: ExerciseSpec, row: FittedRow, limit: Limit, units: Units
) -> list[Verdict]:
    """Hold what a row is made of against one rider or horse: advice, no refusal."""
    who, up_to, verdicts = limit.who, units.height(limit.highest_cm), []
    gaps = {one.gap for one in spec.every_element}
    if limit.level == LEVELS[0] and Gap.LANDING in gaps:
        verdicts.append(
            Verdict(
                f"landing pole for {who}",
                Fit.LOOK,
                f"A landing pole is not for a novice, and {who} is one.",
                "level novice",
                "Leave the landing pole out.",
            )
        )
    if limit.highest_cm <= CROSSES_ONLY_CM:
        oxers = any(one.kind is Kind.OXER for one in row.every_element)
        for found, what, cure in (
            (Gap.BOUNCE in gaps, "bounce", "Take every other fence of it out."),
            (oxers, "oxer", "Build it as a vertical or a cross."),
        ):
            if found:
                verdicts.append(
                    Verdict(
                        f"{what} for {who}",
                        Fit.LOOK,
                        f"{who} goes up to {up_to}, crosses that is: "
                        f"{'an' if what == 'oxer' else 'a'} {what} comes after that.",
                        up_to,
                        cure,
                    )
                )
    most = next(
        (most for cm, most in MOST_FENCES_BY_HEIGHT if limit.highest_cm <= cm),
        MOST_FENCES,
    )
    fences = _fences(row)
    if most < fences <= MOST_FENCES:
        verdicts.append(
            Verdict(
                f"number of fences for {who}",
                Fit.LOOK,
                f"{fences} fences in a row are many for {who}, who goes up to {up_to}.",
                f"{fences} against {most}",
                f"Leave {fences - most} out, or lay their poles on the ground.",
            )
        )
    return verdicts


def _fences(row: FittedRow) -> int:
    return max(
        sum(one.kind in FENCES for one in stage.elements) for stage in row.stages
    )


def _number(row: FittedRow) -> list[Verdict]:
    fences = _fences(row)
    if fences > MOST_FENCES:
        return [
            Verdict(
                "number of fences",
                Fit.LOOK,
                f"{fences} fences in a row are too much even for a fit horse.",
                f"{fences} against {MOST_FENCES}",
                f"Leave {fences - MOST_FENCES} out.",
            )
        ]
    return []


def _loose_poles(spec: ExerciseSpec) -> list[Verdict]:
    """Point out poles that a horse lands beside: what rolls there is dangerous."""
    loose = [
        str(n + 1)
        for n in range(1, len(spec.elements))
        if spec.elements[n].kind is Kind.POLE and spec.elements[n - 1].kind in FENCES
    ]
    if not loose:
        return []
    which = f"element {' and '.join(loose)}"
    return [
        Verdict(
            "poles behind fences",
            Fit.LOOK,
            f"A pole on the ground behind a fence, where a horse lands, must not roll: "
            f"{which}.",
            which,
            "Use a plank, or fix the pole in its place.",
        )
    ]


def _reversed(
    spec: ExerciseSpec, turned: Turned | UnableToReverse | None, units: Units
) -> list[Verdict]:
    if turned is None:
        return []
    if isinstance(turned, UnableToReverse):
        return [
            Verdict(
                "ridden in reverse",
                Fit.DOES_NOT,
                f"It can't be ridden from the other end: {turned}.",
                "as it stands",
                "Set oxers square and lay ground lines on both sides, or ride it "
                "one way.",
                firm=True,
            )
        ]
    off = [
        f"gap {gap.before} ({units.length(gap.built_cm)}) rides {one.words(units)} for "
        f"{one.horse.name}"
        for gap in turned.gaps
        for one in gap.horses
        if not one.inside
    ]
    guides = (
        " Move the guide rails over." if any(e.guides for e in spec.elements) else ""
    )
    if off:
        return [
            Verdict(
                "ridden in reverse",
                Fit.LOOK,
                f"From the other end {'; '.join(off)}.",
                off[0],
                f"Measure anew before the row is turned round, or ride it one way."
                f"{guides}",
            )
        ]
    return [
        Verdict(
            "ridden in reverse",
            Fit.FITS,
            f"From the other end every gap lies in each horse's band.{guides}",
            f"{len(turned.gaps)} gaps",
        )
    ]
