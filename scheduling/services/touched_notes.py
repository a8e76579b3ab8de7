"""What is to be looked at once all that is touched is done: warned of, not refused."""

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from scheduling.services.board import unfitted_words
from school.enums import RideState
from school.models import Account, AuditEntry, Lesson, LessonGrid, Ride
from school.welfare.evaluate import Hit
from school.welfare.words import hit_words


def last_entry() -> int:
    """Return the key of the audit's last entry so far."""
    return AuditEntry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def notes_of(
    lessons: Iterable[Lesson],
    *,
    since: int,
    by: Account | None,
    now: datetime,
    zone: ZoneInfo,
) -> tuple[str, ...]:
    """Return what the changes warn of, lesson by lesson, in three queries.

    `since` is the audit's last entry before them: what a rule of horses' work warned
    of was written there.
    """
    every = {one.pk: one for one in lessons}
    found: dict[int, list[str]] = {}
    warned = AuditEntry.objects.filter(
        pk__gt=since, action="warned", subject="lesson", at=now, by=by
    )
    for entry in warned.order_by("pk"):
        lesson = every.get(int(entry.subject_id))
        if lesson is None or entry.after is None:
            continue
        day = f"{lesson.starts_at.astimezone(zone):%A}"
        for one in entry.after["hits"]:
            hit = Hit(one["rule"], one["figure"], one["limit"], False, one["source"])
            found.setdefault(lesson.pk, []).append(
                f"{one['horse']} {hit_words(hit, day)}."
            )
    for pk, says in _unfitted(every).items():
        found.setdefault(pk, []).append(says)
    ordered = sorted(every.values(), key=lambda one: (one.starts_at, one.pk))
    return tuple(
        f"{one.title}, {_when(one, zone)}: {says}"
        for one in ordered
        for says in dict.fromkeys(found.get(one.pk, ()))
    )


def _when(lesson: Lesson, zone: ZoneInfo) -> str:
    local = lesson.starts_at.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _unfitted(lessons: Iterable[int]) -> dict[int, str]:
    """Return of each lesson that its grid was fitted to other horses, where it was."""
    rides = Ride.objects.filter(
        lesson__in=list(lessons), state=RideState.BOOKED, horse__isnull=False
    )
    horses: dict[int, set[str]] = {}
    for lesson, name in rides.values_list("lesson_id", "horse__name"):
        horses.setdefault(lesson, set()).add(name)
    grids = LessonGrid.objects.filter(lesson__in=list(lessons)).order_by("pk")
    said = {
        one.lesson_id: unfitted_words(one, horses.get(one.lesson_id, set()))
        for one in grids
    }
    return {pk: says for pk, says in said.items() if says}
