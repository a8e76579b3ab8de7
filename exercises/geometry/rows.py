"""A row: elements at exact distances, in the order ridden."""

from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise

from exercises.geometry.elements import Element, GroundLine, Piece, pieces


class InvalidRow(ValueError):
    """Elements that make no row."""


class UnableToReverse(ValueError):
    """A row that can't be ridden from the other end as it stands."""


@dataclass(frozen=True, slots=True)
class Row:
    """Elements counted from the first one's take-off foot [cm].

    Raises
    ------
    InvalidRow
        If the first is not at 0, or one begins before the last has ended.
    """

    elements: tuple[Element, ...]

    def __post_init__(self) -> None:
        if not self.elements:
            raise InvalidRow("a row needs an element")
        if self.elements[0].at_cm != 0:
            raise InvalidRow("a row's first element is at 0")
        for before, one in pairwise(self.elements):
            if one.at_cm < before.landing_cm:
                raise InvalidRow(
                    f"the {one.kind} at {one.at_cm} cm begins before the "
                    f"{before.kind} ends at {before.landing_cm} cm"
                )

    @property
    def length_cm(self) -> int:
        """Last landing foot, in centimetres."""
        return self.elements[-1].landing_cm

    @property
    def gaps_cm(self) -> tuple[int, ...]:
        """Landing foot of each element to take-off foot of the next, in cm."""
        return tuple(
            one.at_cm - before.landing_cm for before, one in pairwise(self.elements)
        )

    @property
    def pieces(self) -> Counter[Piece]:
        """Pieces of the whole row."""
        total: Counter[Piece] = Counter()
        for one in self.elements:
            total += pieces(one)
        return total

    def reversed(self) -> "Row":
        """Return the row as ridden from its other end.

        Raises
        ------
        UnableToReverse
            For an ascending oxer, or a ground line on one side only.
        """
        for one in self.elements:
            if one.ascending:
                raise UnableToReverse(
                    "an ascending oxer would be jumped from its high side: "
                    "set it square first"
                )
            if one.ground_line is GroundLine.TAKE_OFF:
                raise UnableToReverse(
                    f"the ground line of the {one.kind} lies on the far side then: "
                    "lay one on both sides, or move it over"
                )
        return Row(
            tuple(
                replace(one, at_cm=self.length_cm - one.landing_cm)
                for one in reversed(self.elements)
            )
        )
