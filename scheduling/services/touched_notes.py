"""What is to be looked at once all that is touched is done: warned of, not refused."""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from scheduling.services.board import not_at_hand, unfitted_words
from school.convert import store_of
from school.enums import RideState
from school.models import Account, AuditEntry, Lesson, LessonGrid, Ride
from school.queries.store import store_by_place
from school.welfare.evaluate import Hit
from school.welfare.words import hit_words


def last_entry() -> int:
    """Return the key of the audit's last entry so far."""
    return AuditEntry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def notes_of(
    lessons: Iterable[Lesson],
    *,
    since: int,
    elsewhere: Collection[int],
    by: Account | None,
    now: datetime,
    zone: ZoneInfo,
) -> tuple[str, ...]:
    """Return what the changes warn of, lesson by lesson, in at most four queries.

    `since` is the audit's last entry before them: what a rule of horses' work warned
    of was written there. `elsewhere` are the lessons that go to another arena.
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
    for pk, words in _of_grids(every, elsewhere).items():
        found.setdefault(pk, []).extend(words)
    ordered = sorted(every.values(), key=lambda one: (one.starts_at, one.pk))
    return tuple(
        f"{one.title}, {_when(one, zone)}: {says}"
        for one in ordered
        for says in dict.fromkeys(found.get(one.pk, ()))
    )


def _when(lesson: Lesson, zone: ZoneInfo) -> str:
    local = lesson.starts_at.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _of_grids(
    lessons: Mapping[int, Lesson], elsewhere: Collection[int]
) -> dict[int, list[str]]:
    """Return of each lesson that its grid was fitted to other horses, where it was.

    Of those that go to another arena, the pieces too that are not at hand there.
    """
    rides = Ride.objects.filter(
        lesson__in=list(lessons), state=RideState.BOOKED, horse__isnull=False
    )
    horses: dict[int, set[str]] = {}
    for lesson, name in rides.values_list("lesson_id", "horse__name"):
        horses.setdefault(lesson, set()).add(name)
    grids = list(LessonGrid.objects.filter(lesson__in=list(lessons)).order_by("pk"))
    moved = [one for one in grids if one.lesson_id in elsewhere]
    kept = store_by_place() if moved else []
    said: dict[int, list[str]] = {}
    for one in grids:
        pk = one.lesson_id
        words = unfitted_words(one, horses.get(pk, set()))
        said[pk] = [words] if words else []
        if one in moved:
            said[pk] += not_at_hand(one, store_of(kept, lessons[pk].arena))
    return said
