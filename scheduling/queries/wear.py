"""How worn lines are: the lessons over fences since each last moved sideways."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from scheduling.models import DayPlan, PlannedLesson
from school.enums import LessonState
from school.models import SidewaysRule
from school.queries.schools import school_zone


@dataclass(frozen=True, slots=True)
class Wear:
    """How worn a line is: lessons over fences since it last moved, and when it is due.

    `uses` are those in published plans up to now; `due` is None where nothing of the
    coming week makes it due.
    """

    uses: int
    due: date | None


def wear_of(rules: Iterable[SidewaysRule], now: datetime) -> dict[int, Wear]:
    """Return how worn the lines of some rules are, by line; two queries."""
    known = list(rules)
    if not known:
        return {}
    rows = (
        PlannedLesson.objects.filter(
            plan__state=DayPlan.State.PUBLISHED,
            line__in=[one.pk for one in known],
            starts_at__gte=min(one.counted_from_at for one in known),
        )
        .exclude(lesson__state=LessonState.CANCELLED)
        .order_by("starts_at", "pk")
        .values_list("line", "starts_at")
    )
    zone = school_zone()
    starts: dict[int, list[datetime]] = {one.pk: [] for one in known}
    for line, starts_at in rows:
        starts[line].append(starts_at)
    return {one.pk: _wear(one, starts[one.pk], now, zone) for one in known}


def _wear(
    rule: SidewaysRule, starts: list[datetime], now: datetime, zone: ZoneInfo
) -> Wear:
    used = [one for one in starts if one >= rule.counted_from_at]
    days = []
    if rule.every_days is not None:
        since = rule.counted_from_at.astimezone(zone).date()
        days.append(since + timedelta(days=rule.every_days))
    if rule.every_uses is not None and len(used) >= rule.every_uses:
        days.append(used[rule.every_uses - 1].astimezone(zone).date())
    return Wear(sum(one <= now for one in used), min(days, default=None))
