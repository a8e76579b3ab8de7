"""The side view of a row, true to scale in both directions."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element as Node

from exercises.drawing import svg
from exercises.drawing.layout import (
    LETTERS_ACROSS,
    Frame,
    Label,
    datum_labels,
    datum_measures,
    direction,
    frame,
    gap_labels,
    gap_measures,
    labels,
    lines_of,
    reading_cm,
)
from exercises.drawing.words import datum_words, row_words
from exercises.geometry.elements import FENCES, Element, GroundLine, Kind
from exercises.geometry.units import METRIC, Units

POLE_CM = 10
"""Thickness of a pole (about 10 cm; Dutch leaflets); in a long row it is drawn thicker,
so that it can be seen: places are to scale, the ends of poles are not."""

V_POLES_OUT_CM = 100
"""How far before the fence the feet of V-poles are drawn, in centimetres."""

WING_CM = 120
"""Height wings are drawn with at the least, in centimetres."""


def draw_side(
    elements: Sequence[Element],
    *,
    ident: str,
    title: str,
    from_cm: int = 0,
    towards: bool = False,
    letters_across: int = LETTERS_ACROSS,
    units: Units = METRIC,
) -> str:
    """Draw a row from the side.

    Parameters
    ----------
    elements
        In the order ridden [cm].
    ident
        Of the drawing within its page.
    title
        Its name for those who do not see it.
    from_cm
        What the datum reads at the row's zero [cm].
    towards
        Whether the row is ridden towards the datum: the tape reads less, then.
    letters_across
        How many letters high the drawing is wide.
    units
        What measures are written in.
    """
    box = frame(elements, letters_across)
    letter = box.letter
    tall = max(_top(one) for one in elements)
    gaps = gap_labels(elements, box, units)
    feet = datum_labels(elements, box, from_cm=from_cm, towards=towards, units=units)
    names = _heights(elements, box, units)
    ground = letter * (2.4 + 1.2 * lines_of(names)) + tall
    datum = ground + letter * (2.2 + 1.3 * lines_of(gaps))
    height = datum + letter * (1.25 * lines_of(feet) - 0.7)
    readings = [reading_cm(one, from_cm, towards=towards) for one in elements]
    root = svg.drawing(
        box.width,
        height,
        ident=ident,
        title=title,
        says=f"{row_words(elements, units)} {datum_words(readings, units)}",
        kind="side",
    )
    direction(root, box, letter * 1.1)
    svg.rect(root, 0, ground, box.width, letter * 0.3, fill=svg.GROUND)
    for one in elements:
        _element(root, one, box, ground)
    _write_heights(root, elements, box, ground, names)
    gap_measures(root, elements, box, ground + letter * 1.3, gaps)
    datum_measures(root, elements, box, datum, feet)
    return svg.written(root)


def _write_heights(
    root: Node,
    elements: Sequence[Element],
    box: Frame,
    ground: float,
    names: Sequence[Label],
) -> None:
    """Write the heights above all fences, led down to those that are lower."""
    letter, tall = box.letter, max(_top(one) for one in elements)
    named = [one for one in elements if one.height_cm]
    for one, label in zip(named, names, strict=True):
        above = ground - tall - letter * (0.3 + 1.1 * label.line)
        x = box.x(one.at_cm)
        if above + letter * 0.3 < ground - _top(one):
            svg.line(
                root, x, above + letter * 0.2, x, ground - _top(one),
                stroke=svg.FAINT, width=letter / 20,
            )  # fmt: skip
        svg.text(root, label.middle, above, label.words, size=letter * 0.9)


def _top(one: Element) -> int:
    """Return how high an element reaches, its wings included, in centimetres."""
    if one.kind in FENCES:
        return max(WING_CM, one.height_cm + 20)
    return one.height_cm + 10


def _heights(
    elements: Sequence[Element], box: Frame, units: Units
) -> tuple[Label, ...]:
    """Return the heights of what is built above the ground as labels."""
    return labels(
        [
            (
                (box.x(one.at_cm) + box.x(one.landing_cm)) / 2,
                units.short_height(one.height_cm),
                box.width,
            )
            for one in elements
            if one.height_cm
        ],
        box,
        box.letter * 0.9,
    )


def _element(root: Node, one: Element, box: Frame, ground: float) -> None:
    x, far = box.x(one.at_cm), box.x(one.landing_cm)
    end = _seen(box)
    if one.kind in {Kind.POLE, Kind.PLANK}:
        _end_of_pole(root, x, ground, end, plank=one.kind is Kind.PLANK)
    elif one.kind is Kind.RAISED_POLE:
        svg.rect(root, x - 9, ground - one.height_cm, 18, one.height_cm, fill=svg.FAINT)
        svg.circle(root, x, ground - one.height_cm, end, fill=svg.WOOD)
    else:
        _wing(root, x, ground, one)
        front = one.height_cm - (10 if one.ascending else 0)
        _rails(root, x, ground, front, one, end)
        if one.kind is Kind.OXER:
            _wing(root, far, ground, one)
            svg.circle(root, far, ground - one.height_cm, end, fill=svg.WOOD)
    if one.ground_line is not GroundLine.NONE:
        _end_of_pole(root, x - one.ground_line_cm, ground, end)
    if one.ground_line is GroundLine.BOTH:
        _end_of_pole(root, far + one.ground_line_cm, ground, end)
    if one.v_poles_cm:
        svg.line(
            root, x - V_POLES_OUT_CM, ground - 5, x, ground - one.height_cm,
            stroke=svg.WOOD, width=9,
        )  # fmt: skip
    if one.leaning:
        svg.line(root, x - 30, ground - 5, x, ground - one.height_cm, width=9,
                 stroke=svg.WOOD)  # fmt: skip
    if one.guides:
        svg.line(
            root, x - 150, ground - 6, x, ground - one.height_cm, stroke=svg.WOOD,
            width=7, dash="18 12",
        )  # fmt: skip


def _seen(box: Frame) -> float:
    """Return half the thickness of a pole, or as much as can still be seen [cm]."""
    return max(POLE_CM / 2, box.letter * 0.16)


def _end_of_pole(
    root: Node, x: float, ground: float, end: float, *, plank: bool = False
) -> None:
    if plank:
        wide = max(20.0, 3 * end)
        svg.rect(root, x - wide / 2, ground - end, wide, end, fill=svg.WOOD)
    else:
        svg.circle(root, x, ground - end, end, fill=svg.WOOD)


def _wing(root: Node, x: float, ground: float, one: Element) -> None:
    svg.line(root, x, ground, x, ground - _top(one), width=8, stroke=svg.INK)
    svg.line(root, x - 18, ground, x + 18, ground, width=6, stroke=svg.INK)


def _rails(
    root: Node, x: float, ground: float, front: int, one: Element, end: float
) -> None:
    if one.kind is Kind.CROSS:
        # From the side a cross shows its two high ends and its low middle.
        svg.circle(root, x, ground - front / 2, end, fill=svg.WOOD)
        svg.circle(root, x, ground - front, end, fill=svg.WOOD)
        return
    for n in range(one.front_rails):
        height = front * (one.front_rails - n) / one.front_rails
        svg.circle(root, x, ground - height, end, fill=svg.WOOD)
