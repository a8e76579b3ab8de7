"""How large a day may be: what would take memory or time beyond all use is refused."""

from scheduling.dayplan.day import Day

MOST_PLACES = 20_000
"""Places on one line: 200 m by the centimetre."""

MOST_PLACES_OF_ALL = 4_000_000
"""Places of all rows that differ, on all lengths of lines."""

MOST_FOLLOWINGS = 2_000_000
"""Rows that may follow each other, counted on each line."""


def too_large(day: Day) -> tuple[str, str] | None:
    """Return what of a day is too large to be ordered, as its key and words."""
    lines = [(one.id, line.length_cm) for one in day.arenas for line in one.lines]
    every = day.place_every_cm
    places = max((length // every for _, length in lines), default=0)
    if places > MOST_PLACES:
        says = f"{places} places on a line are more than can be tried"
        return "place_every_cm", says
    followings = 0
    for arena, _ in lines:
        its = [
            x for x in day.lessons if arena in x.arenas and (x.grid or x.needs_clear)
        ]
        followings += len(its) ** 2
    if followings > MOST_FOLLOWINGS:
        rows = sum(one.grid is not None for one in day.lessons)
        says = (
            f"{rows} lessons with rows on {len(lines)} lines are more than can be "
            "ordered at once"
        )
        return "lessons", says
    rows_on = {
        (one.grid, length)
        for one in day.lessons
        if one.grid is not None
        for arena, length in lines
        if arena in one.arenas
    }
    if sum(length // every for _, length in rows_on) > MOST_PLACES_OF_ALL:
        return "place_every_cm", "so many rows have more places than can be tried"
    return None
