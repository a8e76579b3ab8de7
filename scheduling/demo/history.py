"""What the invented school has ridden before: two lessons with their logs."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction

from scheduling.demo.build import revision_of
from school.convert import stages_of
from school.enums import LessonState
from school.models import (
    Account,
    Arena,
    Horse,
    Instructor,
    Lesson,
    LessonGrid,
    Ride,
    Rider,
)
from school.queries.lessons import booked_rides, day_bounds, lesson_with_all
from school.services.grids import attach_grid
from school.services.ride_logs import Entry, Noted, RodeAs, log_ride

BEFORE = timedelta(days=14)
"""How long before the Saturday that is shown; always past."""


def log_earlier_lessons(scenario: dict[str, Any], day: date, now: datetime) -> None:
    """Log what was ridden two weeks before the Saturday; all of it, or none.

    The lessons are written as records, since nobody is told of what is long over.
    """
    zone = ZoneInfo(scenario["zone"])
    earlier = day - BEFORE
    first, last = day_bounds(earlier, zone)
    with transaction.atomic():
        if Lesson.objects.filter(starts_at__gte=first, starts_at__lt=last).exists():
            return
        for data in scenario["ridden"]:
            _log(data, _ridden(data, earlier, zone), now)


def _ridden(data: dict[str, Any], day: date, zone: ZoneInfo) -> Lesson:
    start = datetime.combine(day, time.fromisoformat(data["start"]), tzinfo=zone)
    start = start.astimezone(UTC)
    lesson = Lesson.objects.create(
        title=data["title"],
        kind="group",
        work="jumping",
        starts_at=start,
        ends_at=start + timedelta(minutes=data["minutes"]),
        arena=Arena.objects.get(name=data["arena"]),
        instructor=Instructor.objects.get(person__first_name=data["instructor"]),
        places=len(data["rides"]),
        state=LessonState.CONFIRMED,
        state_at=start,
        changed_at=start,
    )
    for one in data["rides"]:
        Ride.objects.create(
            lesson=lesson,
            rider=Rider.objects.get(person__first_name=one["rider"]),
            horse=Horse.objects.get(name=one["horse"]),
        )
    return lesson


def _log(data: dict[str, Any], lesson: Lesson, now: datetime) -> None:
    by = Account.objects.filter(person=lesson.instructor.person).first()
    grid = attach_grid(
        lesson=lesson,
        revision=revision_of(data["exercise"]),
        tradition=data["tradition"],
        by=by,
        now=lesson.starts_at,
    )
    full = lesson_with_all(lesson.pk) or lesson
    by_horse = {ride.horse.name: ride.pk for ride in booked_rides(full) if ride.horse}
    entry = Entry(
        token=uuid5(NAMESPACE_URL, f"{data['title']} {lesson.starts_at}"),
        corrects=0,
        stage=max(1, len(stages_of(grid)) - data["short"]),
        passes=data["passes"],
        rides=tuple(
            RodeAs(
                by_horse[one["horse"]],
                one["went"],
                one.get("passes"),
                tuple(
                    Noted(it["what"], it.get("element"), it.get("often", False))
                    for it in one.get("happened", ())
                ),
            )
            for one in data["rides"]
        ),
        measured=_measured(data, grid),
        note=data.get("note", ""),
    )
    log_ride(lesson=lesson, entry=entry, by=by, now=min(now, lesson.ends_at))
    Lesson.objects.filter(pk=lesson.pk).update(state=LessonState.DONE)


def _measured(data: dict[str, Any], grid: LessonGrid) -> dict[int, int]:
    if "measured" not in data:
        return {}
    gap, off_cm = data["measured"]["gap"], data["measured"]["off_cm"]
    built = {one["before"] + 1: one["built_cm"] for one in grid.fitted["gaps"]}
    return {gap: built[gap] + off_cm}
