"""How a row lies on the lines of an arena: what it needs, and what is left."""

from collections.abc import Sequence
from dataclasses import dataclass

from exercises.geometry.fit import Fit
from exercises.geometry.fitting import FittedRow
from exercises.geometry.spec import ExerciseSpec

GOOD_RUNOUT_CM = 1500
"""Room after a line to the end of the arena (Dutch leaflets)."""

LEAST_RUNOUT_CM = 700
"""Below this a row is refused (the school's own, from the same leaflets)."""

GOOD_APPROACH_CM = 700
"""A straight approach to a small jump is at least this long (Dutch exercises)."""


@dataclass(frozen=True, slots=True)
class Room:
    """A line on which a row might stand [cm]."""

    name: str
    length_cm: int


@dataclass(frozen=True, slots=True)
class LineFit:
    """How a row lies on one line: what it needs, and what is left [cm].

    `left_cm` is the room to pull up in after the row and its approach; below 0
    the row itself is too long.
    """

    room: Room
    row_cm: int
    approach_cm: int
    left_cm: int
    fit: Fit


def span_cm(row: FittedRow) -> int:
    """Return how much of a line a row takes over all its stages, in centimetres."""
    every = row.every_element
    return max(e.landing_cm for e in every) - min(e.at_cm for e in every)


def fit_lines(
    spec: ExerciseSpec, row: FittedRow, rooms: Sequence[Room]
) -> tuple[LineFit, ...]:
    """Return how a row lies on each line, the roomiest first.

    A line holds the row, its approach and its run-out. Less than 7 m to pull up
    in does not fit, less than 15 m is to be looked at (Dutch leaflets).
    """
    fits = []
    for room in rooms:
        left = room.length_cm - span_cm(row) - spec.approach_cm
        if left < max(spec.runout_cm, LEAST_RUNOUT_CM):
            fit = Fit.DOES_NOT
        elif left < GOOD_RUNOUT_CM or spec.approach_cm < GOOD_APPROACH_CM:
            fit = Fit.LOOK
        else:
            fit = Fit.FITS
        fits.append(LineFit(room, span_cm(row), spec.approach_cm, left, fit))
    return tuple(sorted(fits, key=lambda one: (-one.left_cm, one.room.name)))
