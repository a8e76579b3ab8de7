"""How much of each kind of handling a step takes, so that times can be learned.

A changeover's cost is a sum of handling times, each so and so often. The amounts
come from the cost rules themselves: a step is priced once with times that are the
places of one large number, and its digits are read.
"""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from exercises.geometry.elements import Piece
from scheduling.changeover.costs import build_us, pair_cost, strip_us
from scheduling.changeover.effort import US_PER_S, Handling, PieceTimes
from scheduling.changeover.setups import PlacedElement

Amounts = npt.NDArray[np.float64]
"""How often each of `KEYS`; of a carry the piece-metres. Shape (len(KEYS),)."""

Step = tuple[PlacedElement | None, PlacedElement | None]
"""What stood, and what is to stand."""

_OTHERS = ("start", "measure", "cup_height", "turn")
_OF_PIECES = ("fetch", "return", "lift", "per_m")

KEYS: tuple[str, ...] = tuple(f"{name}_s" for name in _OTHERS) + tuple(
    f"{piece.value}.{name}_s" for piece in Piece for name in _OF_PIECES
)
"""The handling times by the day file's names, those of a piece after its name."""


BITS = 48
"""Room for each amount: far above the piece-centimetres of a day."""


def times_of(handling: Handling) -> Amounts:
    """Return a handling's times in the order of `KEYS` [s, s/m]."""
    values = [getattr(handling, f"{name}_us") for name in _OTHERS]
    for piece in Piece:
        one = handling.pieces[piece]
        values += [one.fetch_us, one.return_us, one.lift_us, one.per_cm_us * 100]
    return np.array(values, dtype=np.float64) / US_PER_S


def amounts_of(steps: Iterable[Step]) -> Amounts:
    """Return how often each handling is done in these steps; no start is counted."""
    total = sum(_cost(was, now) for was, now in steps)
    digits = [(total >> (BITS * n)) & ((1 << BITS) - 1) for n in range(len(KEYS))]
    amounts: Amounts = np.array(digits, dtype=np.float64) / _DIVISORS
    return amounts


def _places() -> Handling:
    """Return the handling in which the n-th time is the n-th place of a number."""
    place = {key: 1 << (BITS * n) for n, key in enumerate(KEYS)}
    pieces = {
        piece: PieceTimes(*(place[f"{piece.value}.{name}_s"] for name in _OF_PIECES))
        for piece in Piece
    }
    start, measure, cup_height, turn = (place[f"{name}_s"] for name in _OTHERS)
    return Handling(pieces, measure, cup_height, turn, start)


_PLACES = _places()
_DIVISORS = np.array([100.0 if key.endswith("per_m_s") else 1.0 for key in KEYS])


def _cost(was: PlacedElement | None, now: PlacedElement | None) -> int:
    if was is not None and now is not None:
        return pair_cost(was, now, _PLACES).at(now.at_cm - was.at_cm)
    if was is not None:
        return strip_us(was, _PLACES)
    return build_us(now, _PLACES) if now is not None else 0
