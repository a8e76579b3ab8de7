"""Whose fences stand before a lesson that needs its arena clear, and when they go."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from school.enums import HOLDING_STATES, Work
from school.models import Lesson, School
from school.queries.lessons import day_bounds


@dataclass(frozen=True, slots=True)
class FencesBefore:
    """A lesson over fences, the next that needs its arena clear, and the room between.

    The longest time in which the arena is free from `first` to `last`; where one lesson
    follows the other at once there is none.
    """

    jumping: Lesson
    clear: Lesson
    first: datetime
    last: datetime

    @property
    def minutes(self) -> int:
        """Minutes there are to take the fences off."""
        return int((self.last - self.first).total_seconds() // 60)


def fences_before(lesson: Lesson, school: School) -> FencesBefore | None:
    """Return what a lesson over fences leaves to one that needs a clear arena.

    Asked of either of the two; None where it is not one of such a pair, one query.
    """
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(lesson.starts_at.astimezone(zone).date(), zone)
    found: list[Lesson] = list(
        Lesson.objects.filter(
            arena=lesson.arena_id,
            state__in=HOLDING_STATES,
            starts_at__gte=first,
            starts_at__lt=last,
        )
        .select_related("grid")
        .order_by("starts_at", "pk")
    )
    jumping: Lesson | None = None
    rooms: list[tuple[datetime, datetime]] = []
    free_from = first
    for one in found:
        rooms.append((free_from, one.starts_at))
        free_from = max(free_from, one.ends_at)
        if one.needs_clear:
            if jumping is not None and lesson.pk in {jumping.pk, one.pk}:
                room = max(rooms, key=lambda span: span[1] - span[0])
                return FencesBefore(jumping, one, *room)
            jumping = None
        elif one.work == Work.JUMPING or hasattr(one, "grid"):
            jumping, rooms = one, []
    return None
