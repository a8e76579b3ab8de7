"""Fixed moments, so that no test reads the clock."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Amsterdam")
SATURDAY = date(2027, 3, 6)
SPRING_CHANGE = date(2027, 3, 28)
AUTUMN_CHANGE = date(2027, 10, 31)


def at(clock: str, day: date = SATURDAY) -> datetime:
    """Return the aware moment of a local clock time, "09:30" say."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE)


NOW = at("12:00", date(2027, 3, 1))
