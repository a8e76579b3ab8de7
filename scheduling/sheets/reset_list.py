"""The groundsperson's day on paper: every changeover whole on its page, for a pen."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from exercises.geometry.units import Units
from scheduling.convert.changeovers import purpose_words, who_words, work_words
from scheduling.models import Changeover
from scheduling.queries.carrying import Carrying
from scheduling.sheets.listed import ListedStep, listed_work
from school.convert import units_of
from school.models import School, YardWork
from school.queries.daylight import Daylight, daylight, light_words
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
    aside: str
    who: str
    bring: str
    fetch: str
    take_back: str
    alone: str
    light: str
    picture: str
    measure: str
    heights: str
    way: str
    moves: tuple[ListedMove, ...]
    done: str


@dataclass(frozen=True, slots=True)
class ListedYardWork:
    """Work of the ground as printed."""

    times: str
    minutes: int
    where: str
    what: str
    who: str
    says: str
    done: str


@dataclass(frozen=True, slots=True)
class ResetSheet:
    """The printed reset list of a day."""

    title: str
    day: str
    entries: tuple[ListedChangeover | ListedYardWork, ...]
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
    works: Iterable[YardWork] = (),
    school: School,
    carrying: Carrying,
    address: str,
    now: datetime,
    fetched: Mapping[int, str] | None = None,
) -> ResetSheet:
    """Return the reset list of a day from changeovers and work fetched with all.

    `address` is the live list its code leads to: what changes after printing is
    only there. `fetched` says by changeover what comes from another place.
    """
    zone, units = ZoneInfo(school.zone), units_of(school)
    local, light = now.astimezone(zone), daylight(school, day)
    listed: list[tuple[datetime, ListedChangeover | ListedYardWork]] = [
        (one.starts_at, _listed(one, zone, units, carrying, light, fetched or {}))
        for one in changeovers
    ]
    listed += [
        (one.starts_at, _yard(one, zone, units, school.harrow_min)) for one in works
    ]
    return ResetSheet(
        title=f"Reset list, {school.name}",
        day=f"{day:%A} {day.day} {day:%B %Y}",
        entries=tuple(entry for _, entry in sorted(listed, key=lambda one: one[0])),
        caution=CAUTION,
        address=address,
        code=qr_code(address),
        made=f"Printed {local:%A} {local.day} {local:%B %Y, %H:%M}. What changes after "
        "that is only in the live list.",
    )


def _listed(
    one: Changeover,
    zone: ZoneInfo,
    units: Units,
    carrying: Carrying,
    light: Daylight | None,
    fetched: Mapping[int, str],
) -> ListedChangeover:
    starts, ends = one.starts_at.astimezone(zone), one.ends_at.astimezone(zone)
    work = listed_work(one, units, carrying)
    done = one.done_at.astimezone(zone) if one.done_at else None
    return ListedChangeover(
        times=f"{starts:%H:%M} to {ends:%H:%M}",
        minutes=work.minutes,
        where=f"{one.line.arena.name}, {one.line.name}",
        for_whom=purpose_words(one, zone),
        tape=f"Tape from {one.line.datum}",
        aside=units.length(one.line.from_long_side_cm),
        who=who_words(one, zone),
        bring=work.bring,
        fetch=fetched.get(one.pk, ""),
        take_back=work.take_back,
        alone=work.alone,
        light=light_words(light, one.line.arena, starts, ends),
        picture=work.picture,
        measure=work.measure,
        heights=work.heights,
        way=work.way,
        moves=tuple(
            ListedMove(step.words, _was(step), step.heading, step.gap, step.pieces)
            for step in work.steps
        ),
        done=f"done {done:%H:%M}" if done else "",
    )


def _yard(
    one: YardWork, zone: ZoneInfo, units: Units, harrow_min: int
) -> ListedYardWork:
    starts, ends = one.starts_at.astimezone(zone), one.ends_at.astimezone(zone)
    done = one.done_at.astimezone(zone) if one.done_at else None
    return ListedYardWork(
        times=f"{starts:%H:%M} to {ends:%H:%M}",
        minutes=int((one.ends_at - one.starts_at).total_seconds() // 60),
        where=one.arena.name,
        what=f"{one.what[0].lower()}{one.what[1:]}",
        who=who_words(one, zone),
        says=work_words(one, units, harrow_min),
        done=f"done {done:%H:%M}" if done else "",
    )


def _was(step: ListedStep) -> str:
    """Say what stood there, where a move changes something that stands."""
    changes = step.was and step.now and step.was != step.now
    return f"was {step.was}" if changes else ""
