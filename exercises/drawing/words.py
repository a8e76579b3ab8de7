"""A row in words: the text alternative of its drawings."""

from collections.abc import Sequence
from itertools import pairwise

from exercises.geometry.elements import (
    GROUND_LINE_CM,
    GUIDES_CM,
    Element,
    GroundLine,
    Kind,
)
from exercises.geometry.units import METRIC, Units


def element_words(one: Element, units: Units = METRIC) -> str:
    """Name an element with its height, "ascending oxer 80 cm, 90 cm wide" say."""
    words = one.kind.value.replace("-", " ")
    if one.ascending:
        words = f"ascending {words}"
    if one.height_cm:
        words += f" {units.height(one.height_cm)}"
    if one.kind is Kind.OXER:
        words += f", {units.short(one.spread_cm)} wide"
    if one.ground_line is GroundLine.TAKE_OFF:
        words += ", ground line in front"
    elif one.ground_line is GroundLine.BOTH:
        words += ", ground lines on both sides"
    if one.ground_line is not GroundLine.NONE and one.ground_line_cm != GROUND_LINE_CM:
        words += f" {units.short(one.ground_line_cm)} away"
    if one.guides:
        words += ", guide rails"
        if one.guides_cm != GUIDES_CM:
            words += f" {units.short(one.guides_cm)} apart"
    if one.v_poles_cm:
        words += f", V-poles {units.short(one.v_poles_cm)} apart"
    if one.leaning:
        words += f", a pole leaning on the {one.leaning}"
    return words


def row_words(elements: Sequence[Element], units: Units = METRIC) -> str:
    """Say a row from first to last, with the gaps between."""
    words = element_words(elements[0], units)
    for before, one in pairwise(elements):
        gap_cm = one.at_cm - before.landing_cm
        words += f"; {units.length(gap_cm)}; {element_words(one, units)}"
    return f"In the order ridden: {words}."


def datum_words(feet_cm: Sequence[int], units: Units = METRIC) -> str:
    """Say where the take-off feet lie, read from the datum [cm]."""
    feet = ", ".join(units.length(one) for one in feet_cm)
    return f"Take-off feet, read from the datum: {feet}."
