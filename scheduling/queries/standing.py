"""What stands on the lines, as seen and as plans leave it."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from scheduling.dayplan.leaving import found_by, left_by
from scheduling.models import Changeover, DayPlan, Standing
from scheduling.queries.keys import key_of
from school.models import Line
from school.queries.lessons import day_bounds
from school.queries.schools import the_school

Elements = list[dict[str, Any]]


Left = dict[int, tuple[datetime, Elements]]
"""What a plan leaves on the lines it uses, and since when."""


LONGEST_LEFT = timedelta(days=60)
"""A plan older than this no longer says what stands."""


def standing_before(day: date) -> dict[int, Elements]:
    """Return what stands on each line before a day's work, by line."""
    return standing_before_each([day])[day]


def standing_before_each(days: Sequence[date]) -> dict[date, dict[int, Elements]]:
    """Return what stands on each line before each day's work, in four queries.

    What was last seen counts, or what a plan published for a day since then
    leaves. A plan published for the day itself keeps what it was made from,
    unless somebody has corrected it since: its own work changes nothing.
    """
    zone = ZoneInfo(the_school().zone)
    seen = {one.line_id: one for one in Standing.objects.order_by("line_id")}
    plans = (
        DayPlan.objects.filter(
            date__gte=min(days) - LONGEST_LEFT,
            date__lte=max(days),
            state=DayPlan.State.PUBLISHED,
        )
        .prefetch_related(
            Prefetch(
                "changeovers",
                Changeover.objects.filter(purpose=Changeover.Purpose.EVENING),
            )
        )
        .order_by("date", "pk")
    )
    last = max(days)
    published = [
        (plan, _left_by(plan, zone) if plan.date < last else {}) for plan in plans
    ]
    return {day: _standing(day, seen, published) for day in days}


def _left_by(plan: DayPlan, zone: ZoneInfo) -> Left:
    """Return what a plan leaves on its lines, its evening strips done, since when."""
    left: Left = {
        key_of(line): (_moment(plan.date, clock, zone), elements)
        for line, (clock, elements) in left_by(plan.document, plan.plan).items()
    }
    return left | {one.line_id: (one.ends_at, []) for one in plan.changeovers.all()}


def _standing(
    day: date,
    seen: Mapping[int, Standing],
    published: Sequence[tuple[DayPlan, Left]],
) -> dict[int, Elements]:
    standing = {line: list(one.elements) for line, one in seen.items()}
    for plan, left in published:
        if day - LONGEST_LEFT <= plan.date < day:
            standing |= {
                line: elements
                for line, (since, elements) in left.items()
                if line not in seen or seen[line].as_of_at < since
            }
        elif plan.date == day:
            corrected = {
                line
                for line, one in seen.items()
                if one.corrected_by_id is not None and one.as_of_at > plan.made_at
            }
            standing |= {
                key_of(line): elements
                for line, elements in found_by(plan.document).items()
                if key_of(line) not in corrected
            }
    return standing


def _moment(day: date, clock: str, zone: ZoneInfo) -> datetime:
    first, _ = day_bounds(day, zone)
    hours, minutes = int(clock[:2]), int(clock[3:])
    return first.replace(hour=min(hours, 23), minute=minutes if hours < 24 else 59)


def lines_with_standing() -> list[Line]:
    """Return every line with what stands on it, by arena; one query."""
    return list(
        Line.objects.select_related("arena", "standing").order_by(
            "arena__name", "name", "pk"
        )
    )
