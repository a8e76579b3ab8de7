"""What it costs to make one placed element of another, or to build or strip it.

The rules are those of the day file's contract, in whole microseconds.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

from exercises.geometry.elements import Element, GroundLine, Kind, Piece, pieces
from scheduling.changeover.effort import Handling
from scheduling.changeover.setups import Faces, PlacedElement

_MEASURED_WHEN_NEW = (Piece.WING, Piece.BLOCK, Piece.PLANK)


@dataclass(frozen=True, slots=True)
class PairCost:
    """Cost of one element made of another, as it depends on the distance moved.

    Parameters
    ----------
    in_place_us
        With both at the same place [µs].
    lift_us
        More as soon as it is moved at all, measuring included [µs].
    per_cm_us
        More for each centimetre moved [µs/cm].
    """

    in_place_us: int
    lift_us: int
    per_cm_us: int

    def at(self, moved_cm: int) -> int:
        """Return the cost in microseconds of a move by `moved_cm` centimetres."""
        if moved_cm == 0:
            return self.in_place_us
        return self.in_place_us + self.lift_us + self.per_cm_us * abs(moved_cm)


def strip_us(one: PlacedElement, handling: Handling) -> int:
    """Cost in microseconds of taking an element to the store."""
    return sum(
        count * handling.pieces[piece].return_us
        for piece, count in pieces(one.element).items()
    )


def build_us(one: PlacedElement, handling: Handling) -> int:
    """Cost in microseconds of building an element from the store."""
    fetched = sum(
        count * handling.pieces[piece].fetch_us
        for piece, count in pieces(one.element).items()
    )
    return fetched + handling.measure_us


def alike(was: PlacedElement, now: PlacedElement) -> bool:
    """Say whether two elements differ in nothing but their place."""
    a, b = was.element, now.element
    return (
        (a.kind, a.height_cm, a.spread_cm, a.front_rails)
        == (b.kind, b.height_cm, b.spread_cm, b.front_rails)
        and (a.ground_line, a.guides, a.ascending)
        == (b.ground_line, b.guides, b.ascending)
        and not set_anew(a, b)
        and (was.faces is now.faces or not was.sided)
    )


def set_anew(a: Element, b: Element) -> int:
    """Count what lies or leans beside a fence and is only pushed to another place.

    Such things are set by hand while a lesson is ridden; the contract's day file
    knows nothing of them, so they cost a plan nothing.
    """
    line = a.ground_line is b.ground_line is not GroundLine.NONE
    return (
        (line and a.ground_line_cm != b.ground_line_cm)
        + (a.guides and b.guides and a.guides_cm != b.guides_cm)
        + (a.v_poles_cm != b.v_poles_cm)
        + (a.leaning is not b.leaning)
    )


@lru_cache(maxsize=4096)
def _count(shape: Element) -> tuple[int, ...]:
    """Count the pieces of an element in the order of `Piece`."""
    count = pieces(shape)
    return tuple(count[piece] for piece in Piece)


def shape_of(one: PlacedElement) -> tuple[Element, bool]:
    """Return what an element costs by: itself at zero, and whether it faces down.

    Which way it faces only counts where it shows.
    """
    return replace(one.element, at_cm=0), one.sided and one.faces is Faces.DOWN


def pair_cost(was: PlacedElement, now: PlacedElement, handling: Handling) -> PairCost:
    """Return what it costs to make `now` of `was`, by the distance between them."""
    return shape_cost(shape_of(was), shape_of(now), handling)


def shape_cost(
    was: tuple[Element, bool], now: tuple[Element, bool], handling: Handling
) -> PairCost:
    """Return what it costs to make one shape of another, as `shape_of` gives them."""
    (a, was_down), (b, now_down) = was, now
    in_place = lift = per_cm = kept_cups = 0
    measured = a.kind is not b.kind
    for piece, have, want in zip(Piece, _count(a), _count(b), strict=True):
        times, kept = handling.pieces[piece], min(have, want)
        in_place += (want - kept) * times.fetch_us + (have - kept) * times.return_us
        lift += kept * times.lift_us
        per_cm += kept * times.per_cm_us
        if piece is Piece.CUP:
            kept_cups = kept
        elif want > kept and piece in _MEASURED_WHEN_NEW:
            measured = True

    turned = was_down is not now_down
    if (
        a.height_cm != b.height_cm
        or a.ascending != b.ascending
        or (a.ascending and b.ascending and turned)
    ):
        in_place += kept_cups * handling.cup_height_us
    if a.kind is Kind.OXER and b.kind is Kind.OXER and a.spread_cm != b.spread_cm:
        wing, by_cm = handling.pieces[Piece.WING], abs(a.spread_cm - b.spread_cm)
        in_place += 2 * (wing.lift_us + wing.per_cm_us * by_cm)
        measured = True
    if turned and a.ground_line is b.ground_line is GroundLine.TAKE_OFF:
        in_place += handling.turn_us
    if turned and a.guides and b.guides:
        in_place += handling.turn_us
    in_place += set_anew(a, b) * handling.turn_us
    if measured:
        in_place += handling.measure_us
    else:
        lift += handling.measure_us
    return PairCost(in_place, lift, per_cm)
