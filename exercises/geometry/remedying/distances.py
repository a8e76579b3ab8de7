"""Remedies that change the way in, a distance, or what stands in the row."""

from collections.abc import Callable, Mapping

from exercises.geometry.editing.edits import (
    AddElement,
    RemoveElement,
    RemoveStage,
    SetApproach,
    SetGap,
    ShiftGap,
)
from exercises.geometry.elements import FENCES, Kind
from exercises.geometry.remedying.where import Made, NotHere, Where
from exercises.geometry.spec import ExerciseSpec, Gait, Gap

STEP_CM = 15
"""One step of a distance, 6 in (a page on trot poles moves them by it)."""

MOST_STEPS = 2
"""So many steps of a distance are taken, never more (the school's own)."""

PLACING_TROT_CM, PLACING_CANTER_CM = 270, 300
"""A placing pole lies about so far before a fence for a horse (the tables of
distances; what is built is fitted)."""

CANTER_POLES = 3
"""So many poles are laid on the way in (common practice, no source)."""


def _trot_in(where: Where) -> Made:
    if where.spec.approach is Gait.TROT:
        raise NotHere("the row is trotted into already")
    return (SetApproach(Gait.TROT),), "approach"


def _placing_pole(where: Where) -> Made:
    first = where.first_fence
    trot = where.spec.approach is Gait.TROT
    gap = Gap.PLACING_TROT if trot else Gap.PLACING_CANTER
    before = where.spec.elements[first].gap
    if first and before in {Gap.PLACING_TROT, Gap.PLACING_CANTER}:
        raise NotHere("the first fence has a placing pole already")
    figure = where.units.length(PLACING_TROT_CM if trot else PLACING_CANTER_CM)
    add = AddElement(first, Kind.POLE, then=gap)
    return (add,), f"before element {first + 1}, about {figure} for a horse, as fitted"


def _single_stride(where: Where) -> int:
    """Return the single stride at an element: the one before it, else after it."""
    elements = where.spec.elements
    for n in (where.at, where.at + 1):
        if 0 < n < len(elements) and _plain_stride(where.spec, n):
            return n
    raise NotHere(f"no single stride between two fences lies at {where.name}")


def _plain_stride(spec: ExerciseSpec, n: int) -> bool:
    kinds = {spec.meant[n - 1].kind, spec.meant[n].kind}
    return spec.elements[n].gap is Gap.ONE_STRIDE and kinds <= FENCES


def _plank_at(n: int) -> AddElement:
    return AddElement(
        n, Kind.PLANK, gap=Gap.MID_STRIDE_LANDING, then=Gap.MID_STRIDE_TAKE_OFF
    )


def _mid_plank(where: Where) -> Made:
    n = _single_stride(where)
    return (_plank_at(n),), f"in gap {n}, a little nearer the take-off"


def _planks_in_all(where: Where) -> Made:
    spec = where.spec
    gaps = [n for n in range(1, len(spec.elements)) if _plain_stride(spec, n)]
    if not gaps:
        raise NotHere("there is no single stride between two fences in this row")
    words = " and ".join(str(n) for n in gaps)
    return tuple(_plank_at(n) for n in reversed(gaps)), f"in gap {words}"


def _step(where: Where, by_cm: int) -> Made:
    """Take a step of the gap before the element, or after the first one."""
    n = where.at or 1
    elements = where.spec.elements
    if n >= len(elements):
        raise NotHere("there is no gap at that element")
    one = elements[n]
    if one.gap is Gap.MEASURE:
        # A measure has no fit to count the steps from.
        cm = (one.gap_cm or 0) + by_cm
        return (SetGap(n, Gap.MEASURE, cm),), f"gap {n} to {where.units.length(cm)}"
    total = one.by_cm + by_cm
    if abs(total) > MOST_STEPS * STEP_CM and abs(total) > abs(one.by_cm):
        way = "longer" if total > 0 else "shorter"
        raise NotHere(
            f"gap {n} is already {where.units.short(abs(one.by_cm))} {way} than its "
            f"fit, and never more than {MOST_STEPS} steps are taken: re-measure"
        )
    word = "longer" if by_cm > 0 else "shorter"
    return (ShiftGap(n, total),), f"gap {n}, {where.units.short(abs(by_cm))} {word}"


def _canter_poles_in(where: Where) -> Made:
    """Lay poles on the way in: a stride after the last of them stands the row."""
    spec = where.spec
    if spec.approach is Gait.TROT:
        raise NotHere("the row is trotted into: canter poles are ridden from canter")
    if spec.meant[0].kind not in FENCES:
        raise NotHere("the row begins with a pole already")
    poles = [AddElement(0, Kind.POLE, then=Gap.ONE_STRIDE)]
    poles += [AddElement(0, Kind.POLE, then=Gap.CANTER_POLES)] * (CANTER_POLES - 1)
    return tuple(poles), f"{CANTER_POLES} poles, the last a stride before element 1"


def _plank_out(where: Where) -> Made:
    near = [(where.at, where.one)]
    if where.standing_before is not None:
        near.append(where.standing_before)
    planks = [n for n, one in near if one.kind is Kind.PLANK]
    if not planks:
        raise NotHere(f"no plank lies at {where.name} or before it")
    if planks[0] >= len(where.spec.elements):
        raise NotHere("a later stage adds that plank: go back a stage")
    return (RemoveElement(planks[0]),), f"element {planks[0] + 1} (plank)"


def _one_out(where: Where) -> Made:
    if where.at >= len(where.spec.elements):
        raise NotHere("a later stage adds that element: go back a stage")
    return (RemoveElement(where.at),), where.name


def _two_back(where: Where) -> Made:
    """Take back the last two steps of the build, and those after them."""
    if not where.stage:
        raise NotHere("the row stands as it is first built: take an element out")
    first = max(1, where.stage - 1)
    says = (where.spec.start, *where.spec.stages)[first - 1].says
    gone = range(len(where.spec.stages), first - 1, -1)
    return tuple(RemoveStage(n) for n in gone), f"back to: {says}"


DISTANCES: Mapping[str, Callable[[Where], Made]] = {
    "trot-in": _trot_in,
    "placing-pole": _placing_pole,
    "mid-plank": _mid_plank,
    "planks-in-all": _planks_in_all,
    "shorter": lambda where: _step(where, -STEP_CM),
    "longer": lambda where: _step(where, STEP_CM),
    "one-out": _one_out,
    "canter-poles-in": _canter_poles_in,
    "plank-out": _plank_out,
    "two-back": _two_back,
}
"""Each change by its name in the file of faults."""
