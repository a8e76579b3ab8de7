"""The elements of a row, and the pieces each is built of.

An element is one pole, plank, cross, vertical or oxer with what belongs to it
(ground line, guide rails). Lengths are whole centimetres. The piece counts are
those of the day file's contract: a cross takes two wings, two poles and two
cups; each rail of a vertical or oxer one pole and two cups.

Left out: fillers, flags and the wings' own make.
"""

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What kind of thing stands at a place of the row."""

    POLE = "pole"
    RAISED_POLE = "raised-pole"
    PLANK = "plank"
    CROSS = "cross"
    VERTICAL = "vertical"
    OXER = "oxer"


class GroundLine(StrEnum):
    """On which side of a fence a pole lies on the ground."""

    NONE = "none"
    TAKE_OFF = "take-off"
    BOTH = "both"


class Side(StrEnum):
    """Left or right, as the row is ridden."""

    LEFT = "left"
    RIGHT = "right"


class Piece(StrEnum):
    """A thing that is carried: what the store holds and the list counts."""

    WING = "wing"
    POLE = "pole"
    CUP = "cup"
    BLOCK = "block"
    PLANK = "plank"


FENCES = frozenset({Kind.CROSS, Kind.VERTICAL, Kind.OXER})
"""Kinds that stand on wings."""

GROUND_LINE_CM = 20
"""How far before its fence a ground line lies, if nothing else is said (UK column)."""

GUIDES_CM = 180
"""How far guide rails are apart at the fence when they are set wide (the school's)."""

FLAT = frozenset({Kind.POLE, Kind.PLANK})
"""Kinds without a height of their own."""


class InvalidElement(ValueError):
    """An element that cannot be built: names the field and what is wrong."""

    def __init__(self, field: str, says: str) -> None:
        super().__init__(f"{field}: {says}")
        self.field = field
        self.says = says


@dataclass(frozen=True, slots=True)
class Element:
    """One element of a row, as ridden from the row's first foot.

    Parameters
    ----------
    kind
        What stands here.
    at_cm
        Take-off foot, from the zero of the row [cm].
    height_cm
        Height of the top rail; 0 for a pole or plank on the ground [cm].
    spread_cm
        Take-off foot to landing foot, oxers only [cm].
    rails
        Poles in cups of a vertical, or of an oxer's front; ``None`` takes the
        usual number for the height (one up to 60 cm, two up to 100, else three).
    ground_line
        Where a pole lies on the ground.
    guides
        Whether two guide rails lead to the element.
    ascending
        Oxers only: the front is lower than the back.
    ground_line_cm
        How far from the fence its ground line lies [cm].
    guides_cm
        How far the guide rails are apart at the fence [cm].
    v_poles_cm
        Fences only: a pair of poles rests on the front rail, its feet so far
        apart on the take-off side; 0 for none [cm].
    leaning
        Fences only: one pole leans on this side, with its other end on the ground.

    Raises
    ------
    InvalidElement
        When a field is out of its range or does not belong to the kind.
    """

    kind: Kind
    at_cm: int = 0
    height_cm: int = 0
    spread_cm: int = 0
    rails: int | None = None
    ground_line: GroundLine = GroundLine.NONE
    guides: bool = False
    ascending: bool = False
    ground_line_cm: int = GROUND_LINE_CM
    guides_cm: int = GUIDES_CM
    v_poles_cm: int = 0
    leaning: Side | None = None

    def __post_init__(self) -> None:
        if self.height_cm < 0:
            raise InvalidElement("height_cm", "must not be negative")
        if self.kind in FLAT and self.height_cm:
            raise InvalidElement("height_cm", f"a {self.kind} lies flat: must be 0")
        if self.kind not in FLAT and not self.height_cm:
            raise InvalidElement("height_cm", f"a {self.kind} needs a height above 0")
        if self.kind is Kind.OXER:
            if self.spread_cm <= 0:
                raise InvalidElement("spread_cm", "an oxer needs a spread above 0")
        elif self.spread_cm:
            raise InvalidElement("spread_cm", "only an oxer has a spread")
        if self.ascending and self.kind is not Kind.OXER:
            raise InvalidElement("ascending", "only an oxer can be ascending")
        if self.rails is not None:
            if self.kind not in {Kind.VERTICAL, Kind.OXER}:
                raise InvalidElement("rails", "only a vertical or oxer has rails")
            if self.rails < 1:
                raise InvalidElement("rails", "needs at least one rail")
        self._check_set_by_hand()

    def _check_set_by_hand(self) -> None:
        for field, low, high in (
            ("ground_line_cm", 10, 100),
            ("guides_cm", 90, 300),
        ):
            if not low <= getattr(self, field) <= high:
                raise InvalidElement(field, f"must be from {low} to {high}")
        if self.v_poles_cm and not 80 <= self.v_poles_cm <= 300:
            raise InvalidElement("v_poles_cm", "must be 0, or from 80 to 300")
        if self.kind not in FENCES and (self.v_poles_cm or self.leaning):
            raise InvalidElement("v_poles_cm", "only a fence has poles leaning on it")

    @property
    def landing_cm(self) -> int:
        """Landing foot, from the zero of the row, in centimetres."""
        return self.at_cm + self.spread_cm

    @property
    def front_rails(self) -> int:
        """Poles in cups at the front: as set, else the usual for the height."""
        if self.kind not in {Kind.VERTICAL, Kind.OXER}:
            return 0
        if self.rails is not None:
            return self.rails
        if self.height_cm <= 60:
            return 1
        return 2 if self.height_cm <= 100 else 3


def pieces(element: Element) -> Counter[Piece]:
    """Count the pieces an element is built of, ground line and guides included."""
    rails = element.front_rails
    match element.kind:
        case Kind.POLE:
            count = Counter({Piece.POLE: 1})
        case Kind.RAISED_POLE:
            count = Counter({Piece.POLE: 1, Piece.BLOCK: 2})
        case Kind.PLANK:
            count = Counter({Piece.PLANK: 1})
        case Kind.CROSS:
            count = Counter({Piece.WING: 2, Piece.POLE: 2, Piece.CUP: 2})
        case Kind.VERTICAL:
            count = Counter({Piece.WING: 2, Piece.POLE: rails, Piece.CUP: 2 * rails})
        case _:
            count = Counter(
                {Piece.WING: 4, Piece.POLE: rails + 1, Piece.CUP: 2 * (rails + 1)}
            )
    if element.ground_line is GroundLine.TAKE_OFF:
        count[Piece.POLE] += 1
    elif element.ground_line is GroundLine.BOTH:
        count[Piece.POLE] += 2
    if element.guides:
        count[Piece.POLE] += 2
    if element.v_poles_cm:
        count[Piece.POLE] += 2
    if element.leaning:
        count[Piece.POLE] += 1
    return count
