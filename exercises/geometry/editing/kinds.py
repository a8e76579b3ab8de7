"""One element made another kind, and what it is called."""

from collections.abc import Sequence
from typing import TypeVar

from exercises.geometry.elements import FENCES, FLAT, Kind
from exercises.geometry.spec import SpecElement

RAISED_CM = 15
"""Usual height of a raised pole, about 6 in (a US magazine on cavaletti)."""

FIRST_FENCE_CM = 40
"""Height of a fence where there is none to go by (the school's own)."""

LEAST_SPREAD_CM = 40
"""An oxer is as wide as it is high, at least this (Dutch leaflets: at most 10 more)."""

_ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth",
    "ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip

_Any = TypeVar("_Any", bound=SpecElement)


def ordinal(n: int) -> str:
    """Return the word for the n-th thing, counted from 0."""
    return _ORDINALS[n]


def as_kind(one: _Any, kind: Kind, *, near: Sequence[SpecElement] = ()) -> _Any:
    """Return an element built as another kind, with what belongs to that kind.

    Parameters
    ----------
    one
        The element; its height stays where the new kind has one too.
    kind
        What it becomes.
    near
        Elements to take a height from, the last fence among them.
    """
    height = one.height_cm if one.kind in FENCES else 0
    if kind in FENCES and not height:
        heights = [each.height_cm for each in near if each.kind in FENCES]
        height = heights[-1] if heights else FIRST_FENCE_CM
    if kind in FLAT:
        height = 0
    elif kind is Kind.RAISED_POLE:
        height = RAISED_CM
    spread = 0
    if kind is Kind.OXER:
        spread = one.spread_cm or max(height, LEAST_SPREAD_CM)
    return one.model_copy(
        update={
            "kind": kind,
            "height_cm": height,
            "spread_cm": spread,
            "rails": one.rails if kind in {Kind.VERTICAL, Kind.OXER} else None,
            "ascending": one.ascending and kind is Kind.OXER,
            "v_poles_cm": one.v_poles_cm if kind in FENCES else 0,
            "leaning": one.leaning if kind in FENCES else None,
        }
    )


def name_of(elements: Sequence[SpecElement], at: int) -> str:
    """Name an element by its place among its like, "second fence" say."""
    groups = [_group(one.kind) for one in elements]
    mine = groups[at]
    if groups.count(mine) == 1:
        return mine
    return f"{ordinal(groups[:at].count(mine))} {mine}"


def _group(kind: Kind) -> str:
    if kind in FENCES:
        return "fence"
    return "plank" if kind is Kind.PLANK else "pole"
