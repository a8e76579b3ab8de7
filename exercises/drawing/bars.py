"""Numbers as bars: a row for each week or name, a bar or part of one for each series.

The series differ by pattern as well as by shade, so that they can be told apart in
grey and by everybody.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log10
from xml.etree.ElementTree import Element as Node
from xml.etree.ElementTree import SubElement

from exercises.drawing import svg

WIDE, LEFT, RIGHT = 480.0, 104.0, 54.0
BAR, BETWEEN, HEAD, KEY = 17.0, 11.0, 26.0, 22.0
SHADES = ("#1f5a43", "#f3c98b", "#cfe0d8", "#9b8f7c", "#6b3410", "#fffdf8")
LETTER = 7.6
"""Width of a letter at size 14, about."""


@dataclass(frozen=True, slots=True)
class Bars:
    """What is drawn: labels of the rows, and for each series its name and values.

    A value of None is not known; it is drawn as a question mark where bars stand
    side by side.
    """

    labels: Sequence[str]
    series: Sequence[tuple[str, Sequence[float | None]]]
    unit: str
    stacked: bool = False


def draw_bars(bars: Bars, *, ident: str, title: str, says: str) -> str:
    """Draw the bars with their scale and key.

    Parameters
    ----------
    bars
        What is drawn.
    ident, title, says
        Of the drawing within its page, and its text alternative.
    """
    thick = 1 if bars.stacked else len(bars.series)
    step = thick * BAR + BETWEEN
    keys = HEAD + KEY * len(bars.series)
    height = keys + HEAD + step * len(bars.labels) + 6
    root = svg.drawing(WIDE, height, ident=ident, title=title, says=says, kind="bars")
    fills = _patterns(root, ident, len(bars.series))
    for n, (name, _) in enumerate(bars.series):
        top = 8 + KEY * n
        _box(root, 10, top, 26, 14, fills[n])
        svg.text(root, 44, top + 12, name, size=14, anchor="start")
    most = scale_of(_longest(bars))
    across = (WIDE - LEFT - RIGHT) / most
    for mark in (0.0, most / 2, most):
        at = LEFT + mark * across
        svg.line(root, at, keys + 6, at, height - 6, stroke="#c9c2b4", width=1)
        unit = f" {bars.unit}" if mark == most else ""
        svg.text(root, at, keys - 2, _short(mark) + unit, size=13, fill=svg.FAINT)
    for row, label in enumerate(bars.labels):
        top = keys + HEAD - 8 + row * step
        room = int((LEFT - 10) / LETTER)
        words = label if len(label) <= room else label[: room - 1] + "…"
        middle = top + thick * BAR / 2 + 5
        svg.text(root, LEFT - 8, middle, words, size=14, anchor="end")
        values = [its[row] for _, its in bars.series]
        if bars.stacked:
            _stack(root, top, values, fills, across)
        else:
            for n, value in enumerate(values):
                _bar(root, top + n * BAR, value, fills[n], across)
    return svg.written(root)


def scale_of(longest: float) -> float:
    """Return the end of the scale: the next 1, 2, 4, 6 or 8 with zeros, at least 2."""
    if longest <= 2:
        return 2
    zeros = 10.0 ** ceil(log10(longest) - 1)
    return next(one * zeros for one in (1, 2, 4, 6, 8, 10) if one * zeros >= longest)


def _longest(bars: Bars) -> float:
    rows = range(len(bars.labels))
    its = [[values[row] or 0 for _, values in bars.series] for row in rows]
    return max(
        [sum(one) if bars.stacked else max(one, default=0) for one in its], default=0
    )


def _stack(
    root: Node,
    top: float,
    values: Sequence[float | None],
    fills: Sequence[str],
    across: float,
) -> None:
    at, whole = LEFT, 0.0
    for value, fill in zip(values, fills, strict=True):
        if value:
            _box(root, at, top, value * across, BAR, fill)
            at, whole = at + value * across, whole + value
    svg.text(root, at + 5, top + 13, _short(whole), size=13, anchor="start")


def _bar(root: Node, top: float, value: float | None, fill: str, across: float) -> None:
    if value:
        _box(root, LEFT, top, value * across, BAR - 2, fill)
    at = LEFT + (value or 0) * across + 5
    words = "?" if value is None else _short(value)
    svg.text(root, at, top + 12, words, size=13, anchor="start")


def _box(root: Node, x: float, y: float, wide: float, high: float, fill: str) -> None:
    svg.rect(root, x, y, wide, high, fill=fill, stroke=svg.INK, stroke_width=1)


def _patterns(root: Node, ident: str, count: int) -> list[str]:
    """Define a pattern for each series: plain, then striped more and more ways."""
    fills = []
    for n in range(count):
        shade = SHADES[n % len(SHADES)]
        if n == 0:
            fills.append(shade)
            continue
        name = f"{ident}-{n}"
        pattern = SubElement(
            root,
            "pattern",
            {
                "id": name,
                "width": "8",
                "height": "8",
                "patternUnits": "userSpaceOnUse",
                "patternTransform": f"rotate({(n - 1) * 45 % 180})",
            },
        )
        svg.rect(pattern, 0, 0, 8, 8, fill=shade)
        if n > 1:
            svg.line(pattern, 0, 4, 8, 4, stroke=svg.INK, width=1.5)
        fills.append(f"url(#{name})")
    return fills


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
