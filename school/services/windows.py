"""Settles when lessons within a window begin, and tells their clients at once."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from school.models import Lesson
from school.queries.windows import TO_BE_TOLD
from school.services.invitations import lessons_changed


def set_times(
    *, planned: Iterable[int], moved: Sequence[Lesson], now: datetime
) -> list[Lesson]:
    """Let lessons in a window begin as planned, and tell each client once.

    Needs the transaction of the plan; twice is harmless.

    Parameters
    ----------
    planned
        Keys of the lessons that have been given their time.
    moved
        Those that were moved for it and are not told of yet.
    """
    known = {one.pk for one in moved}
    stayed = list(
        Lesson.objects.select_for_update()
        .filter(
            pk__in=[one for one in planned if one not in known],
            window_from__isnull=False,
            time_set_at__isnull=True,
            state__in=TO_BE_TOLD,
        )
        .order_by("pk")
    )
    for one in stayed:
        one.time_set_at = one.changed_at = now
        one.save(update_fields=["time_set_at", "changed_at"])
    lessons_changed(lessons=[*moved, *stayed], now=now)
    return stayed
