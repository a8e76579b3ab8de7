"""Turns the rows of a day into the day file, exactly as the contract has it.

Where the contract has no word for something, it is said with what there is. A
closed arena is a fixed entry in it without horses, whose id begins with
`closure`. An arena that opens later or closes earlier than the others gets one
beginning with `hours`, all of it open to changeovers; one without lights gets one
beginning with `dark`, and where somebody works before the arenas open and it is
dark then, the day opens with their work. A harrow is a closure that `needs_clear`,
so that what stands is stripped before it and what comes after is built again; the
day opens earlier, or closes later, where one lies outside the hours of lessons. A
lesson's window ends where a horse's state, an instructor's hours or absence forbid
it.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from scheduling.convert.clock import Minutes, clock_of, minute_of, minutes_of
from scheduling.convert.closed import blockers, dark_work_from
from scheduling.convert.lessons import Data, lesson_entry
from scheduling.queries.days import DayRows
from school.models import Arena, Groundsperson, Horse


def day_document(rows: DayRows) -> Data:
    """Return the day file of a day's rows."""
    opens, closes = _hours(rows)
    crew = _crew(rows.groundspeople, rows.school.helpers, rows.date)
    if (begins := dark_work_from(rows, crew, opens)) is not None:
        crew = {"crew_from": clock_of(begins), "crew_to": clock_of(closes), **crew}
        opens = begins
    school = rows.school
    return {
        "version": 1,
        "date": rows.date.isoformat(),
        "zone": school.zone,
        "opens": clock_of(opens),
        "closes": clock_of(closes),
        "start_every_min": school.start_every_min,
        "place_every_cm": school.place_every_cm,
        **crew,
        "handling": dict(school.handling),
        "stock": _stock(rows),
        "weights": {
            "moved_start_s": school.moved_start_s,
            "moved_arena_s": school.moved_arena_s,
        },
        "arenas": [_arena(rows, one) for one in rows.arenas],
        "horses": [_horse(rows, one) for one in rows.horses],
        "lessons": [
            *(lesson_entry(rows, one) for one in rows.lessons),
            *blockers(rows, opens, closes),
        ],
    }


def _hours(rows: DayRows) -> Minutes:
    """Return from when to when the day runs: the lessons' hours, and every harrow."""
    opens = [minutes_of(one.opens_at) for one in rows.arenas] or [8 * 60]
    closes = [minutes_of(one.closes_at) for one in rows.arenas] or [20 * 60]
    clear = [one for one in rows.closures if one.needs_clear]
    opens += [minute_of(rows, one.closed_from) for one in clear]
    closes += [minute_of(rows, one.closed_to) for one in clear]
    return min(opens), max(closes)


def fingerprint(document: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a day file, whatever the order of its keys."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _horse(rows: DayRows, horse: Horse) -> Data:
    """Return a horse's limits; what was overruled for the day is its limit then."""
    overruled = {
        one.rule: int(one.figure) for one in rows.overrides if one.horse_id == horse.pk
    }
    return {
        "id": f"horse-{horse.pk}",
        "rest_min": max(0, min(horse.rest_min, overruled.get("rest", horse.rest_min))),
        "max_lessons": max(horse.max_lessons, overruled.get("lessons-day", 0)),
        "max_minutes": max(horse.max_minutes, overruled.get("minutes-day", 0)),
    }


def _crew(people: Iterable[Groundsperson], helpers: int, day: date) -> Data:
    """Say how many changeovers may run at once, and when.

    Those who do not work alone count as half, or less where more usually help. With
    differing hours only those count in which all are there; where there are none, one
    person's.
    """
    known = list(people)
    if not known:
        return {"crew": 1}
    singles = sum(one.alone_on(day) for one in known)
    crew = max(1, singles + (len(known) - singles) // (1 + helpers))
    first = max(minutes_of(one.works_from) for one in known)
    last = min(minutes_of(one.works_to) for one in known)
    if first >= last:
        longest = max(
            known, key=lambda one: minutes_of(one.works_to) - minutes_of(one.works_from)
        )
        crew, first = 1, minutes_of(longest.works_from)
        last = minutes_of(longest.works_to)
    return {"crew": crew, "crew_from": clock_of(first), "crew_to": clock_of(last)}


def _stock(rows: DayRows) -> dict[str, int]:
    stock: dict[str, int] = {}
    for one in rows.store:
        stock[one.piece] = stock.get(one.piece, 0) + one.working
    return stock


def _arena(rows: DayRows, arena: Arena) -> Data:
    return {
        "id": f"arena-{arena.pk}",
        "length_cm": arena.length_cm,
        "lines": [
            {
                "id": f"line-{one.pk}",
                "length_cm": one.length_cm,
                "standing": rows.standing.get(one.pk, []),
            }
            for one in rows.lines
            if one.arena_id == arena.pk
        ],
    }
