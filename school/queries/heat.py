from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from school.enums import HOLDING_STATES
from school.models import DayHeat, Lesson, School
from school.queries.lessons import day_bounds
from school.welfare.evaluate import heat_sum

SHOWN = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class HeatOfDay:
    """What was noted of a day's heat, and the lessons booked on it."""

    noted: DayHeat
    total: int
    lessons: list[Lesson]


def heat_total(noted: DayHeat) -> int:
    """Return what was noted of a day as the rule of heat counts it."""
    return heat_sum(noted.temperature_c, noted.humidity_pct)


def heat_around(school: School, today: date) -> list[HeatOfDay]:
    """Return the days with a note, from two weeks back, the latest first."""
    noted = list(
        DayHeat.objects.filter(date__gte=today - SHOWN)
        .select_related("noted_by__person")
        .order_by("-date")
    )
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(today, zone)
    if noted:
        last = max(last, day_bounds(noted[0].date, zone)[1])
    lessons: dict[date, list[Lesson]] = {}
    for one in Lesson.objects.filter(
        state__in=HOLDING_STATES, starts_at__gte=first, starts_at__lt=last
    ).order_by("starts_at", "pk"):
        lessons.setdefault(one.starts_at.astimezone(zone).date(), []).append(one)
    return [HeatOfDay(one, heat_total(one), lessons.get(one.date, [])) for one in noted]
