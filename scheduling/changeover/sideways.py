"""Moving a line sideways, to and fro across its arena, so that the ground rests.

The sand packs where horses take off and land; a line that lies elsewhere every week
spreads that. Places are distances from the long side in centimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from exercises.geometry.elements import pieces
from scheduling.changeover.effort import US_PER_S, Handling
from scheduling.changeover.setups import PlacedElement

FENCE_WIDE_CM = 500
"""A fence with its wings is about so wide (handbook, practice 7: own figure)."""

LEAST_STEP_CM = 50
"""A shorter way spares no ground (common practice, no source)."""

EMPTY_LINE_MIN = 5
"""To set the marks of an empty line anew (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Between which places a line may lie, and where its neighbours lie [cm]."""

    least_cm: int
    most_cm: int
    neighbours: tuple[int, ...] = ()

    def around(self, at_cm: int) -> tuple[int, int]:
        """Return the least and most a line at a place can go to, past no neighbour."""
        below = [one for one in self.neighbours if one <= at_cm]
        above = [one for one in self.neighbours if one >= at_cm]
        least = max([self.least_cm, *(one + FENCE_WIDE_CM for one in below)])
        most = min([self.most_cm, *(one - FENCE_WIDE_CM for one in above)])
        return least, most


@dataclass(frozen=True, slots=True)
class Shift:
    """A line's move sideways [cm from the long side], and what stands on it then."""

    from_cm: int
    to_cm: int
    standing: tuple[PlacedElement, ...]


def next_place(at_cm: int, step_cm: int, outward: bool, bounds: Bounds) -> int | None:
    """Return where a line goes next [cm], or None where there is no room to go.

    A step on in its direction (`outward`: away from the long side); at the end of its
    room it turns. Where a whole step fits on neither side it goes as far as it can.
    """
    least, most = bounds.around(at_cm)
    if least > most:
        return None
    way = step_cm if outward else -step_cm
    for to_cm in (at_cm + way, at_cm - way):
        if least <= to_cm <= most:
            return to_cm
    # Set by hand, it may lie outside its room: then it comes in.
    ends = (most, least) if outward else (least, most)
    far = max(ends, key=lambda one: abs(one - at_cm))
    near = min(ends, key=lambda one: abs(one - at_cm))
    to_cm = far if least <= at_cm <= most else near
    return to_cm if abs(to_cm - at_cm) >= LEAST_STEP_CM else None


def sideways_minutes(
    standing: Sequence[PlacedElement], by_cm: int, handling: Handling
) -> int:
    """Return what it takes one person to move a line by `by_cm`, in whole minutes.

    What stands is shifted as it stands, by the handling times of a shift along the
    line: each piece lifted and carried, each element measured again.
    """
    us = handling.start_us if standing else 0
    for one in standing:
        us += handling.measure_us
        for piece, count in pieces(one.element).items():
            times = handling.pieces[piece]
            us += count * (times.lift_us + times.per_cm_us * abs(by_cm))
    return max(EMPTY_LINE_MIN, -(-us // (60 * US_PER_S)))
