"""Puts the moves of a changeover into words, for a list in the hand.

A move is one of a plan file: `do`, `was`, `now`. Positions are read from the
line's datum. Sides are named by it too, since "left" and "behind" depend on
where the reader stands.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from exercises.geometry.data import element_from_data
from exercises.geometry.elements import (
    GROUND_LINE_CM,
    GUIDES_CM,
    Element,
    GroundLine,
    Kind,
    Piece,
    pieces,
)
from exercises.geometry.units import METRIC, Units

MoveData = Mapping[str, Any]
ElementData = Mapping[str, Any]

DATUM = "the datum"

_NAMES = {
    Kind.POLE: "pole",
    Kind.RAISED_POLE: "raised pole",
    Kind.PLANK: "plank",
    Kind.CROSS: "cross",
    Kind.VERTICAL: "vertical",
    Kind.OXER: "oxer",
}


@dataclass(frozen=True, slots=True)
class Carry:
    """Pieces to bring from the store and to take back to it, counted."""

    bring: Counter[Piece]
    take_back: Counter[Piece]

    def words(self) -> str:
        """Say what to carry, "bring 2 wings, 1 pole; take back 4 cups" say."""
        parts = []
        if self.bring:
            parts.append(f"bring {piece_words(self.bring)}")
        if self.take_back:
            parts.append(f"take back {piece_words(self.take_back)}")
        return "; ".join(parts) if parts else "nothing to carry"


def move_words(move: MoveData, datum: str = DATUM, units: Units = METRIC) -> str:
    """Say in one sentence what a move asks for.

    Parameters
    ----------
    move
        A move of a plan file.
    datum
        The end the tape is read from, in words.
    units
        In which lengths and heights are written.
    """
    was, now = move["was"], move["now"]
    match move["do"]:
        case "build":
            what = _whole(now, datum, units)
            return f"Build {what} at {_spot(now, units)} from {datum}."
        case "strip":
            return f"Take away the {_name(was)} at {_spot(was, units)} from {datum}."
        case "keep":
            return f"Leave the {_name(now)} at {_spot(now, units)} from {datum}."
        case "shift":
            return f"Shift the {_name(was)} {_from_to(was, now, units)} from {datum}."
        case _:
            return _change_words(was, now, datum, units)


def move_carry(move: MoveData) -> Carry:
    """Count the pieces one move needs from the store and gives back to it."""
    before, after = _pieces(move["was"]), _pieces(move["now"])
    return Carry(after - before, before - after)


def changeover_carry(moves: Iterable[MoveData]) -> Carry:
    """Count what a whole changeover needs; what one fence frees, another uses."""
    before: Counter[Piece] = Counter()
    after: Counter[Piece] = Counter()
    for move in moves:
        before += _pieces(move["was"])
        after += _pieces(move["now"])
    return Carry(after - before, before - after)


def changeover_words(
    moves: Iterable[MoveData], datum: str = DATUM, units: Units = METRIC
) -> list[str]:
    """Say a whole changeover, line by line: what to carry, then every move."""
    listed = list(moves)
    carry = changeover_carry(listed).words()
    first = f"{carry[0].upper()}{carry[1:]}."
    return [first, *(move_words(move, datum, units) for move in listed)]


def piece_words(count: Mapping[Piece, int]) -> str:
    """Say a count of pieces, "2 wings, 1 pole" say."""
    return ", ".join(
        f"{count[piece]} {piece.value}{'' if count[piece] == 1 else 's'}"
        for piece in Piece
        if count.get(piece)
    )


def duration_words(seconds: int) -> str:
    """Say seconds as whole minutes, rounded up."""
    minutes = -(-seconds // 60)
    return f"{minutes} min"


def _pieces(data: ElementData | None) -> Counter[Piece]:
    return Counter() if data is None else pieces(element_from_data(data))


def _name(data: ElementData) -> str:
    return _NAMES[Kind(data["kind"])]


def _spot(data: ElementData, units: Units) -> str:
    """Say where an element stands: both feet of an oxer, else its one foot."""
    one = element_from_data(data)
    if one.spread_cm:
        return f"{units.length(one.at_cm)} and {units.length(one.landing_cm)}"
    return units.length(one.at_cm)


def _from_to(was: ElementData, now: ElementData, units: Units) -> str:
    return f"from {_spot(was, units)} to {_spot(now, units)}"


def _whole(data: ElementData, datum: str, units: Units) -> str:
    name = _name(data)
    article = "an" if name[0] in "aeiou" else "a"
    details = _details(data, datum, units)
    return f"{article} {name}" + (f" ({', '.join(details)})" if details else "")


def _details(data: ElementData, datum: str, units: Units) -> list[str]:
    """Say what an element is like beside its kind and place."""
    one = element_from_data(data)
    details = []
    if one.height_cm:
        details.append(f"{units.height(one.height_cm)} high")
    if one.spread_cm:
        details.append(f"{units.short(one.spread_cm)} spread")
    if one.front_rails > 1:
        details.append(f"{one.front_rails} rails")
    details += _sided(data, datum, units)
    return details


def _sided(data: ElementData, datum: str, units: Units) -> list[str]:
    """Say what lies or is lower on one side, by the datum."""
    one = element_from_data(data)
    near = data.get("faces", "up") == "up"
    side = f"the side nearer {datum}" if near else f"the side away from {datum}"
    details = []
    if one.ascending:
        details.append(f"lower on {side}")
    if one.ground_line is GroundLine.TAKE_OFF:
        details.append(f"ground line on {side}")
    elif one.ground_line is GroundLine.BOTH:
        details.append("ground line on both sides")
    if one.guides:
        details.append(f"guide rails on {side}")
    return details + _by_hand(one, units)


def _by_hand(one: Element, units: Units) -> list[str]:
    """Say what lies or leans otherwise than usual."""
    details = []
    if one.ground_line is not GroundLine.NONE and one.ground_line_cm != GROUND_LINE_CM:
        details.append(f"ground line {units.short(one.ground_line_cm)} from the fence")
    if one.guides and one.guides_cm != GUIDES_CM:
        details.append(f"guide rails {units.short(one.guides_cm)} apart")
    if one.v_poles_cm:
        details.append(f"V-poles with their feet {units.short(one.v_poles_cm)} apart")
    if one.leaning:
        details.append(f"a pole leaning on the {one.leaning}, as ridden")
    return details


def _change_words(was: ElementData, now: ElementData, datum: str, units: Units) -> str:
    """Say a change: of the kind, or of what differs; then where it goes."""
    if was["kind"] != now["kind"]:
        change = f"into {_whole(now, datum, units)}"
    else:
        before = _details(was, datum, units)
        new = [one for one in _details(now, datum, units) if one not in before]
        new += _without(was, now)
        change = f"to {', '.join(new)}" if new else "as listed"
    where = f"{units.length(was['at_cm'])} from {datum}"
    words = f"Change the {_name(was)} at {where} {change}"
    if was["at_cm"] != now["at_cm"] or was.get("spread_cm") != now.get("spread_cm"):
        words += f"; its place is {_spot(now, units)}"
    return words + "."


def _without(was: ElementData, now: ElementData) -> list[str]:
    """Say what is taken from an element that stays."""
    before, after = element_from_data(was), element_from_data(now)
    gone = []
    if before.ground_line is not GroundLine.NONE and (
        after.ground_line is GroundLine.NONE
    ):
        gone.append("no ground line")
    if before.guides and not after.guides:
        gone.append("no guide rails")
    if before.ascending and not after.ascending:
        gone.append("both rails level")
    if before.v_poles_cm and not after.v_poles_cm:
        gone.append("no V-poles")
    if before.leaning and not after.leaning:
        gone.append("no leaning pole")
    if before.front_rails > 1 and after.front_rails == 1:
        gone.append("one rail")
    return gone


HANDLING = {
    "start_s": "To begin a changeover",
    "measure_s": "To measure and square up one fence",
    "cup_height_s": "To set one cup to another height",
    "turn_s": "To turn a ground line or a pair of guides",
    "fetch_s": "to fetch from the store",
    "return_s": "to take to the store",
    "lift_s": "to lift and set down",
    "per_m_s": "to carry one metre",
}


def handling_words(key: str) -> str:
    """Say what a handling time is of, by the day file's name of it."""
    piece, dot, name = key.rpartition(".")
    if not dot:
        return HANDLING[key]
    return f"{piece.capitalize()}: {HANDLING[name]}"
