"""Lessons that find their arena clear: beginners, the lunge, a lesson at liberty."""

from datetime import datetime

from django.db import transaction

from school.enums import LessonState
from school.models import Account, Lesson
from school.services.audit import record

TO_COME = (LessonState.ASKED, LessonState.BOOKED, LessonState.CONFIRMED)


def ask_clear(
    *,
    lesson: Lesson,
    needs_clear: bool,
    by: Account | None,
    now: datetime,
    later: bool = False,
) -> int:
    """Say whether nothing may stand in a lesson's arena; return how many changed.

    With `later` the same holds for every lesson to come of its series. What runs, is
    over or cancelled stays as it was, and so does a lesson with a grid of its own.
    """
    with transaction.atomic():
        lessons = Lesson.objects.filter(pk=lesson.pk)
        if later and lesson.series_id is not None:
            lessons |= Lesson.objects.filter(
                series=lesson.series_id, starts_at__gte=lesson.starts_at
            )
        changed = list(
            lessons.filter(state__in=TO_COME, grid=None)
            .exclude(needs_clear=needs_clear)
            # Of itself alone: a lesson without a grid is found by an outer join.
            .select_for_update(of=("self",))
            .order_by("pk")
        )
        for one in changed:
            one.needs_clear = needs_clear
            one.save(update_fields=["needs_clear"])
            record(
                by=by, at=now, action="ask clear", subject=one,
                before={"needs_clear": not needs_clear},
                after={"needs_clear": needs_clear},
            )  # fmt: skip
        return len(changed)
