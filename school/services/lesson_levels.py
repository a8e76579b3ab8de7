"""The level a lesson asks for, and which of its riders are not there yet."""

from datetime import datetime

from django.db import transaction

from school.enums import Level, RideState
from school.models import Account, Lesson
from school.services.audit import record
from school.services.refusals import UnableToBook

ORDER = list(Level.values)


def ask_level(
    *,
    lesson: Lesson,
    level: str,
    by: Account | None,
    now: datetime,
    later: bool = False,
) -> int:
    """Say what level a lesson asks for, or none; return how many lessons changed.

    With `later` the same is asked of every lesson to come of its series. Riders who
    are not there yet are warned of, and stay: the coach decides.
    """
    if level not in ("", *ORDER):
        raise UnableToBook("level", "Choose a level, or none.", field="level")
    with transaction.atomic():
        lessons = Lesson.objects.filter(pk=lesson.pk)
        if later and lesson.series_id is not None:
            lessons |= Lesson.objects.filter(
                series=lesson.series_id, starts_at__gte=lesson.starts_at
            )
        changed = list(lessons.exclude(level=level).select_for_update().order_by("pk"))
        for one in changed:
            before, one.level = one.level, level
            one.save(update_fields=["level"])
            record(
                by=by, at=now, action="ask level", subject=one,
                before={"level": before}, after={"level": level},
            )  # fmt: skip
        return len(changed)


def level_notes(lesson: Lesson) -> list[str]:
    """Return which riders are below what a lesson asks for, or not signed."""
    notes = []
    rides = lesson.rides.filter(state=RideState.BOOKED)
    for ride in rides.select_related("rider__person").order_by("pk"):
        rider = ride.rider
        name, level = rider.person.first_name, rider.get_level_display().lower()
        if lesson.level and ORDER.index(rider.level) < ORDER.index(lesson.level):
            asks = lesson.get_level_display().lower()
            notes.append(f"{name} is {level}; the lesson asks for {asks}.")
        elif lesson.level and rider.level_signed_date is None:
            notes.append(f"{name}'s level, {level}, is not signed by an instructor.")
    return notes
