"""Elements as plain data, defaults left out.

The keys are those of the day file, and those of what is set by hand while a lesson
is ridden (`BY_HAND`), which a plan knows nothing of.
"""

from collections.abc import Mapping
from typing import Any

from exercises.geometry.elements import (
    GROUND_LINE_CM,
    GUIDES_CM,
    Element,
    GroundLine,
    Kind,
    Side,
)

BY_HAND = ("ground_line_cm", "guides_cm", "v_poles_cm", "leaning")
"""How far out or apart poles lie, and what leans on a fence."""

_USUAL = {
    "ground_line_cm": GROUND_LINE_CM,
    "guides_cm": GUIDES_CM,
    "v_poles_cm": 0,
    "leaning": None,
}


def element_as_data(one: Element) -> dict[str, Any]:
    """Write an element as data."""
    data: dict[str, Any] = {"kind": one.kind.value, "at_cm": one.at_cm}
    if one.height_cm:
        data["height_cm"] = one.height_cm
    if one.spread_cm:
        data["spread_cm"] = one.spread_cm
    if one.rails is not None:
        data["rails"] = one.rails
    if one.ground_line is not GroundLine.NONE:
        data["ground_line"] = one.ground_line.value
    if one.guides:
        data["guides"] = True
    if one.ascending:
        data["ascending"] = True
    for name in BY_HAND:
        if getattr(one, name) != _USUAL[name]:
            data[name] = getattr(one, name)
    return data


def as_planned(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return an element's data with the keys of the day file only."""
    return {key: value for key, value in data.items() if key not in BY_HAND}


def element_from_data(data: Mapping[str, Any]) -> Element:
    """Read an element from data that was written here; other keys are left."""
    return Element(
        kind=Kind(data["kind"]),
        at_cm=data["at_cm"],
        height_cm=data.get("height_cm", 0),
        spread_cm=data.get("spread_cm", 0),
        rails=data.get("rails"),
        ground_line=GroundLine(data.get("ground_line", "none")),
        guides=data.get("guides", False),
        ascending=data.get("ascending", False),
        ground_line_cm=data.get("ground_line_cm", GROUND_LINE_CM),
        guides_cm=data.get("guides_cm", GUIDES_CM),
        v_poles_cm=data.get("v_poles_cm", 0),
        leaning=Side(data["leaning"]) if data.get("leaning") else None,
    )
