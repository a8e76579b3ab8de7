"""How long one person needs to handle each piece: the school's own times.

Times are seconds of one person's work in the day file and whole microseconds
here, so that sums over centimetres stay exact. The defaults are those of the
day file's contract; they are estimates that a school replaces by its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from exercises.geometry.elements import Piece

US_PER_S = 1_000_000
"""Microseconds in a second."""

LONGEST_S = 3600
"""No single handling time is longer than this, in seconds."""


class InvalidHandling(ValueError):
    """A handling time that cannot be used: names the key and what is wrong."""

    def __init__(self, place: str, says: str) -> None:
        super().__init__(f"{place}: {says}")
        self.place = place
        self.says = says


@dataclass(frozen=True, slots=True)
class PieceTimes:
    """Times to handle one piece.

    Parameters
    ----------
    fetch_us, return_us
        From the store to its place, and back [µs].
    lift_us
        To shift it in place [µs].
    per_cm_us
        To carry it along the line, for each centimetre [µs/cm].
    """

    fetch_us: int
    return_us: int
    lift_us: int
    per_cm_us: int


def _times(fetch_s: int, return_s: int, lift_s: int, per_m_ds: int) -> PieceTimes:
    """Make piece times of seconds, and tenths of a second for each metre."""
    return PieceTimes(
        fetch_s * US_PER_S, return_s * US_PER_S, lift_s * US_PER_S, per_m_ds * 1_000
    )


def _default_pieces() -> dict[Piece, PieceTimes]:
    return {
        Piece.WING: _times(45, 32, 12, 20),
        Piece.POLE: _times(28, 20, 8, 16),
        Piece.CUP: _times(12, 6, 0, 0),
        Piece.BLOCK: _times(18, 12, 6, 15),
        Piece.PLANK: _times(28, 20, 8, 16),
    }


@dataclass(frozen=True, slots=True)
class Handling:
    """Every handling time of a changeover.

    Parameters
    ----------
    pieces
        Times of each piece.
    measure_us
        To tape and square up one element [µs].
    cup_height_us
        To set one cup to another height [µs].
    turn_us
        To turn one ground line or pair of guides to the other side [µs].
    start_us
        Once for each changeover in which anything is done [µs].
    """

    pieces: Mapping[Piece, PieceTimes] = field(default_factory=_default_pieces)
    measure_us: int = 30 * US_PER_S
    cup_height_us: int = 16 * US_PER_S
    turn_us: int = 8 * US_PER_S
    start_us: int = 60 * US_PER_S


DEFAULT_HANDLING = Handling()

_PIECE_KEYS = ("fetch_s", "return_s", "lift_s", "per_m_s")
_OTHER_KEYS = ("measure_s", "cup_height_s", "turn_s", "start_s")


def handling_from(given: Mapping[str, Any]) -> Handling:
    """Read the `handling` of a day file; keys given override the defaults.

    Raises
    ------
    InvalidHandling
        For an unknown key, or a time that is no number from 0 to 3,600 with at
        most four decimals.
    """
    pieces = dict(DEFAULT_HANDLING.pieces)
    others: dict[str, int] = {}
    for key, value in given.items():
        if key in _OTHER_KEYS:
            others[f"{key[:-2]}_us"] = _exact(value, key, US_PER_S)
        elif key in {piece.value for piece in Piece}:
            pieces[Piece(key)] = _piece_times(key, value, pieces[Piece(key)])
        else:
            known = ", ".join([*(piece.value for piece in Piece), *_OTHER_KEYS])
            raise InvalidHandling(key, f"unknown key; known are {known}")
    return replace(DEFAULT_HANDLING, pieces=pieces, **others)


def _piece_times(piece: str, given: object, base: PieceTimes) -> PieceTimes:
    if not isinstance(given, Mapping):
        raise InvalidHandling(piece, "must be an object of times")
    changes: dict[str, int] = {}
    for key, value in given.items():
        place = f"{piece}.{key}"
        if key not in _PIECE_KEYS:
            raise InvalidHandling(
                place, f"unknown key; known are {', '.join(_PIECE_KEYS)}"
            )
        if key == "per_m_s":
            changes["per_cm_us"] = _exact(value, place, US_PER_S // 100)
        else:
            changes[f"{key[:-2]}_us"] = _exact(value, place, US_PER_S)
    return replace(base, **changes)


def _exact(value: object, place: str, factor: int) -> int:
    """Return a time times `factor` as a whole number, or refuse it."""
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise InvalidHandling(place, "must be a number of seconds")
    exact = Decimal(str(value))
    if not exact.is_finite() or not 0 <= exact <= LONGEST_S:
        raise InvalidHandling(place, f"must be from 0 to {LONGEST_S} seconds")
    if exact * 10_000 != int(exact * 10_000):
        raise InvalidHandling(place, "must have at most four decimals")
    return int(exact * factor)
