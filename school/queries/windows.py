"""Lessons that may start within a window, and when their clients know the time."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from school.enums import LessonState
from school.models import Lesson, School

TO_BE_TOLD = (LessonState.BOOKED, LessonState.CONFIRMED)


def is_open(lesson: Lesson) -> bool:
    """Say whether a lesson's start in its window is not settled yet."""
    return lesson.window_from is not None and lesson.time_set_at is None


def exact_time_by(school: School, starts_at: datetime) -> datetime:
    """Return until when the clients of a lesson know its exact time, in UTC.

    On the evening before, to the school's clock.
    """
    zone = ZoneInfo(school.zone)
    eve = starts_at.astimezone(zone).date() - timedelta(days=1)
    return datetime.combine(eve, school.exact_time_at, tzinfo=zone).astimezone(UTC)


def without_a_time(school: School, now: datetime) -> list[Lesson]:
    """Return lessons whose clients should know the exact time by now, and do not."""
    lessons = Lesson.objects.filter(
        window_from__isnull=False,
        time_set_at__isnull=True,
        state__in=TO_BE_TOLD,
        starts_at__gt=now,
        # Two days hold the longest evening before.
        starts_at__lt=now + timedelta(days=2),
    )
    return [
        one
        for one in lessons.order_by("starts_at", "pk")
        if exact_time_by(school, one.starts_at) <= now
    ]
