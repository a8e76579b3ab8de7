from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from school.enums import HOLDING_STATES, RideState, Work, horse_work
from school.models import (
    Horse,
    Instructor,
    Lesson,
    RiddenRide,
    Ride,
    RideLog,
    RideNote,
    Rider,
)
from school.queries.lessons import day_bounds
from school.welfare.evaluate import Stint, work_minutes
from school.welfare.rules import TACKED_MIN


def valid_logs() -> QuerySet[RideLog]:
    """Return the log of each lesson that holds: the one with the highest number."""
    later = RideLog.objects.filter(
        lesson=OuterRef("lesson"), number__gt=OuterRef("number")
    )
    return RideLog.objects.filter(~Exists(later))


def log_of(lesson: Lesson) -> RideLog | None:
    """Return the log of a lesson that holds, with all it says, in few queries."""
    return (
        valid_logs()
        .filter(lesson=lesson)
        .select_related("logged_by")
        .prefetch_related(
            Prefetch("ridden", queryset=_with_all(RiddenRide.objects.all()))
        )
        .first()
    )


def lessons_to_log(
    instructor: Instructor, now: datetime, back: timedelta
) -> list[Lesson]:
    """Return an instructor's lessons with a grid that began and have no log yet."""
    return list(
        Lesson.objects.filter(
            instructor=instructor,
            state__in=HOLDING_STATES,
            starts_at__gt=now - back,
            starts_at__lte=now,
            grid__isnull=False,
            logs__isnull=True,
        )
        .select_related("grid__revision__exercise")
        .order_by("starts_at", "pk")
    )


def ridden_rides() -> QuerySet[RiddenRide]:
    """Return what is logged and holds, the newest first, with all a history shows."""
    return _with_all(valid_rides()).order_by("-log__lesson__starts_at", "-pk")


def valid_rides() -> QuerySet[RiddenRide]:
    """Return the rides of the logs that hold."""
    later = RideLog.objects.filter(
        lesson=OuterRef("log__lesson"), number__gt=OuterRef("log__number")
    )
    return RiddenRide.objects.filter(~Exists(later))


def _with_all(every: QuerySet[RiddenRide]) -> QuerySet[RiddenRide]:
    return (
        every.select_related(
            "log__lesson", "log__revision__exercise", "rider__person", "horse"
        )
        .prefetch_related(Prefetch("notes", queryset=RideNote.objects.order_by("pk")))
        .order_by("pk")
    )


def history_of_horse(horse: Horse, most: int = 60) -> list[RiddenRide]:
    """Return what a horse has ridden, the newest first."""
    return list(ridden_rides().filter(horse=horse)[:most])


def history_of_rider(rider: Rider, most: int = 60) -> list[RiddenRide]:
    """Return what a rider has ridden, the newest first."""
    return list(ridden_rides().filter(rider=rider)[:most])


def ridden_of_exercise(
    exercise_id: int, rides: Iterable[Ride], before: datetime
) -> list[RiddenRide]:
    """Return what these horses and riders rode of an exercise, the newest first."""
    every = list(rides)
    return list(
        ridden_rides()
        .filter(log__revision__exercise_id=exercise_id)
        .filter(log__lesson__starts_at__lt=before)
        .filter(
            Q(horse_id__in=[one.horse_id for one in every])
            | Q(rider_id__in=[one.rider_id for one in every])
        )
    )


@dataclass(frozen=True, slots=True)
class WorkDay:
    """A horse's work on a day: lessons, minutes, efforts in quarters of one.

    `unlogged` counts its jumping lessons of which nothing is logged: their efforts
    are not known.
    """

    horse: Horse
    date: date
    lessons: int
    minutes: int
    quarter_efforts: int
    unlogged: int


def work_register(
    horses: Sequence[Horse],
    first: date,
    last: date,
    zone: ZoneInfo,
    now: datetime,
    *,
    tacked_min: int = TACKED_MIN,
) -> list[WorkDay]:
    """Return the work of horses from a local day to another, days without left out.

    Only lessons that have begun count, and gaps between two of up to `tacked_min`,
    when the horse waits tacked up; the newest day first.
    """
    since, _ = day_bounds(first, zone)
    until, _ = day_bounds(last + timedelta(days=1), zone)
    rides = (
        Ride.objects.filter(
            horse__in=horses,
            state=RideState.BOOKED,
            lesson__state__in=HOLDING_STATES,
            lesson__starts_at__gte=since,
            lesson__starts_at__lt=min(until, now),
        )
        .select_related("lesson")
        .order_by("lesson__starts_at", "pk")
    )
    efforts = {
        (lesson, horse): quarters
        for lesson, horse, quarters in valid_rides()
        .filter(
            horse__in=horses,
            log__lesson__starts_at__gte=since,
            log__lesson__starts_at__lt=until,
        )
        .values_list("log__lesson_id", "horse_id", "quarter_efforts")
    }
    days: dict[tuple[date, int], list[Ride]] = {}
    for ride in rides:
        day = ride.lesson.starts_at.astimezone(zone).date()
        days.setdefault((day, ride.horse_id or 0), []).append(ride)
    by_pk = {one.pk: one for one in horses}
    found = [
        _work_day(by_pk[pk], day, its, efforts, tacked_min)
        for (day, pk), its in days.items()
    ]
    return sorted(found, key=lambda one: (-one.date.toordinal(), one.horse.name))


def minutes_of(lessons: Iterable[Lesson], tacked_min: int) -> int:
    """Return the minutes of work in lessons of one horse and day, with short waits."""
    stints = [
        Stint(
            int(one.starts_at.timestamp() // 60), int(one.ends_at.timestamp() // 60), 0
        )
        for one in lessons
    ]
    return work_minutes(stints, tacked_min)


def _work_day(
    horse: Horse,
    day: date,
    rides: list[Ride],
    efforts: dict[tuple[int, int], int],
    tacked_min: int,
) -> WorkDay:
    known = [efforts.get((one.lesson_id, horse.pk)) for one in rides]
    return WorkDay(
        horse=horse,
        date=day,
        lessons=len(rides),
        minutes=minutes_of([one.lesson for one in rides], tacked_min),
        quarter_efforts=sum(one or 0 for one in known),
        unlogged=sum(
            logged is None
            and horse_work(ride.lesson.kind, ride.lesson.work) == Work.JUMPING
            for logged, ride in zip(known, rides, strict=True)
        ),
    )
