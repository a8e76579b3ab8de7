"""What is taken off the lines in the evening, where the yard does so."""

from collections.abc import Mapping
from typing import Any

from scheduling.changeover.costs import strip_us
from scheduling.changeover.effort import US_PER_S, Handling, handling_from
from scheduling.changeover.evening import Left, Strip, evening_strips
from scheduling.convert.clock import minute_of, minute_of_clock
from scheduling.convert.closed import dark_hours
from scheduling.dayplan.document import placed_from_data
from scheduling.dayplan.leaving import found_by, left_by
from scheduling.queries.days import DayRows
from scheduling.queries.keys import key_of

Data = Mapping[str, Any]


def evening_of(
    rows: DayRows, document: Data, plan: Data
) -> list[tuple[Strip, list[Data]]]:
    """Return the strips of a day's evening, each with its moves.

    None where the school leaves its grids standing.
    """
    if not rows.school.strips_evening or plan["status"] == "impossible":
        return []
    stands = found_by(document) | {
        line: elements for line, (_, elements) in left_by(document, plan).items()
    }
    free = _free(rows, plan)
    dark = {one.pk: dark_hours(rows, one)[1] for one in rows.arenas}
    arenas = {f"line-{one.pk}": one.arena_id for one in rows.lines}
    handling = handling_from(document["handling"])
    strips = evening_strips(
        [
            Left(
                line=line,
                free_min=free[arenas[line]],
                dark_min=dark[arenas[line]],
                elements=tuple(placed_from_data(one) for one in elements),
            )
            for line, elements in stands.items()
            if line in arenas
        ],
        _busy(rows, plan),
        document["crew"],
        handling,
    )
    return [
        (one, [_strip(element, handling) for element in stands[one.line]])
        for one in strips
    ]


def _strip(element: dict[str, Any], handling: Handling) -> Data:
    us = strip_us(placed_from_data(element), handling)
    return {"do": "strip", "was": element, "now": None, "seconds": us / US_PER_S}


def _free(rows: DayRows, plan: Data) -> dict[int, int]:
    """Return from when on each arena is free for the rest of the day."""
    free = {one.pk: minute_of_clock(one.opens_at.isoformat()) for one in rows.arenas}
    minutes = {
        f"lesson-{one.pk}": int((one.ends_at - one.starts_at).total_seconds() // 60)
        for one in rows.lessons
    }
    for one in plan["lessons"]:
        if one["id"] in minutes:
            arena = key_of(one["arena"])
            ends = minute_of_clock(one["start"]) + minutes[one["id"]]
            free[arena] = max(free[arena], ends)
    for closure in rows.closures:
        ends = minute_of(rows, closure.closed_to)
        free[closure.arena_id] = max(free[closure.arena_id], ends)
    return free


def _busy(rows: DayRows, plan: Data) -> list[tuple[int, int]]:
    """Return when somebody changes fences or harrows."""
    resets = [
        (minute_of_clock(one["from"]), minute_of_clock(one["to"]))
        for one in plan["resets"]
    ]
    return resets + [
        (minute_of(rows, one.closed_from), minute_of(rows, one.closed_to))
        for one in rows.closures
        if one.needs_clear
    ]
