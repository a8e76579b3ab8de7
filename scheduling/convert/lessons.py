"""A lesson as the day file has it, with the times it can be moved to."""

from collections.abc import Sequence
from typing import Any

from exercises.geometry.data import as_planned
from scheduling.convert.clock import DAY_MIN, Minutes, clock_of, minute_of, minutes_of
from scheduling.queries.days import DayRows
from school.models import Lesson

Data = dict[str, Any]
LESSON = "lesson-"


def is_lesson(day_id: str) -> bool:
    """Say whether an id of the day file is a lesson's, and no closure's."""
    return day_id.startswith(LESSON)


def lesson_entry(rows: DayRows, lesson: Lesson) -> Data:
    """Return a booked lesson as it may be planned: its window, people and horses."""
    start = minute_of(rows, lesson.starts_at)
    minutes = int((lesson.ends_at - lesson.starts_at).total_seconds() // 60)
    rides = lesson.booked_rides  # type: ignore[attr-defined]
    horses = [one.horse_id for one in rides if one.horse_id is not None]
    first, last = _window(rows, lesson, start, minutes, horses)
    people = dict.fromkeys([lesson.instructor_id, *(one.rider_id for one in rides)])
    arenas = dict.fromkeys(
        [lesson.arena_id, *sorted(one.pk for one in lesson.other_arenas.all())]
    )
    return {
        "id": f"{LESSON}{lesson.pk}",
        "minutes": minutes,
        "arenas": [f"arena-{pk}" for pk in arenas],
        "not_before": clock_of(first),
        "not_after": clock_of(last),
        "booked": {"start": clock_of(start), "arena": f"arena-{lesson.arena_id}"},
        "people": [f"person-{pk}" for pk in people],
        "horses": [f"horse-{pk}" for pk in horses],
        "warm_up_min": lesson.warm_up_min,
        "cool_down_min": lesson.cool_down_min,
        "grid": _grid(lesson),
        "needs_clear": lesson.needs_clear,
    }


def new_lesson(
    rows: DayRows,
    *,
    minutes: int,
    people: Sequence[int],
    horses: Sequence[int],
    grid: Data | None,
) -> Data:
    """Return a lesson that might be booked: at any time, in any arena."""
    return {
        "id": f"{LESSON}new",
        "minutes": minutes,
        "arenas": [f"arena-{one.pk}" for one in rows.arenas],
        "not_before": "00:00",
        "not_after": clock_of(DAY_MIN - minutes),
        "people": [f"person-{pk}" for pk in dict.fromkeys(people)],
        "horses": [f"horse-{pk}" for pk in dict.fromkeys(horses)],
        "grid": grid,
    }


def _grid(lesson: Lesson) -> Data | None:
    grid = getattr(lesson, "grid", None)
    if grid is None:
        return None
    return {
        "start": [as_planned(one) for one in grid.start],
        "end": [as_planned(one) for one in grid.end],
        "approach_cm": grid.approach_cm,
        "runout_cm": grid.runout_cm,
        "may_mirror": grid.may_mirror,
    }


def _window(
    rows: DayRows, lesson: Lesson, start: int, minutes: int, horses: list[int]
) -> Minutes:
    """Return the first and last start, with what forbids others taken off."""
    if lesson.window_from is None or lesson.window_to is None:
        return start, start
    if lesson.state == "running":
        return start, start
    first = minute_of(rows, lesson.window_from)
    last = min(minute_of(rows, lesson.window_to), DAY_MIN - minutes)
    for taken_from, taken_to in forbidden_times(rows, lesson.instructor_id, horses):
        if taken_to <= start:
            first = max(first, taken_to)
        elif taken_from >= start + minutes:
            last = min(last, taken_from - minutes)
    return min(first, start), max(last, start)


def forbidden_times(
    rows: DayRows, instructor: int, horses: Sequence[int]
) -> list[Minutes]:
    """Return the times in which a horse is off or the instructor away."""
    times = [
        (
            minute_of(rows, one.state_from),
            DAY_MIN if one.state_to is None else minute_of(rows, one.state_to),
        )
        for one in rows.horse_states
        if one.horse_id in horses
    ]
    times += [
        (minute_of(rows, one.absent_from), minute_of(rows, one.absent_to))
        for one in rows.absences
        if one.instructor_id == instructor
    ]
    hours = [
        one
        for one in rows.instructor_hours
        if one.instructor_id == instructor and one.weekday == rows.date.weekday()
    ]
    free_from = 0
    for one in hours:
        times.append((free_from, minutes_of(one.from_at)))
        free_from = minutes_of(one.to_at)
    if hours:
        times.append((free_from, DAY_MIN))
    return times
