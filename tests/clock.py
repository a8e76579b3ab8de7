"""Fixed moments, and a clock that begins at one, to read no machine's."""

from datetime import UTC, date, datetime, time, timedelta
from time import monotonic
from zoneinfo import ZoneInfo

from django.utils import timezone

ZONE = ZoneInfo("Europe/Amsterdam")
SATURDAY = date(2027, 3, 6)
SPRING_CHANGE = date(2027, 3, 28)
AUTUMN_CHANGE = date(2027, 10, 31)


def at(clock: str, day: date = SATURDAY) -> datetime:
    """Return the aware moment of a local clock time, "09:30" say."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE)


NOW = at("12:00", date(2027, 3, 1))


def start_clock() -> None:
    """Let Django's clock begin at `NOW`, a Monday noon, and go on from there.

    What a view or a worker takes for now is then as far from the fixed moments above
    on every day and at every hour a test is run.
    """
    began = monotonic()
    start = NOW.astimezone(UTC)
    timezone.now = lambda: start + timedelta(seconds=monotonic() - began)
