from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from school.models import School


class NoSchool(RuntimeError):
    """The installation has no school yet."""


_HELD: ContextVar[School | None] = ContextVar("the school as read once", default=None)


@contextmanager
def one_school() -> Iterator[School]:
    """Hold the school as it is read now, for all that is done inside.

    What many lessons are asked by is then the same for all, and read once; a change
    that somebody makes meanwhile counts for what is done after. Not for what changes
    the school itself.
    """
    held = _HELD.get()
    token = _HELD.set(the_school() if held is None else held)
    try:
        yield the_school()
    finally:
        _HELD.reset(token)


def the_school() -> School:
    """Return the one school of this installation."""
    held = _HELD.get()
    if held is not None:
        return held
    school = School.objects.first()
    if school is None:
        raise NoSchool("there is no school yet: run `manage.py demo`, or add one")
    return school


def school_zone() -> ZoneInfo:
    """Return the school's time zone."""
    return ZoneInfo(the_school().zone)


def local_day(moment: datetime) -> date:
    """Return the day of a moment by the school's calendar."""
    return moment.astimezone(school_zone()).date()


def free_until(
    school: School, starts_at: datetime, moved_at: datetime | None
) -> datetime:
    """Return until when a lesson may be cancelled without charge, in UTC.

    Counted to the clock, as yards' terms say it (24 hours' notice for Sunday 17:30
    end on Saturday 17:30, also on the night the clocks change). Who is told of another
    time by the school has as many hours from then on, to the lesson at most: nobody
    pays for a change that was not theirs.
    """
    local = starts_at.astimezone(ZoneInfo(school.zone))
    notice = timedelta(hours=school.notice_hours)
    until = (local - notice).astimezone(UTC)
    if moved_at is None:
        return until
    return max(until, min(starts_at.astimezone(UTC), moved_at.astimezone(UTC) + notice))
