"""The plan of a row, seen from above, true to scale."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element as Node

from exercises.drawing import svg
from exercises.drawing.layout import (
    LETTERS_ACROSS,
    Frame,
    direction,
    frame,
    gap_labels,
    gap_measures,
    lines_of,
)
from exercises.drawing.side import V_POLES_OUT_CM
from exercises.drawing.words import row_words
from exercises.geometry.elements import Element, GroundLine, Kind, Side
from exercises.geometry.units import METRIC, Units

POLE_LENGTH_CM = 300
"""Length of a school's pole in a hall (Dutch leaflets), in centimetres."""

WING_WIDTH_CM = 60


def draw_plan(
    elements: Sequence[Element],
    *,
    ident: str,
    title: str,
    letters_across: int = LETTERS_ACROSS,
    units: Units = METRIC,
) -> str:
    """Draw a row from above.

    Parameters
    ----------
    elements
        In the order ridden [cm].
    ident
        Of the drawing within its page.
    title
        Its name for those who do not see it.
    letters_across
        How many letters high the drawing is wide.
    units
        What measures are written in.
    """
    box = frame(elements, letters_across)
    letter = box.letter
    middle = letter * 2.4 + WING_WIDTH_CM + POLE_LENGTH_CM / 2
    gaps = gap_labels(elements, box, units)
    low = middle + POLE_LENGTH_CM / 2 + WING_WIDTH_CM + letter * 1.1
    height = low + letter * (1.3 * lines_of(gaps) - 0.1)
    root = svg.drawing(
        box.width, height, ident=ident, title=title, says=row_words(elements, units),
        kind="plan",
    )  # fmt: skip
    direction(root, box, letter * 1.1)
    svg.line(
        root, 0, middle, box.width, middle, stroke=svg.GROUND, width=6, dash="30 24"
    )
    for one in elements:
        _element(root, one, box, middle)
    gap_measures(root, elements, box, low, gaps)
    return svg.written(root)


def _element(root: Node, one: Element, box: Frame, middle: float) -> None:
    x, far = box.x(one.at_cm), box.x(one.landing_cm)
    half = POLE_LENGTH_CM / 2
    if one.kind is Kind.CROSS:
        # The two poles lean against each other: drawn a little apart.
        svg.line(
            root, x - 8, middle - half, x + 8, middle + half, stroke=svg.WOOD, width=10
        )
        svg.line(
            root, x + 8, middle - half, x - 8, middle + half, stroke=svg.WOOD, width=10
        )
        _wings(root, x, middle)
    elif one.kind is Kind.PLANK:
        svg.rect(root, x - 10, middle - half, 20, 2 * half, fill=svg.WOOD)
    else:
        svg.line(root, x, middle - half, x, middle + half, stroke=svg.WOOD, width=10)
        if one.kind is Kind.RAISED_POLE:
            for way in (-1, 1):
                svg.rect(root, x - 18, middle + way * half - 18, 36, 36, fill=svg.FAINT)
        elif one.kind is not Kind.POLE:
            _wings(root, x, middle)
        if one.kind is Kind.OXER:
            svg.line(
                root, far, middle - half, far, middle + half, stroke=svg.WOOD, width=10
            )
            _wings(root, far, middle)
    _on_the_ground(root, one, x, far, middle)


def _wings(root: Node, x: float, middle: float) -> None:
    half = POLE_LENGTH_CM / 2
    for way in (-1, 1):
        edge = middle + way * half
        svg.line(root, x, edge, x, edge + way * WING_WIDTH_CM, width=14, stroke=svg.INK)


def _on_the_ground(
    root: Node, one: Element, x: float, far: float, middle: float
) -> None:
    half = POLE_LENGTH_CM / 2
    places = []
    if one.ground_line is not GroundLine.NONE:
        places.append(x - one.ground_line_cm)
    if one.ground_line is GroundLine.BOTH:
        places.append(far + one.ground_line_cm)
    for at in places:
        svg.line(root, at, middle - half, at, middle + half, stroke=svg.FAINT, width=7)
    if one.guides:
        for way in (-1, 1):
            svg.line(
                root, x - 200, middle + way * (one.guides_cm / 2 + 40),
                x, middle + way * one.guides_cm / 2,
                stroke=svg.WOOD, width=8, dash="18 12",
            )  # fmt: skip
    if one.v_poles_cm:
        for way in (-1, 1):
            svg.line(
                root, x - V_POLES_OUT_CM, middle + way * one.v_poles_cm / 2, x, middle,
                stroke=svg.WOOD, width=8,
            )  # fmt: skip
    if one.leaning:
        # Left as ridden is the upper half of the plan.
        way = -1 if one.leaning is Side.LEFT else 1
        svg.line(root, x, middle + way * half, x - 40, middle, stroke=svg.WOOD, width=8)
