"""How a row grows: what changes from stage to stage, thing by thing.

A stage changes one thing: one fence built, raised, widened or taken away. Two
at once are not forbidden but pointed out, since nobody can then say which of
them the horse answered (change one fence at a time; Your Horse, UK).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from exercises.geometry.elements import FENCES, Element, GroundLine
from exercises.geometry.spec import ExerciseSpec, SpecElement

ONE_HOLE_CM = 10
"""A new kind of fence may be one hole higher and still be one change [cm]."""


@dataclass(frozen=True, slots=True)
class Step:
    """What becomes of one slot in a stage.

    Parameters
    ----------
    slot
        Which, counted from 0.
    was, now
        The element before and after; None where there was or is none.
    respects
        The things about it that change.
    """

    slot: int
    was: Element | None
    now: Element | None
    respects: tuple[str, ...]


def steps_between(
    before: Mapping[int, Element], after: Mapping[int, Element]
) -> tuple[Step, ...]:
    """Return what changes from one stage to the next, in the order of the slots."""
    return tuple(
        Step(slot, before.get(slot), after.get(slot), respects)
        for slot in sorted(before.keys() | after.keys())
        if (respects := respects_of(before.get(slot), after.get(slot)))
    )


def respects_of(was: Element | None, now: Element | None) -> tuple[str, ...]:
    """Return the things in which two elements of one slot differ.

    A new kind brings its own spread and ground line, and counts once; a fence
    that becomes another kind and more than a hole higher changes in two.
    """
    if was is None or now is None:
        return () if was is now else ("added" if was is None else "taken out",)
    if was.kind is not now.kind:
        changed = ["kind"]
        rise = abs(now.height_cm - was.height_cm)
        if {was.kind, now.kind} <= FENCES and rise > ONE_HOLE_CM:
            changed.append("height")
        if was.guides is not now.guides:
            changed.append("guides")
        return tuple(changed)
    named = ("height", "spread", "ascending", "ground line", "guides")
    a = (was.height_cm, was.spread_cm, was.ascending, was.ground_line, was.guides)
    b = (now.height_cm, now.spread_cm, now.ascending, now.ground_line, now.guides)
    changed = [name for name, x, y in zip(named, a, b, strict=True) if x != y]
    if not changed and _by_hand(was) != _by_hand(now):
        changed.append("poles beside it")
    if not changed and was.front_rails != now.front_rails:
        changed.append("rails")
    return tuple(changed)


def _by_hand(one: Element) -> tuple[object, ...]:
    line = one.ground_line_cm if one.ground_line is not GroundLine.NONE else None
    guides = one.guides_cm if one.guides else None
    return line, guides, one.v_poles_cm, one.leaning


def added_slots(spec: ExerciseSpec) -> tuple[tuple[int, int, SpecElement], ...]:
    """Return the slots that stages add: number, after which slot, and what."""
    added = [
        one for stage in spec.stages for one in stage.changes if one.after is not None
    ]
    return tuple(
        (slot, one.after or 0, one)
        for slot, one in enumerate(added, start=len(spec.elements))
    )


def standing_at(spec: ExerciseSpec, added: int, slot: int) -> SpecElement:
    """Return what stands at a slot when another is added after it.

    Where it has been taken out by then, what stood there last.
    """
    standing: SpecElement | None = None
    for stage in spec.played:
        standing = stage.get(slot, standing)
        if added in stage and standing is not None:
            return standing
    raise KeyError(added)
