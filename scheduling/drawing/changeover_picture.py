"""A changeover as a picture: what stands above, what is wanted below, to scale."""

from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element as Node

from exercises.drawing import svg
from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.elements import Element, Kind
from exercises.geometry.lengths import CM_PER_INCH, INCHES_PER_FOOT
from exercises.geometry.units import METRIC, LengthUnit, Units

Move = Mapping[str, Any]

WIDTH, SIDE, ROW, TOP = 1000, 40, 92, 62
HEIGHT = TOP + 2 * ROW + 188
GONE, NEW = "#9b1c1c", "#1f5a43"
LETTERS = {
    Kind.POLE: "pole",
    Kind.RAISED_POLE: "raised",
    Kind.PLANK: "plank",
    Kind.CROSS: "cross",
    Kind.VERTICAL: "vert.",
    Kind.OXER: "oxer",
}


def draw_changeover(
    moves: Sequence[Move],
    line_cm: int,
    *,
    ident: str,
    title: str,
    datum: str,
    units: Units = METRIC,
) -> str:
    """Draw a changeover on its line.

    Parameters
    ----------
    moves
        As in a plan file, or rows with the same keys.
    line_cm
        Length of the line [cm].
    ident, title
        Of the drawing within its page.
    datum
        The end the tape is read from, in words.
    units
        In which lengths and heights are written.
    """
    was = [element_from_data(m["was"]) for m in moves if m["was"]]
    now = [element_from_data(m["now"]) for m in moves if m["now"]]
    says = (
        f"Standing: {_listed(was, units)}. Wanted: {_listed(now, units)}. "
        "The steps below say the same."
    )
    root = svg.drawing(
        WIDTH, HEIGHT, ident=ident, title=title, says=says, kind="moves-drawing"
    )
    upper, lower = TOP + ROW, TOP + 2 * ROW + 104
    first, last = _shown([*was, *now], line_cm)

    def x(at_cm: float) -> float:
        return SIDE + (WIDTH - 2 * SIDE) * (at_cm - first) / (last - first)

    svg.text(root, SIDE, 26, "Stands now", size=22, anchor="start", bold=True)
    svg.text(root, SIDE, upper + 52, "Wanted", size=22, anchor="start", bold=True)
    for ground in (upper, lower):
        svg.line(root, x(first), ground, x(last), ground, stroke=svg.GROUND, width=6)
    _tape(root, x, lower, (first, last), datum, units)
    _names(root, x, was, upper, units)
    _names(root, x, now, lower, units)
    for move in moves:
        _move(root, x, move, upper, lower)
    return svg.written(root)


def _listed(elements: Sequence[Element], units: Units) -> str:
    return "; ".join(element_words(one, units) for one in elements) or "nothing"


def _shown(elements: Sequence[Element], line_cm: int) -> tuple[int, int]:
    """Return the part of the line that is drawn, in whole metres [cm]."""
    feet = [foot for one in elements for foot in (one.at_cm, one.landing_cm)]
    first = max(0, min(feet, default=0) // 100 * 100 - 200)
    last = min(line_cm, -(-max(feet, default=line_cm) // 100) * 100 + 200)
    return first, max(last, first + 600)


def _tape(
    root: Node,
    x: Any,
    ground: float,
    shown_cm: tuple[int, int],
    datum: str,
    units: Units,
) -> None:
    """Draw the tape under the line: a mark every metre or foot, some numbered."""
    feet = units.lengths is LengthUnit.FEET
    mark_cm = CM_PER_INCH * INCHES_PER_FOOT if feet else 100
    first, last = (int(cm / mark_cm) for cm in shown_cm)
    every = next(n for n in (1, 5, 10, 1000) if (last - first) / n < 25)
    for mark in range(first, last + 1):
        at = x(mark * mark_cm)
        svg.line(root, at, ground + 4, at, ground + 12, stroke=svg.FAINT, width=2)
        if mark % every == 0:
            svg.text(root, at, ground + 50, str(mark), size=21, fill=svg.FAINT)
    svg.text(
        root,
        SIDE,
        ground + 76,
        f"{'feet' if feet else 'metres'} from {datum}",
        size=20,
        anchor="start",
        fill=svg.FAINT,
    )


def _names(
    root: Node, x: Any, elements: Sequence[Element], ground: float, units: Units
) -> None:
    """Write what each element is, in turn on two lines where they stand close."""
    before, raised = -WIDTH, False
    for one in sorted(elements, key=lambda e: e.at_cm):
        words = LETTERS[one.kind]
        words += f" {units.short_height(one.height_cm)}" if one.height_cm else ""
        at = x(one.at_cm)
        raised = at - before < 12 * len(words) and not raised
        high = ground - _tall(one) - (36 if raised else 10)
        svg.text(root, at, high, words, size=22)
        before = at


def _move(root: Node, x: Any, move: Move, upper: float, lower: float) -> None:
    do = move["do"]
    was = element_from_data(move["was"]) if move["was"] else None
    now = element_from_data(move["now"]) if move["now"] else None
    if was is not None and now is not None:
        dash = "" if do == "keep" else "8 7"
        svg.line(
            root, x(was.at_cm), upper + 6, x(now.at_cm), lower - _tall(now) - 58,
            stroke=svg.FAINT, width=2, dash=dash,
        )  # fmt: skip
    if was is not None:
        _element(root, x, was, upper, GONE if do == "strip" else svg.INK)
        if do == "strip":
            _cross_out(root, x(was.at_cm), upper - _tall(was) / 2)
    if now is not None:
        _element(root, x, now, lower, NEW if do == "build" else svg.INK)
        if do == "build":
            at, low = x(now.at_cm), lower + 28
            svg.text(root, at, low, "new", size=20, fill=NEW, bold=True)


def _tall(one: Element) -> float:
    return max(10, one.height_cm * 0.5)


def _element(root: Node, x: Any, one: Element, ground: float, ink: str) -> None:
    """Draw an element from the side: posts as high as its rails."""
    top = ground - _tall(one)
    for foot in dict.fromkeys((one.at_cm, one.landing_cm)):
        svg.line(root, x(foot), ground, x(foot), top, stroke=ink, width=7)
    if one.landing_cm > one.at_cm:
        svg.line(root, x(one.at_cm), top, x(one.landing_cm), top, stroke=ink, width=3)


def _cross_out(root: Node, x: float, y: float) -> None:
    for way in (-1, 1):
        svg.line(root, x - 12, y - way * 12, x + 12, y + way * 12, stroke=GONE, width=4)
