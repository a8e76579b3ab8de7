"""Setups: which elements stand where on a line, and where a row may stand.

Positions are whole centimetres from the line's datum. A placed element's
`at_cm` is its foot nearer the datum; `faces` says which way it is ridden.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

from exercises.geometry.elements import Element, GroundLine, Piece, pieces


class Faces(StrEnum):
    """Which way an element is ridden: away from the datum, or towards it."""

    UP = "up"
    DOWN = "down"

    @property
    def other(self) -> "Faces":
        """The opposite direction."""
        return Faces.DOWN if self is Faces.UP else Faces.UP


@dataclass(frozen=True, slots=True)
class PlacedElement:
    """An element on a line: its `at_cm` is the foot nearer the datum [cm]."""

    element: Element
    faces: Faces = Faces.UP

    @property
    def at_cm(self) -> int:
        """Foot nearer the datum, in centimetres from it."""
        return self.element.at_cm

    @property
    def far_cm(self) -> int:
        """Foot farther from the datum, in centimetres from it."""
        return self.element.landing_cm

    @property
    def sided(self) -> bool:
        """Whether it matters which way it faces."""
        one = self.element
        return one.ascending or one.guides or one.ground_line is GroundLine.TAKE_OFF


Setup = tuple[PlacedElement, ...]
"""What stands on a line, in the order of the datum."""


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where a row lies on its line: offset of its zero [cm], and the direction."""

    offset_cm: int
    mirrored: bool


@dataclass(frozen=True, slots=True)
class GridRow:
    """A lesson's row with the room it needs.

    Parameters
    ----------
    start, end
        Elements as wanted at the start, and as they stand when the lesson is
        over; both counted from the same zero [cm].
    approach_cm, runout_cm
        Room kept free before the first and after the last foot, as ridden [cm].
    may_mirror
        Whether it may be built from the line's other end.
    """

    start: tuple[Element, ...]
    end: tuple[Element, ...]
    approach_cm: int = 0
    runout_cm: int = 0
    may_mirror: bool = False

    @property
    def length_cm(self) -> int:
        """Last landing foot of the start, from its zero, in centimetres."""
        return max(one.landing_cm for one in self.start)

    def stand(self, elements: Iterable[Element], place: Place) -> Setup:
        """Return the elements as they stand with the row at `place`."""
        return place_elements(elements, self.length_cm, place)

    def fits(self, line_cm: int, place: Place) -> bool:
        """Say whether the row keeps its approach and run-out at `place`."""
        both = (*self.start, *self.end)
        first = min(one.at_cm for one in both)
        last = max(one.landing_cm for one in both)
        if place.mirrored:
            low = place.offset_cm + self.length_cm - last
            high = place.offset_cm + self.length_cm - first
            return low >= self.runout_cm and high <= line_cm - self.approach_cm
        low, high = place.offset_cm + first, place.offset_cm + last
        return low >= self.approach_cm and high <= line_cm - self.runout_cm

    def ranges(self, line_cm: int, every_cm: int) -> dict[bool, range]:
        """Return the offsets at which the row fits, by whether it is mirrored."""
        both = (*self.start, *self.end)
        first = min(one.at_cm for one in both)
        last = max(one.landing_cm for one in both)
        low, high = self.approach_cm - first, line_cm - self.runout_cm - last
        ways = {False: (low, high)}
        if self.may_mirror:
            ways[True] = (
                self.runout_cm - self.length_cm + last,
                line_cm - self.approach_cm - self.length_cm + first,
            )
        found = {
            mirrored: range(-(-low // every_cm) * every_cm, high + 1, every_cm)
            for mirrored, (low, high) in ways.items()
        }
        return {mirrored: offsets for mirrored, offsets in found.items() if offsets}

    def places(self, line_cm: int, every_cm: int) -> tuple[Place, ...]:
        """Return every place on the raster at which the row fits the line."""
        return _places(self, line_cm, every_cm)


@lru_cache(maxsize=4096)
def _places(row: GridRow, line_cm: int, every_cm: int) -> tuple[Place, ...]:
    """Return the places of a row; kept, since a day asks for the same many times."""
    return tuple(
        Place(offset_cm, mirrored)
        for mirrored, offsets in row.ranges(line_cm, every_cm).items()
        for offset_cm in offsets
    )


def place_elements(elements: Iterable[Element], row_cm: int, place: Place) -> Setup:
    """Return the elements of a row as they stand at a place of a line.

    Parameters
    ----------
    elements
        Counted from the row's zero [cm].
    row_cm
        Length of the row's start [cm].
    place
        Where its zero lies, and whether it is mirrored.
    """
    placed = []
    for one in elements:
        if place.mirrored:
            at_cm = place.offset_cm + row_cm - one.at_cm - one.spread_cm
            placed.append(PlacedElement(replace(one, at_cm=at_cm), Faces.DOWN))
        else:
            moved = replace(one, at_cm=place.offset_cm + one.at_cm)
            placed.append(PlacedElement(moved, Faces.UP))
    return tuple(sorted(placed, key=lambda one: (one.at_cm, one.far_cm)))


def pieces_of(setup: Iterable[PlacedElement]) -> Counter[Piece]:
    """Count the pieces of a setup."""
    total: Counter[Piece] = Counter()
    for one in setup:
        total += pieces(one.element)
    return total
