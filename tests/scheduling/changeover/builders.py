"""Elements and rows by hand, and strategies that make any."""

from hypothesis import strategies as st

from exercises.geometry.elements import Element, GroundLine, Kind
from scheduling.changeover.setups import Faces, GridRow, PlacedElement

CROSS, VERTICAL, OXER = Kind.CROSS, Kind.VERTICAL, Kind.OXER
POLE, RAISED, PLANK = Kind.POLE, Kind.RAISED_POLE, Kind.PLANK
TAKE_OFF, BOTH = GroundLine.TAKE_OFF, GroundLine.BOTH


def placed(kind: Kind, at_cm: int = 0, faces: str = "up", **more) -> PlacedElement:
    """A placed element; heights and spreads that a kind needs are filled in."""
    if kind not in {POLE, PLANK}:
        more.setdefault("height_cm", 15 if kind is RAISED else 40)
    if kind is OXER:
        more.setdefault("spread_cm", 80)
    return PlacedElement(Element(kind, at_cm, **more), Faces(faces))


def row(*elements: PlacedElement, **more) -> GridRow:
    start = tuple(one.element for one in elements)
    return GridRow(start, more.pop("end", start), **more)


@st.composite
def setups(draw, most: int = 4):
    """Up to `most` placed elements, from the datum on."""
    found, at = [], 0
    for _ in range(draw(st.integers(0, most))):
        kind = draw(st.sampled_from(list(Kind)))
        more: dict = {
            "ground_line": draw(st.sampled_from(list(GroundLine))),
            "guides": draw(st.booleans()),
        }
        if kind in {CROSS, VERTICAL, OXER}:
            more["height_cm"] = draw(st.sampled_from([30, 40, 60, 70, 110]))
        if kind is OXER:
            more["spread_cm"] = draw(st.sampled_from([60, 90]))
            more["ascending"] = draw(st.booleans())
        one = placed(kind, at, draw(st.sampled_from(["up", "down"])), **more)
        found.append(one)
        at = one.far_cm + draw(st.sampled_from([0, 50, 100, 300]))
    return tuple(found)
