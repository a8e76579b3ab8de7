"""The groundsperson's day on paper: every changeover whole on its page, for a pen."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.elements import Piece
from exercises.geometry.units import Units
from scheduling.changeover.walking import Walk
from scheduling.convert import walk_of
from scheduling.drawing.changeover_picture import draw_changeover
from scheduling.models import Changeover, ChangeoverMove
from scheduling.wording import (
    HEADINGS,
    alone_words,
    changeover_carry,
    from_words,
    gap_words,
    height_words,
    load_words,
    move_words,
    pass_words,
    to_words,
    way_words,
)
from school.convert import units_of
from school.models import School
from school.sheets.typeset import qr_code

TEMPLATE = "scheduling/reset_list.typ"

CAUTION = (
    "Nobody lifts alone what needs two. Strip first, move second, build third, "
    "measure, heights last, clear up. No cup without a pole; nothing loose on the "
    "track; never while a horse is loose or jumping."
)


@dataclass(frozen=True, slots=True)
class ListedMove:
    """One move to tick, and what stood there."""

    words: str
    was: str
    heading: str = ""
    gap: str = ""
    pieces: str = ""


@dataclass(frozen=True, slots=True)
class ListedChangeover:
    """One changeover as printed."""

    times: str
    minutes: int
    where: str
    for_whom: str
    tape: str
    who: str
    bring: str
    take_back: str
    alone: str
    picture: str
    measure: str
    heights: str
    way: str
    moves: tuple[ListedMove, ...]
    done: str


@dataclass(frozen=True, slots=True)
class ResetSheet:
    """The printed reset list of a day."""

    title: str
    day: str
    changeovers: tuple[ListedChangeover, ...]
    caution: str
    address: str
    code: str
    made: str

    def as_data(self) -> dict[str, Any]:
        """Return the sheet as plain data for its template."""
        return asdict(self)


def reset_sheet(
    *,
    day: date,
    changeovers: Iterable[Changeover],
    school: School,
    weights_g: Mapping[Piece, int],
    address: str,
    now: datetime,
) -> ResetSheet:
    """Return the reset list of a day from changeovers fetched with all.

    `address` is the live list its code leads to: what changes after printing is
    only there.
    """
    zone, units = ZoneInfo(school.zone), units_of(school)
    local = now.astimezone(zone)
    return ResetSheet(
        title=f"Reset list, {school.name}",
        day=f"{day:%A} {day.day} {day:%B %Y}",
        changeovers=tuple(_listed(one, zone, units, weights_g) for one in changeovers),
        caution=CAUTION,
        address=address,
        code=qr_code(address),
        made=f"Printed {local:%A} {local.day} {local:%B %Y, %H:%M}. What changes after "
        "that is only in the live list.",
    )


def _listed(
    one: Changeover, zone: ZoneInfo, units: Units, weights_g: Mapping[Piece, int]
) -> ListedChangeover:
    starts, ends = one.starts_at.astimezone(zone), one.ends_at.astimezone(zone)
    lesson_at = one.lesson.starts_at.astimezone(zone)
    found, crew, moves = walk_of(one, weights_g)
    listed = [_data(move) for move in moves]
    carry = changeover_carry(listed)
    done = one.done_at.astimezone(zone) if one.done_at else None
    return ListedChangeover(
        times=f"{starts:%H:%M} to {ends:%H:%M}",
        minutes=int((one.ends_at - one.starts_at).total_seconds() // 60),
        where=f"{one.line.arena.name}, {one.line.name}",
        for_whom=f"{one.lesson.title} at {lesson_at:%H:%M}",
        tape=f"Tape from {one.line.datum}",
        who=one.who.person.first_name if one.who else "",
        bring=load_words(carry.bring, crew),
        take_back=load_words(carry.take_back, crew),
        alone=alone_words(carry.bring + carry.take_back, crew),
        picture=draw_changeover(
            listed, one.line.length_cm, ident="changeover",
            title=f"Changeover for {one.lesson.title}", datum=one.line.datum,
            units=units,
        ),
        measure=pass_words(found.measures, listed, units),
        heights=height_words(found.heights, listed, units),
        way=way_words(found, units),
        moves=_moves(one, found, moves, units),
        done=f"done {done:%H:%M}" if done else "",
    )  # fmt: skip


def _moves(
    one: Changeover, found: Walk, moves: Sequence[ChangeoverMove], units: Units
) -> tuple[ListedMove, ...]:
    gaps = gap_words([_data(move) for move in moves], units)
    headings = [HEADINGS[found.phases[n]] for n in found.order]
    return tuple(
        ListedMove(
            words=move_words(_data(move), one.line.datum, units),
            was=_was(move, units),
            heading=heading if heading != before else "",
            gap=gaps.get(move.now["at_cm"], "") if move.now else "",
            pieces=_pieces(move, found, units),
        )
        for move, heading, before in zip(moves, headings, ["", *headings], strict=False)
    )


def _pieces(move: ChangeoverMove, found: Walk, units: Units) -> str:
    """Say where the pieces of a move come from, or go to."""
    if move.now:
        return from_words(found, move.now["at_cm"], units)
    return to_words(found, move.was["at_cm"], units) if move.was else ""


def _data(move: ChangeoverMove) -> dict[str, Any]:
    return {"do": move.do, "was": move.was, "now": move.now}


def _was(move: ChangeoverMove, units: Units) -> str:
    """Say what stood there, where a move changes something that stands."""
    if move.do == ChangeoverMove.Do.KEEP or not move.was or not move.now:
        return ""
    one = element_from_data(move.was)
    return f"was {element_words(one, units)} at {units.length(one.at_cm)}"
