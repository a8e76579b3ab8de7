"""The groundsperson's day on paper: every changeover whole on its page, for a pen."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.units import Units
from scheduling.models import Changeover, ChangeoverMove
from scheduling.wording import changeover_carry, move_words, piece_words
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
        changeovers=tuple(_listed(one, zone, units) for one in changeovers),
        caution=CAUTION,
        address=address,
        code=qr_code(address),
        made=f"Printed {local:%A} {local.day} {local:%B %Y, %H:%M}. What changes after "
        "that is only in the live list.",
    )


def _listed(one: Changeover, zone: ZoneInfo, units: Units) -> ListedChangeover:
    starts, ends = one.starts_at.astimezone(zone), one.ends_at.astimezone(zone)
    lesson_at = one.lesson.starts_at.astimezone(zone)
    moves: Sequence[ChangeoverMove] = list(one.moves.all())
    carry = changeover_carry([_data(move) for move in moves])
    done = one.done_at.astimezone(zone) if one.done_at else None
    return ListedChangeover(
        times=f"{starts:%H:%M} to {ends:%H:%M}",
        minutes=int((one.ends_at - one.starts_at).total_seconds() // 60),
        where=f"{one.line.arena.name}, {one.line.name}",
        for_whom=f"{one.lesson.title} at {lesson_at:%H:%M}",
        tape=f"Tape from {one.line.datum}",
        who=one.who.person.first_name if one.who else "",
        bring=piece_words(carry.bring),
        take_back=piece_words(carry.take_back),
        moves=tuple(
            ListedMove(
                move_words(_data(move), one.line.datum, units), _was(move, units)
            )
            for move in moves
        ),
        done=f"done {done:%H:%M}" if done else "",
    )


def _data(move: ChangeoverMove) -> dict[str, Any]:
    return {"do": move.do, "was": move.was, "now": move.now}


def _was(move: ChangeoverMove, units: Units) -> str:
    """Say what stood there, where a move changes something that stands."""
    if move.do == ChangeoverMove.Do.KEEP or not move.was or not move.now:
        return ""
    one = element_from_data(move.was)
    return f"was {element_words(one, units)} at {units.length(one.at_cm)}"
