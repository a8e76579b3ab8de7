"""Who rides in the arenas, and when."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from school.enums import HOLDING_STATES
from school.models import Lesson
from school.queries.lessons import day_bounds
from school.queries.schools import the_school


def lessons_in_arenas(day: date) -> list[Lesson]:
    """Return the lessons that are ridden on a day, in order."""
    first, last = day_bounds(day, ZoneInfo(the_school().zone))
    return list(
        Lesson.objects.filter(
            state__in=HOLDING_STATES, starts_at__lt=last, ends_at__gt=first
        )
        .select_related("instructor__person", "arena")
        .order_by("starts_at", "pk")
    )


def ridden_at(arena: int, moment: datetime) -> Lesson | None:
    """Return the lesson that an arena is booked for at a moment."""
    return (
        Lesson.objects.filter(
            arena=arena,
            state__in=HOLDING_STATES,
            starts_at__lte=moment,
            ends_at__gt=moment,
        )
        .select_related("instructor__person", "arena")
        .first()
    )
