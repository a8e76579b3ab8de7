"""A best effort for a day that no plan keeps: as booked, or as early as allowed.

It is written so that the judge can say which rules it breaks, and whose.
"""

from collections.abc import Sequence
from typing import Any

from scheduling.changeover.moves import Changeover, changeover
from scheduling.changeover.setups import Place, Setup
from scheduling.dayplan.day import Day, DayLesson, DayLine, clock
from scheduling.dayplan.plan import move_as_data


def best_effort(day: Day) -> dict[str, Any]:
    """Write a plan that keeps what was booked and builds each row just in time."""
    standing = {(a.id, x.id): x.standing for a in day.arenas for x in a.lines}
    last: dict[tuple[str, str], str] = {}
    lessons: list[dict[str, Any]] = []
    resets: list[dict[str, Any]] = []
    for lesson in sorted(day.lessons, key=lambda one: (_start(day, one), one.id)):
        start, arena = _start(day, lesson), _arena(lesson)
        lines = next(one.lines for one in day.arenas if one.id == arena)
        line, place = _place(day, lesson, lines)
        lessons.append(
            {
                "id": lesson.id,
                "arena": arena,
                "line": None if line is None else line.id,
                "start": clock(start),
                "offset_cm": None if place is None else place.offset_cm,
                "mirrored": place is not None and place.mirrored,
            }
        )
        for one, wanted, left in _targets(lesson, lines, line, place):
            key = (arena, one.id)
            made = changeover(standing[key], wanted, day.handling)
            standing[key] = left
            if made.seconds:
                resets.append(_reset(lesson, last.get(key), key, made, start))
            if lesson.grid is not None:
                last[key] = lesson.id
    order = {one.id: n for n, one in enumerate(day.lessons)}
    lessons.sort(key=lambda one: order[one["id"]])
    resets.sort(key=lambda one: (one["from"], one["arena"], one["line"]))
    reset_s = sum(one["seconds"] for one in resets)
    return {
        "version": 1,
        "status": "impossible",
        "objective_s": reset_s,
        "bound_s": 0,
        "reset_s": reset_s,
        "as_booked_reset_s": None,
        "elapsed_s": 0.0,
        "seed": 0,
        "lessons": lessons,
        "resets": resets,
        "broken": [],
    }


def _targets(
    lesson: DayLesson,
    lines: Sequence[DayLine],
    line: DayLine | None,
    place: Place | None,
) -> list[tuple[DayLine, Setup, Setup]]:
    """Return what a lesson wants on which lines, and what it leaves there."""
    if line is not None and place is not None and lesson.grid is not None:
        row = lesson.grid
        return [(line, row.stand(row.start, place), row.stand(row.end, place))]
    return [(one, (), ()) for one in lines] if lesson.needs_clear else []


def _reset(
    lesson: DayLesson,
    after: str | None,
    key: tuple[str, str],
    made: Changeover,
    start: int,
) -> dict[str, Any]:
    """Write a changeover that ends as its lesson starts."""
    minutes = -(-made.seconds // 60)
    begins = max(0, start - minutes)
    return {
        "for": lesson.id,
        "after": after,
        "arena": key[0],
        "line": key[1],
        "from": clock(begins),
        "to": clock(begins + minutes),
        "seconds": made.seconds,
        "moves": [move_as_data(move) for move in made.moves],
    }


def _start(day: Day, lesson: DayLesson) -> int:
    starts = day.starts(lesson)
    if lesson.booked is not None:
        return lesson.booked.start_min
    return starts[0] if starts else lesson.not_before_min


def _arena(lesson: DayLesson) -> str:
    return lesson.booked.arena if lesson.booked is not None else lesson.arenas[0]


def _place(
    day: Day, lesson: DayLesson, lines: tuple[DayLine, ...]
) -> tuple[DayLine | None, Place | None]:
    if lesson.grid is None or not lines:
        return None, None
    for line in lines:
        places = lesson.places_on(line, day.place_every_cm)
        if places:
            return line, places[0]
    return lines[0], Place(0, False)
