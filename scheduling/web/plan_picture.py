"""A plan as a picture: arenas as lanes, lessons and changeovers true to time.

Two plans of a day drawn with the same hours lie below each other to scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.etree.ElementTree import Element as Node
from xml.etree.ElementTree import SubElement

from exercises.drawing import svg

MINUTE = 1.8
"""Width of a minute in the drawing."""

LEFT, TOP, LANE, GAP = 120, 46, 84, 26
GRID_FILL, FLAT_FILL, RESET_FILL, RESET_INK = "#cfe0d8", "#e8e2d4", "#f3c98b", "#7a4a00"
LETTER = 7.6
"""Width of a letter at size 14, about."""

FIGURE = 10.0
"""Width of a bold figure at size 14, about."""


@dataclass(frozen=True, slots=True)
class Box:
    """A lesson or changeover in a lane; `note` says what changed."""

    lane: int
    starts_at: datetime
    ends_at: datetime
    words: str
    href: str = ""
    grid: bool = False
    reset: bool = False
    note: str = ""


def draw_plan_of_day(
    lanes: Sequence[str],
    boxes: Sequence[Box],
    *,
    hours: tuple[datetime, datetime],
    ident: str,
    title: str,
) -> str:
    """Draw a plan; the tables beside it say the same.

    Parameters
    ----------
    lanes
        Names of the arenas.
    boxes
        What lies in them.
    hours
        First and last full hour shown.
    ident, title
        Of the drawing within its page.
    """
    first, last = hours

    def x(at: datetime) -> float:
        return LEFT + (at - first).total_seconds() / 60 * MINUTE

    width = x(last) + 36
    height = TOP + len(lanes) * (LANE + GAP) + 4
    root = svg.drawing(
        width, height, ident=ident, title=title, kind="day",
        says="Arenas as lanes, lessons and changeovers true to time; the tables say "
        "the same in words.",
    )  # fmt: skip
    for hour in range(int((last - first).total_seconds() // 3600) + 1):
        at = LEFT + hour * 60 * MINUTE
        svg.line(root, at, TOP - 8, at, height - 6, stroke="#c9c2b4", width=1)
        clock = f"{(first.hour + hour) % 24:02d}:00"
        svg.text(root, at, TOP - 16, clock, size=17, fill=svg.FAINT)
    for lane, name in enumerate(lanes):
        top = TOP + lane * (LANE + GAP)
        svg.rect(root, 4, top, width - 8, LANE, fill="#f7f3ea")
        svg.text(root, 12, top + LANE / 2 + 6, name, size=18, anchor="start", bold=True)
    for box in boxes:
        if not box.reset:
            _lesson(root, box, x(box.starts_at), x(box.ends_at))
    free = [0.0] * len(lanes)
    for box in sorted(boxes, key=lambda one: one.starts_at):
        if box.reset:
            ends = (x(box.starts_at), x(box.ends_at))
            free[box.lane] = _changeover(root, box, *ends, free[box.lane])
    return svg.written(root)


def _changeover(root: Node, box: Box, left: float, right: float, free: float) -> float:
    """Draw a changeover with its minutes right of `free`; return what is free then.

    Two changeovers that follow each other are narrower than their minutes.
    """
    top = TOP + box.lane * (LANE + GAP)
    parent = SubElement(root, "a", {"href": box.href}) if box.href else root
    svg.rect(
        parent, left, top + LANE - 20, max(right - left, 6), 26,
        fill=RESET_FILL, stroke=RESET_INK, stroke_width=2,
    )  # fmt: skip
    SubElement(parent, "title").text = box.words
    minutes = str(round((right - left) / MINUTE))
    half = len(minutes) * FIGURE / 2
    at = max((left + right) / 2, free + half)
    svg.text(
        parent, at, top + LANE + 21, minutes, size=14, fill=RESET_INK, bold=True
    )  # fmt: skip
    return at + half + FIGURE


def _lesson(root: Node, box: Box, left: float, right: float) -> None:
    top = TOP + box.lane * (LANE + GAP)
    parent = SubElement(root, "a", {"href": box.href}) if box.href else root
    svg.rect(
        parent, left, top + 6, right - left, LANE - 12,
        fill=GRID_FILL if box.grid else FLAT_FILL, stroke=svg.INK,
        stroke_width=4 if box.note else 1,
    )  # fmt: skip
    SubElement(parent, "title").text = box.words
    room = max(1, int((right - left - 8) / LETTER))
    start = f"{box.starts_at:%H:%M}"
    svg.text(parent, left + 6, top + 24, start, size=15, anchor="start", bold=True)
    words = box.words if len(box.words) <= room else box.words[: room - 1] + "…"
    svg.text(parent, left + 6, top + 42, words, size=14, anchor="start")
    if box.note:
        # Bold letters are wider, and what was is worth less than what is.
        size = 14 if right - left > 8.8 * len(box.note) + 8 else 12
        svg.text(
            parent, left + 6, top + 59, box.note, size=size, anchor="start", bold=True
        )  # fmt: skip
