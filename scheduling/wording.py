"""Puts the moves of a changeover into words, for a list in the hand.

A move is one of a plan file: `do`, `was`, `now`. Positions are read from the
line's datum. Sides are named by it too, since "left" and "behind" depend on
where the reader stands.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
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
from exercises.geometry.lengths import CM_PER_INCH, INCHES_PER_FOOT
from exercises.geometry.units import METRIC, LengthUnit, Units
from scheduling.changeover.fetching import NOWHERE, Fetch
from scheduling.changeover.loads import Crew
from scheduling.changeover.sideways import Shift
from scheduling.changeover.walking import Phase, Walk

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


HEADINGS = {
    Phase.STRIP: "Strip",
    Phase.SHIFT: "Shift",
    Phase.BUILD: "Build",
    Phase.HEIGHT: "Heights",
    Phase.KEEP: "Stays",
}
"""The headings of a list in walking order."""


def gap_words(moves: Iterable[MoveData], units: Units = METRIC) -> dict[int, str]:
    """Say the gap before each fence that is to stand, by its place [cm].

    From the landing foot of the one nearer the datum; the tape says where it
    stands, and the gap is only the check.
    """
    stand = sorted(
        (element_from_data(move["now"]) for move in moves if move["now"]),
        key=lambda one: one.at_cm,
    )
    return {
        one.at_cm: f"gap {units.length(one.at_cm - before.landing_cm)}"
        for before, one in pairwise(stand)
    }


def load_words(count: Mapping[Piece, int], crew: Crew) -> str:
    """Say pieces with what each weighs and who carries it, "2 wings (9 kg, one…)"."""
    who = {1: "one hand", 2: "one person", 3: "two people"}
    return ", ".join(
        f"{piece_words({piece: count[piece]})} "
        f"({crew.weighs(piece) / 1000:.3g} kg, {who[crew.weight_class(piece)]})"
        for piece in Piece
        if count.get(piece)
    )


def fetch_words(
    fetches: Sequence[Fetch], where: Mapping[str, str], arena: str, raised: set[Piece]
) -> str:
    """Say what is fetched from another place, and what lies free nowhere by then.

    `where` says a place in words; what is none is an arena where pieces were left.
    Of `raised` the row takes some only in its lesson, so they are not built with.
    """
    from_: dict[str, Counter[Piece]] = {}
    for one in fetches:
        from_.setdefault(one.place, Counter())[one.piece] += one.count
    missing = from_.pop(NOWHERE, None)
    parts = [
        f"{piece_words(count)} from {where.get(place, place)} to {arena}"
        for place, count in from_.items()
    ]
    if missing:
        lie = "lies" if missing.total() == 1 else "lie"
        parts.append(
            f"{piece_words(missing)} that {lie} free nowhere by then: count the store, "
            "or order the day anew"
        )
    if any(one.piece in raised for one in fetches):
        parts.append("some are what the lesson raises the row with")
    return "; ".join(parts)


def alone_words(count: Mapping[Piece, int], crew: Crew) -> str:
    """Warn where one person is given what takes two; empty otherwise."""
    heavy = [
        piece_words({piece: count[piece]})
        for piece in Piece
        if count.get(piece) and crew.weight_class(piece) == 3
    ]
    if crew.people > 1 or not heavy:
        return ""
    return f"Takes two people: {', '.join(heavy)}. Fetch somebody before you begin."


def way_words(found: Walk, units: Units = METRIC) -> str:
    """Say how far the walk is, and what the order saves."""
    feet = units.lengths is LengthUnit.FEET
    unit_cm, unit = (CM_PER_INCH * INCHES_PER_FOOT, "ft") if feet else (100, "m")
    saved = int((found.naive_cm - found.way_cm) / unit_cm)
    words = f"The walk is about {round(found.way_cm / unit_cm)} {unit}"
    if saved <= 0:
        return f"{words}."
    return f"{words}, {saved} {unit} less than fence by fence."


def from_words(found: Walk, at_cm: int, units: Units = METRIC) -> str:
    """Say where the pieces of a fence to be built come from."""
    parts = []
    for one in found.freight:
        if one.to == at_cm and one.origin != at_cm:
            where = "the store"
            if one.origin is not None:
                where = f"what stood at {units.length(one.origin)}"
            parts.append(f"{piece_words(one.pieces)} from {where}")
    return "; ".join(parts)


def to_words(found: Walk, at_cm: int, units: Units = METRIC) -> str:
    """Say where the pieces of a fence that is stripped go to."""
    parts = []
    for one in found.freight:
        if one.origin == at_cm and one.to != at_cm:
            where = "the store" if one.to is None else units.length(one.to)
            parts.append(f"{piece_words(one.pieces)} to {where}")
    return "; ".join(parts)


def pieces_words(move: MoveData, found: Walk, units: Units = METRIC) -> str:
    """Say where the pieces of a move come from, or go to."""
    if move["now"]:
        return from_words(found, move["now"]["at_cm"], units)
    return to_words(found, move["was"]["at_cm"], units) if move["was"] else ""


def pass_words(
    spots: Iterable[int], moves: Iterable[MoveData], units: Units = METRIC
) -> str:
    """Say a pass along the line, place by place, each with the gap before it."""
    gaps = gap_words(moves, units)
    return "; ".join(
        f"{units.length(at)} ({gaps[at]})" if at in gaps else units.length(at)
        for at in spots
    )


def height_words(
    spots: Iterable[int], moves: Iterable[MoveData], units: Units = METRIC
) -> str:
    """Say a pass along the line in which heights are set, place by place."""
    heights = {
        move["now"]["at_cm"]: units.height(move["now"]["height_cm"])
        for move in moves
        if move["now"] and move["now"].get("height_cm")
    }
    return "; ".join(f"{units.length(at)}: {heights[at]}" for at in spots)


HARROW = (
    "The arena is empty: poles and wings off the sand first, cups in the pail, nobody "
    "riding. Build again on fresh ground."
)


def yard_words(shift: Shift | None, units: Units = METRIC) -> str:
    """Say what a harrow, or a line's move sideways, asks for, and what to mind."""
    if shift is None:
        return HARROW
    to = units.length(shift.to_cm)
    by_cm = shift.to_cm - shift.from_cm
    if not by_cm:
        return f"The line lies {to} from the long side now."
    way = "away from" if by_cm > 0 else "towards"
    says = (
        f"Move it {units.length(abs(by_cm))} {way} the long side: from "
        f"{units.length(shift.from_cm)} to {to}, measured at both ends. Its marks move "
        "with it. "
    )
    if not shift.standing:
        return f"{says}The line is empty then: nothing to carry."
    count: Counter[Piece] = Counter()
    for one in shift.standing:
        count.update(pieces(one.element))
    return (
        f"{says}What stands moves as it stands, fence by fence: {piece_words(count)}. "
        "Poles to the ground and cups off first, then the wings, straight across; then "
        "poles back, heights and gaps measured again. Nobody riding there; nobody "
        "lifts alone what needs two."
    )


def short_words(minutes: int, usual_min: int) -> str:
    """Say that a harrow is given less than it takes here; else nothing."""
    if minutes >= usual_min:
        return ""
    return f"{minutes} min are planned, and a harrow takes {usual_min} here."


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


def held_words(day_id: str) -> str:
    """Say what an entry of the day file is that keeps an arena free of lessons."""
    if day_id.startswith("dark-"):
        return "the dark in an arena without lights"
    return "a closed arena"


def handling_words(key: str) -> str:
    """Say what a handling time is of, by the day file's name of it."""
    piece, dot, name = key.rpartition(".")
    if not dot:
        return HANDLING[key]
    return f"{piece.capitalize()}: {HANDLING[name]}"
