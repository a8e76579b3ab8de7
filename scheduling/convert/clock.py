"""Moments as minutes of the day and clock times of the day file, and back."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from scheduling.queries.days import DayRows

DAY_MIN = 24 * 60
Minutes = tuple[int, int]


def minute_of_clock(clock: str) -> int:
    """Return a clock time of the plan file, "09:30" say, as minutes of the day."""
    return int(clock[:2]) * 60 + int(clock[3:5])


def moment(rows: DayRows, clock: str) -> datetime:
    """Return the aware moment of a clock time of the plan file."""
    return moment_of(rows.date, rows.zone, clock)


def moment_at(rows: DayRows, minute: int) -> datetime:
    """Return the aware moment of a minute of the day by the wall clock."""
    return moment(rows, clock_of(minute))


def moment_of(day: date, zone: ZoneInfo, clock: str) -> datetime:
    """Return the aware moment of a day file's clock time, `25:00` on the next day."""
    hours, minutes = int(clock[:2]), int(clock[3:])
    day += timedelta(days=hours // 24)
    return datetime.combine(day, time(hours % 24, minutes), tzinfo=zone)


def minutes_of(clock: time) -> int:
    """Return a time by the wall clock as minutes of the day."""
    return clock.hour * 60 + clock.minute


def clock_of(minutes: int) -> str:
    """Return minutes of the day as a clock time of the day file."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def minute_of(rows: DayRows, at: datetime) -> int:
    """Return a moment as minutes of the day by the wall clock, within the day."""
    local = at.astimezone(rows.zone)
    if local.date() < rows.date:
        return 0
    if local.date() > rows.date:
        return DAY_MIN
    return minutes_of(local.time())
