"""What changing fences takes by week: as the days were booked, and as planned."""

from dataclasses import dataclass
from datetime import date

from scheduling.models import DayPlan
from school.queries.reports import Period, week_of


@dataclass(slots=True)
class ResetWeek:
    """A week's published plans: seconds as booked and as planned, over the same days.

    `unknown` counts days whose lessons could not be held as they were booked; they
    have no figure to compare with and are in neither sum.
    """

    booked_s: int = 0
    planned_s: int = 0
    days: int = 0
    unknown: int = 0


def reset_weeks(period: Period) -> dict[date, ResetWeek]:
    """Return the weeks with published plans; one query."""
    plans = DayPlan.objects.filter(
        state=DayPlan.State.PUBLISHED, date__gte=period.first, date__lte=period.last
    ).values_list("date", "as_booked_reset_s", "reset_s")
    found: dict[date, ResetWeek] = {}
    for day, booked_s, planned_s in plans:
        week = found.setdefault(week_of(day), ResetWeek())
        if booked_s is None:
            week.unknown += 1
            continue
        week.days += 1
        week.booked_s += booked_s
        week.planned_s += planned_s
    return found
