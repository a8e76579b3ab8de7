"""Remedies that change a fence: its height, its width, its poles and guides."""

from collections.abc import Callable, Mapping, Sequence

from exercises.geometry.editing.edits import (
    Edit,
    SetAscending,
    SetGroundLine,
    SetGroundLineOut,
    SetGuides,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetLeaning,
    SetSpread,
    SetVPoles,
)
from exercises.geometry.elements import (
    FENCES,
    GROUND_LINE_CM,
    GUIDES_CM,
    GroundLine,
    Kind,
)
from exercises.geometry.remedying.where import Made, NotHere, Where, fence_at
from exercises.geometry.spec import WIDEST_CM, SpecElement

LOWEST_CM = 20
"""No fence is lowered below this: it is laid on the ground then (the school's own)."""

LOW_CROSS_CM = 40
"""A cross after a stop is no higher than this (the school's own)."""

SPREAD_STEP_CM = 10
"""An oxer is widened by 10 to 20 cm (the school's own)."""

LINE_STEP_CM = 15
"""A ground line is rolled by one step, 6 in (the school's own)."""

NEAREST_LINE_CM, FARTHEST_LINE_CM = 15, 50
"""Ground lines lie 15 to 50 cm from their fence (Dutch leaflets)."""

GUIDES_STEP_CM, NARROWEST_GUIDES_CM = 40, 100
"""Guide rails are narrowed to 0.90 or 1.00 m clear (Horse Sport, Canada)."""

V_POLES_CM, V_POLES_STEP_CM, NARROWEST_V_POLES_CM = 200, 20, 100
"""V-poles start wide and are narrowed by 20 cm (the school's own)."""

V_POLES_LINE_CM = 40
"""With V-poles the ground line lies further out (an exercise page)."""


def _line_out(where: Where) -> Made:
    one, short = fence_at(where), where.units.short
    if one.ground_line is GroundLine.NONE:
        line = SetGroundLine(where.at, GroundLine.TAKE_OFF, where.stage)
        return (line,), f"{where.name}: a ground line {short(GROUND_LINE_CM)} before it"
    if one.ground_line_cm + LINE_STEP_CM > FARTHEST_LINE_CM:
        raise NotHere(
            f"its ground line is {short(one.ground_line_cm)} out already, and "
            f"{short(FARTHEST_LINE_CM)} is the most that is usual"
        )
    out = one.ground_line_cm + LINE_STEP_CM
    return (
        SetGroundLineOut(where.at, out, where.stage),
    ), f"{where.name}: from {short(one.ground_line_cm)} to {short(out)}"


def _line_closer(where: Where) -> Made:
    one, short = fence_at(where), where.units.short
    if one.ground_line is GroundLine.NONE:
        raise NotHere(f"{where.name} has no ground line")
    closer = max(one.ground_line_cm - LINE_STEP_CM, NEAREST_LINE_CM)
    if closer >= one.ground_line_cm:
        raise NotHere(f"its ground line is {short(one.ground_line_cm)} out already")
    return (
        SetGroundLineOut(where.at, closer, where.stage),
    ), f"{where.name}: from {short(one.ground_line_cm)} to {short(closer)}"


def _guides_wide(where: Where) -> Made:
    length = where.units.length
    if fence_at(where).guides:
        raise NotHere(f"{where.name} has guide rails already")
    return (
        SetGuides(where.at, True, where.stage),
        SetGuidesApart(where.at, GUIDES_CM, where.stage),
    ), (
        f"{where.name}: {length(GUIDES_CM)} apart, {length(180)} to {length(240)} "
        "before it"
    )


def _guides_narrower(where: Where) -> Made:
    one, length = fence_at(where), where.units.length
    if not one.guides:
        raise NotHere(f"{where.name} has no guide rails yet: set them wide first")
    apart = max(one.guides_cm - GUIDES_STEP_CM, NARROWEST_GUIDES_CM)
    if apart >= one.guides_cm:
        raise NotHere("its guide rails are as narrow as is usual")
    return (
        SetGuidesApart(where.at, apart, where.stage),
    ), f"{where.name}: from {length(one.guides_cm)} to {length(apart)}"


def _leaning_pole(where: Where) -> Made:
    if fence_at(where).leaning is where.side:
        raise NotHere(f"a pole leans on that side of {where.name} already")
    lean = SetLeaning(where.at, where.side, where.stage)
    return (lean,), f"{where.name}: one pole on the {where.side}"


def _higher_cross(where: Where) -> Made:
    one, high = fence_at(where, Kind.CROSS, Kind.VERTICAL), where.units.height
    if one.kind is Kind.VERTICAL:
        kind = SetKind(where.at, Kind.CROSS, where.stage)
        return (kind,), f"{where.name}: a cross of {high(one.height_cm)}"
    height = one.height_cm + where.units.hole_cm
    return (
        SetHeight(where.at, height, where.stage),
    ), f"{where.name}: arms from {high(one.height_cm)} to {high(height)}"


def _v_poles(where: Where) -> Made:
    one = fence_at(where, Kind.VERTICAL, Kind.OXER)
    apart = V_POLES_CM if not one.v_poles_cm else one.v_poles_cm - V_POLES_STEP_CM
    if apart < NARROWEST_V_POLES_CM:
        raise NotHere("its V-poles are as narrow as they should be")
    edits: tuple[Edit, ...] = (SetVPoles(where.at, apart, where.stage),)
    if one.ground_line is not GroundLine.NONE:
        edits += (SetGroundLineOut(where.at, V_POLES_LINE_CM, where.stage),)
    feet = where.units.length(apart)
    return edits, f"{where.name}: feet {feet} apart on the take-off side"


def _square(where: Where) -> Made:
    if not fence_at(where, Kind.OXER).ascending:
        raise NotHere(f"{where.name} is level already")
    return (
        SetAscending(where.at, False, where.stage),
    ), f"{where.name}: front as high as back"


def _ascending(where: Where) -> Made:
    if fence_at(where, Kind.OXER).ascending:
        raise NotHere(f"the front of {where.name} is lower already")
    if where.spec.both_ways:
        raise NotHere("the row is ridden both ways: the front stays level")
    return (SetAscending(where.at, True, where.stage),), f"{where.name}: front lower"


def _wider(where: Where) -> Made:
    one, short = fence_at(where, Kind.OXER), where.units.short
    wide = one.spread_cm + SPREAD_STEP_CM
    # An oxer is at most 10 cm wider than high (Dutch leaflets).
    if wide > min(one.height_cm + 2 * SPREAD_STEP_CM, WIDEST_CM):
        raise NotHere(
            f"{where.name} is {short(one.spread_cm)} wide at "
            f"{where.units.height(one.height_cm)} already"
        )
    return (
        SetSpread(where.at, wide, where.stage),
    ), f"{where.name}: from {short(one.spread_cm)} to {short(wide)}"


def _lower(where: Where) -> Made:
    one, high = fence_at(where), where.units.height
    height = one.height_cm - where.units.hole_cm
    if height < LOWEST_CM:
        raise NotHere(f"{where.name} is {high(one.height_cm)}: lower is a pole")
    return (
        SetHeight(where.at, height, where.stage),
    ), f"{where.name}: from {high(one.height_cm)} to {high(height)}"


def _to_cross(where: Where) -> Made:
    one = fence_at(where)
    height = min(one.height_cm, LOW_CROSS_CM)
    return (
        SetKind(where.at, Kind.CROSS, where.stage),
        SetHeight(where.at, height, where.stage),
    ), f"{where.name}: a cross of {where.units.height(height)}"


def _to_pole(where: Where) -> Made:
    fence_at(where)
    pole = SetKind(where.at, Kind.POLE, where.stage)
    return (pole,), f"{where.name}: its pole on the ground"


def _pole_raised(where: Where) -> Made:
    fence_at(where)
    before = where.standing_before
    if before is None or before[1].kind is not Kind.POLE:
        raise NotHere(f"no pole lies before {where.name}: lay a placing pole first")
    pole = SetKind(before[0], Kind.RAISED_POLE, where.stage)
    return (pole,), f"element {before[0] + 1}, on blocks"


def _all(
    where: Where, change: Callable[[int, SpecElement], Sequence[Edit]], words: str
) -> Made:
    standing = where.spec.played[where.stage]
    edits = [
        edit
        for at, one in standing.items()
        if one.kind in FENCES
        for edit in change(at, one)
    ]
    if not edits:
        raise NotHere("no fence of this row can be made easier so")
    return tuple(edits), words


def _all_lower(where: Where) -> Made:
    def lower(at: int, one: SpecElement) -> Sequence[Edit]:
        height = one.height_cm - where.units.hole_cm
        return [SetHeight(at, height, where.stage)] if height >= LOWEST_CM else []

    one_hole = where.units.height_change(where.units.hole_cm)
    return _all(where, lower, f"every fence {one_hole} lower")


def _all_crosses(where: Where) -> Made:
    def cross(at: int, one: SpecElement) -> Sequence[Edit]:
        height = min(one.height_cm, LOW_CROSS_CM)
        return [
            SetKind(at, Kind.CROSS, where.stage),
            SetHeight(at, height, where.stage),
        ]

    return _all(where, cross, f"crosses of {where.units.height(LOW_CROSS_CM)} at most")


def _all_poles(where: Where) -> Made:
    def pole(at: int, one: SpecElement) -> Sequence[Edit]:
        return [SetKind(at, Kind.POLE, where.stage)]

    return _all(where, pole, "every fence as a pole on the ground")


FENCES_CHANGED: Mapping[str, Callable[[Where], Made]] = {
    "line-out": _line_out,
    "line-closer": _line_closer,
    "guides-wide": _guides_wide,
    "guides-narrower": _guides_narrower,
    "leaning-pole": _leaning_pole,
    "higher-cross": _higher_cross,
    "v-poles": _v_poles,
    "square": _square,
    "ascending": _ascending,
    "wider": _wider,
    "lower": _lower,
    "to-cross": _to_cross,
    "to-pole": _to_pole,
    "all-lower": _all_lower,
    "all-crosses": _all_crosses,
    "all-poles": _all_poles,
    "pole-raised": _pole_raised,
}
"""Each change by its name in the file of faults."""
