"""A row so small that only its shape matters: for lists."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element as Node

from exercises.drawing import svg
from exercises.drawing.words import row_words
from exercises.geometry.elements import FENCES, Element, Kind

WIDE, HIGH, EDGE = 320.0, 64.0, 12.0
"""Size of the drawing and its margin, in its own units."""

GROUND = HIGH - 10
TALL_CM = 120
"""This height fills the drawing; heights are three times too large [cm]."""


def draw_thumbnail(elements: Sequence[Element], *, ident: str, title: str) -> str:
    """Draw a row from the side, small and without measures.

    Distances are to scale among themselves, and so are heights; the two scales
    differ.

    Parameters
    ----------
    elements
        In the order ridden [cm].
    ident
        Of the drawing within its page.
    title
        Its name for those who do not see it.
    """
    root = svg.drawing(
        WIDE, HIGH, ident=ident, title=title, says=row_words(elements), kind="thumbnail"
    )
    length = max(max(one.landing_cm for one in elements), 1)
    across = min((WIDE - 2 * EDGE) / length, 0.5)
    left = (WIDE - length * across) / 2
    svg.line(root, 2, GROUND, WIDE - 2, GROUND, stroke=svg.GROUND, width=3)
    for one in elements:
        _element(root, one, left + one.at_cm * across, left + one.landing_cm * across)
    return svg.written(root)


def _element(root: Node, one: Element, x: float, far: float) -> None:
    up = GROUND - one.height_cm / TALL_CM * (GROUND - 4)
    if one.kind is Kind.PLANK:
        svg.rect(root, x - 5, GROUND - 3, 10, 3, fill=svg.WOOD)
    elif one.kind not in FENCES:
        svg.circle(root, x, min(up, GROUND - 3) - 1, 3.5, fill=svg.WOOD)
    elif one.kind is Kind.CROSS:
        for way in (-1, 1):
            svg.line(
                root, x - 5 * way, GROUND, x + 5 * way, up, stroke=svg.WOOD, width=3
            )
    else:
        front = up + (5 if one.ascending else 0)
        svg.line(root, x, GROUND, x, front, stroke=svg.INK, width=3)
        if one.kind is Kind.OXER:
            svg.line(root, far, GROUND, far, up, stroke=svg.INK, width=3)
            svg.line(root, x, front, far, up, stroke=svg.WOOD, width=3)
        else:
            svg.circle(root, x, front, 3.5, fill=svg.WOOD)
    if one.guides:
        svg.line(root, x - 16, GROUND - 2, x - 3, up, stroke=svg.WOOD, width=2)
