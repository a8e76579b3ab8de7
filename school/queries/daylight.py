"""From when to when it is light where the school lies."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import sunrise, sunset

from school.models import Arena, School


@dataclass(frozen=True, slots=True)
class Daylight:
    """Sunrise and sunset of a day: the sun's upper edge on a level horizon."""

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
        return Daylight(sunrise(here, day, zone), sunset(here, day, zone))
    except ValueError:
        return None


def needs_daylight(arena: Arena) -> bool:
    """Say whether nothing can be done in an arena after dark."""
    return not arena.indoor and not arena.lit
