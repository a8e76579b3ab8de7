"""The evening strip: all that still stands goes into the store.

Each line is stripped as soon as its arena is free for the day and somebody is, and
never in the dark where there are no lights: there it is left standing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.changeover.costs import strip_us
from scheduling.changeover.effort import US_PER_S, Handling
from scheduling.changeover.setups import PlacedElement

Times = tuple[int, int]
"""From and to, in minutes of the day."""


@dataclass(frozen=True, slots=True)
class Left:
    """What stands on a line when its arena's last lesson is over.

    Parameters
    ----------
    line
        Its name.
    free_min, dark_min
        From when on nobody rides there, and from when it is too dark to carry
        (minutes of the day).
    elements
        What stands.
    """

    line: str
    free_min: int
    dark_min: int
    elements: tuple[PlacedElement, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """A line's evening strip: from when to when, and what it takes."""

    line: str
    from_min: int
    to_min: int
    seconds: int


def strip_seconds(elements: Sequence[PlacedElement], handling: Handling) -> int:
    """Return what it takes to bring elements to the store, rounded up [s]."""
    if not elements:
        return 0
    us = handling.start_us + sum(strip_us(one, handling) for one in elements)
    return -(-us // US_PER_S)


def evening_strips(
    lines: Sequence[Left], busy: Sequence[Times], crew: int, handling: Handling
) -> tuple[Strip, ...]:
    """Return the strips of an evening, the arena that is free first coming first.

    Parameters
    ----------
    lines
        What stands; a line on which nothing does needs no strip.
    busy
        When one of the crew is at other work.
    crew
        How many may work at once.
    handling
        The school's handling times.
    """
    taken, found = list(busy), []
    for one in sorted(lines, key=lambda left: (left.free_min, left.line)):
        seconds = strip_seconds(one.elements, handling)
        if not seconds:
            continue
        minutes = -(-seconds // 60)
        start = _earliest(one.free_min, minutes, taken, crew)
        if start + minutes <= one.dark_min:
            found.append(Strip(one.line, start, start + minutes, seconds))
            taken.append((start, start + minutes))
    return tuple(found)


def _earliest(free: int, minutes: int, taken: Sequence[Times], crew: int) -> int:
    """Return the first minute from which somebody has the whole time."""
    starts = sorted({free, *(to for _, to in taken if to > free)})

    def somebody(start: int) -> bool:
        end = start + minutes
        moments = {start, *(first for first, _ in taken if start < first < end)}
        return all(
            sum(first <= at < last for first, last in taken) < crew for at in moments
        )

    # After the last of the other work everybody is free.
    return next(filter(somebody, starts), starts[-1])
