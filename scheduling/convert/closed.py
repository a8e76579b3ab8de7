"""Closed and dark arenas as entries of the day file."""

from collections.abc import Iterable, Mapping
from typing import Any

from scheduling.convert.clock import DAY_MIN, Minutes, clock_of, minute_of, minutes_of
from scheduling.convert.lessons import Data
from scheduling.dayplan.day import minutes_at
from scheduling.queries.days import DayRows
from school.models import Arena
from school.queries.daylight import daylight, needs_daylight


def dark_hours(rows: DayRows, arena: Arena) -> Minutes:
    """Return until when it is dark in an arena, and from when, in minutes of the day.

    What is booked in the dark already has its place: the dark gives way to it.
    """
    light = daylight(rows.school, rows.date)
    if light is None or not needs_daylight(arena):
        return 0, DAY_MIN
    booked = [one for one in rows.lessons if one.arena_id == arena.pk]
    first = min((minute_of(rows, one.starts_at) for one in booked), default=DAY_MIN)
    last = max((minute_of(rows, one.ends_at) for one in booked), default=0)
    rises, sets = minute_of(rows, light.rises), minute_of(rows, light.sets)
    return min(rises, first), max(sets, last)


def dark_work_from(rows: DayRows, crew: Mapping[str, Any], opens: int) -> int | None:
    """Return from when somebody works before the day opens, if it is dark then.

    The contract keeps changeovers out of an arena only while the day is open: it is
    told to open with their work.
    """
    begins = minutes_at(crew["crew_from"]) if "crew_from" in crew else opens - 60
    begins = max(begins, 0)
    dark = any(dark_hours(rows, one)[0] > begins for one in rows.arenas)
    return begins if dark and begins < opens else None


def _built_in_the_dark(rows: DayRows, arena: Arena) -> bool:
    """Say whether a lesson before sunrise needs its fences built before it too."""
    light = daylight(rows.school, rows.date)
    return light is not None and any(
        one.arena_id == arena.pk and one.starts_at < light.rises for one in rows.lessons
    )


def blockers(rows: DayRows, opens: int, closes: int) -> list[Data]:
    """Return the entries that keep closed and dark arenas free of lessons.

    In an arena that is shut changeovers are made, in the dark none: before sunrise
    only where a lesson is booked before it already.
    """
    blockers = []
    for arena in rows.arenas:
        open_from, open_to = minutes_of(arena.opens_at), minutes_of(arena.closes_at)
        dark_until, dark_from = dark_hours(rows, arena)
        if opens < dark_until:
            until = min(dark_until, closes)
            resets = _built_in_the_dark(rows, arena)
            blockers.append(_blocker("dark-until", arena, opens, until, resets))
        if dark_from < closes:
            since = max(dark_from, opens)
            blockers.append(_blocker("dark-from", arena, since, closes, False))
        light = max(opens, dark_until), min(closes, dark_from)
        open_from, open_to = max(open_from, dark_until), min(open_to, dark_from)
        taken = []
        for one in rows.closures:
            first, last = light if one.needs_clear else (open_from, open_to)
            first = max(minute_of(rows, one.closed_from), first)
            last = min(minute_of(rows, one.closed_to), last)
            if one.arena_id == arena.pk and first < last:
                name = f"closure-{one.pk}"
                taken.append((first, last))
                blockers.append(
                    _blocker(name, arena, first, last, False, clear=one.needs_clear)
                )
        shut = [("hours-from", light[0], open_from), ("hours-to", open_to, light[1])]
        for name, first, last in shut:
            parts = list(enumerate(_without(first, last, taken)))
            blockers += [
                _blocker(f"{name}-{n}" if n else name, arena, *part, True)
                for n, part in parts
            ]
    return blockers


def _without(first: int, last: int, taken: Iterable[Minutes]) -> list[Minutes]:
    """Return what is left of a time when others are taken out of it, in order."""
    left = []
    for taken_from, taken_to in sorted(taken):
        if first < min(taken_from, last):
            left.append((first, min(taken_from, last)))
        first = max(first, taken_to)
    return [*left, (first, last)] if first < last else left


def _blocker(
    name: str,
    arena: Arena,
    first: int,
    last: int,
    resets: bool,
    *,
    clear: bool = False,
) -> Data:
    """Return a fixed entry in an arena.

    `resets` lets changeovers be made in it; `clear` lets nothing stand in it.
    """
    return {
        "id": f"{name}-arena-{arena.pk}",
        "minutes": last - first,
        "arenas": [f"arena-{arena.pk}"],
        "not_before": clock_of(first),
        "not_after": clock_of(first),
        "booked": {"start": clock_of(first), "arena": f"arena-{arena.pk}"},
        "people": [],
        "horses": [],
        "warm_up_min": 0,
        "cool_down_min": last - first if resets else 0,
        "grid": None,
        "needs_clear": clear,
    }
