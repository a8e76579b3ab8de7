"""What the side view and the plan share: scale, margins, measures, direction.

One unit of the drawing is one centimetre. Letters are sized by the length of
the drawing, so that they are readable when it is as wide as a phone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree.ElementTree import Element as Node

from exercises.drawing import svg
from exercises.geometry.elements import Element
from exercises.geometry.units import METRIC, Units

LETTERS_ACROSS = 31
"""Letter height as a share of the width: about 12 px on a phone."""

LETTERS_ON_PAPER = 56
"""The same for a drawing as wide as a sheet of paper: about 9 pt."""

LEAST_WIDTH_CM = 700
"""A drawing shows at least this much ground, in centimetres."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the row's zero lies in the drawing, and how large letters are [cm]."""

    width: float
    zero: float
    letter: float

    def x(self, at_cm: float) -> float:
        """Return the place of a distance along the row."""
        return self.zero + at_cm


def frame(elements: Sequence[Element], letters_across: int = LETTERS_ACROSS) -> Frame:
    """Return the frame of a row, with room for its ends."""
    first = min(one.at_cm for one in elements)
    last = max(one.landing_cm for one in elements)
    content = max(last - first, LEAST_WIDTH_CM)
    width = content * 1.14
    side = (width - (last - first)) / 2
    return Frame(width, side - first, width / letters_across)


@dataclass(frozen=True, slots=True)
class Label:
    """Words under or over the row, and on which line they stand, from 0."""

    words: str
    middle: float
    line: int


def labels(
    words: Sequence[tuple[float, str, float]], frame: Frame, size: float
) -> tuple[Label, ...]:
    """Put words on as few lines as they need to stand apart from each other.

    Parameters
    ----------
    words
        Each with the place of its middle, in the order of the places, and the
        room between its marks; words wider than it stand lower.
    size
        Of the letters [cm]; each is taken to be two thirds of it wide.
    """
    ends: list[float] = []
    done = []
    for middle, each, room in words:
        half = _width(each, size) / 2
        middle = min(max(middle, half), frame.width - half)
        least = 0 if 2 * half + 0.3 * size < room else 1
        ends += [0.0] * (least - len(ends))
        free = (
            n
            for n, end in enumerate(ends)
            if n >= least and end + 0.4 * size <= middle - half
        )
        line = next(free, len(ends))
        ends[line : line + 1] = [middle + half]
        done.append(Label(each, middle, line))
    return tuple(done)


def _width(words: str, size: float) -> float:
    return 0.66 * size * len(words)


def lines_of(done: Sequence[Label]) -> int:
    """Count the lines that labels stand on."""
    return max((one.line + 1 for one in done), default=0)


def gap_labels(
    elements: Sequence[Element], frame: Frame, units: Units = METRIC
) -> tuple[Label, ...]:
    """Return the gaps between the feet as labels."""
    return labels(
        [
            (
                (frame.x(before.landing_cm) + frame.x(one.at_cm)) / 2,
                units.short_length(one.at_cm - before.landing_cm),
                one.at_cm - before.landing_cm,
            )
            for before, one in pairwise(elements)
        ],
        frame,
        frame.letter,
    )


def gap_measures(
    root: Node,
    elements: Sequence[Element],
    frame: Frame,
    top: float,
    done: Sequence[Label],
) -> None:
    """Write the gaps between the feet, with a mark at each foot."""
    letter = frame.letter
    for (before, one), label in zip(pairwise(elements), done, strict=True):
        low = top + letter * 1.3 * label.line
        left, right = frame.x(before.landing_cm), frame.x(one.at_cm)
        fits = _width(label.words, letter) + letter * 0.3 < right - left
        # Words that are wider than their gap stand below its marks, not across them.
        high, end = (low - letter * 0.45, low + letter * 0.85)
        if not fits:
            high, end = top - letter * 0.45, low - letter * 0.45
        for x in (left, right):
            svg.line(root, x, high, x, end, width=letter / 14)
        svg.text(
            root, label.middle, low + letter * 0.4, label.words, size=letter, bold=True
        )


def datum_labels(
    elements: Sequence[Element],
    frame: Frame,
    *,
    from_cm: int,
    towards: bool,
    units: Units = METRIC,
) -> tuple[Label, ...]:
    """Return what the tape reads at each take-off foot as labels."""
    return labels(
        [
            (
                frame.x(one.at_cm),
                units.short_length(reading_cm(one, from_cm, towards=towards)),
                frame.width,
            )
            for one in elements
        ],
        frame,
        frame.letter * 0.9,
    )


def datum_measures(
    root: Node,
    elements: Sequence[Element],
    frame: Frame,
    top: float,
    done: Sequence[Label],
) -> None:
    """Write what the tape reads at each take-off foot, with a line up to it."""
    letter = frame.letter
    for one, label in zip(elements, done, strict=True):
        low = top + letter * 1.25 * label.line
        x = frame.x(one.at_cm)
        svg.line(
            root, x, top - letter * 1.1, x, low - letter * 0.85,
            stroke=svg.FAINT, width=letter / 16,
        )  # fmt: skip
        svg.text(
            root, label.middle, low, label.words, size=letter * 0.9, fill=svg.FAINT
        )


def reading_cm(one: Element, from_cm: int, *, towards: bool) -> int:
    """Return what the tape reads at a take-off foot, in centimetres."""
    return from_cm - one.at_cm if towards else from_cm + one.at_cm


def direction(root: Node, frame: Frame, y: float) -> None:
    """Draw an arrow in the direction of riding, with the word."""
    letter = frame.letter
    start, end = letter * 0.8, letter * 4.2
    svg.line(root, start, y, end, y, width=letter / 8)
    for way in (-1, 1):
        svg.line(
            root, end, y, end - letter * 0.6, y + way * letter * 0.4, width=letter / 8
        )
    svg.text(
        root, end + letter * 0.5, y + letter * 0.32, "ridden this way", size=letter,
        anchor="start", fill=svg.FAINT,
    )  # fmt: skip
