"""From when to when it is light where the school lies."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import sunrise, sunset

from school.models import Arena, Lesson, School

LAST_LIGHT = timedelta(minutes=30)
"""Outdoor work without lights is to end so long before sunset (common practice, no
source)."""

MOST_NAMED = 12
"""So many days are named in one sentence."""

_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Daylight:
    """Sunrise and sunset of a day: the sun's upper edge on a level horizon.

    The whole minutes in which it is light, so that what is said is what is held.
    """

    rises: datetime
    sets: datetime


def daylight(school: School, day: date) -> Daylight | None:
    """Return when it is light, in the school's zone.

    None where the school has not said where it lies, and on days on which the sun
    does not rise or set.
    """
    if school.latitude is None or school.longitude is None:
        return None
    here, zone = Observer(school.latitude, school.longitude), ZoneInfo(school.zone)
    try:
        rises, sets = sunrise(here, day, zone), sunset(here, day, zone)
    except ValueError:
        return None
    up = (rises + _MINUTE - timedelta.resolution).replace(second=0, microsecond=0)
    return Daylight(up, sets.replace(second=0, microsecond=0))


def needs_daylight(arena: Arena) -> bool:
    """Say whether nothing can be done in an arena after dark."""
    return not arena.indoor and not arena.lit


def light_of(lesson: Lesson, school: School) -> str:
    """Say that a lesson falls into the dark, or into the last light; else nothing."""
    if not needs_daylight(lesson.arena):
        return ""
    day = lesson.starts_at.astimezone(ZoneInfo(school.zone)).date()
    light = daylight(school, day)
    return light_words(light, lesson.arena, lesson.starts_at, lesson.ends_at)


def light_of_weeks(lessons: Iterable[Lesson], school: School) -> str:
    """Say which of a weekly lesson's days run into the dark, or into the last light.

    `lessons` come with their arenas; empty where all days are light enough.
    """
    known = sorted(lessons, key=lambda one: one.starts_at)
    late = [(one, words) for one in known if (words := light_of(one, school))]
    if not late:
        return ""
    zone = ZoneInfo(school.zone)
    days = [one.starts_at.astimezone(zone) for one, _ in late]
    named = ", ".join(f"{day.day} {day:%B}" for day in days[:MOST_NAMED])
    more = f" and {len(days) - MOST_NAMED} more" if len(days) > MOST_NAMED else ""
    return (
        f"Too little light on {len(late)} of {len(known)} days ({named}{more}). The "
        f"first: {late[0][1]}"
    )


def light_words(
    light: Daylight | None, arena: Arena, starts_at: datetime, ends_at: datetime
) -> str:
    """Say that something in an arena falls into the dark, or into the last light.

    Empty where there are lights, or light enough.
    """
    if light is None or not needs_daylight(arena):
        return ""
    if starts_at < light.rises:
        return f"It is dark until {light.rises:%H:%M}, and {arena} has no lights."
    if ends_at > light.sets:
        return f"It is dark from {light.sets:%H:%M}, and {arena} has no lights."
    if ends_at > light.sets - LAST_LIGHT:
        by = light.sets - LAST_LIGHT
        return (
            f"The sun sets at {light.sets:%H:%M}, and {arena} has no lights: be done "
            f"by {by:%H:%M}."
        )
    return ""
