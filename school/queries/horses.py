from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from school.enums import HOLDING_STATES, RideState
from school.models import Horse, HorseDayOff, HorseState, Lesson, Ride
from school.queries.lessons import day_bounds


@dataclass(frozen=True, slots=True)
class HorseLoad:
    """What a horse does in a day, against its limits."""

    horse: Horse
    lessons: int
    minutes: int


@dataclass(frozen=True, slots=True)
class HorseDay:
    """What a horse's day holds, around a time somebody asks for it."""

    horse: Horse
    states: list[HorseState] = field(default_factory=list)
    days_off: set[int] = field(default_factory=set)
    lessons: list[Lesson] = field(default_factory=list)


def horse_days(
    horses: Sequence[Horse],
    starts_at: datetime,
    ends_at: datetime,
    zone: ZoneInfo,
    *,
    but: Iterable[int] = (),
) -> list[HorseDay]:
    """Return the day of each horse around a time, in three queries.

    States are those that touch the time; lessons are all of the local day, by
    their start, without those named in `but`.
    """
    days = {one.pk: HorseDay(one) for one in horses}
    states = HorseState.objects.filter(horse__in=days, state_from__lt=ends_at)
    for state in states.exclude(state_to__lte=starts_at).order_by("state_from", "pk"):
        days[state.horse_id].states.append(state)
    for off in HorseDayOff.objects.filter(horse__in=days):
        days[off.horse_id].days_off.add(off.weekday)
    first, last = day_bounds(starts_at.astimezone(zone).date(), zone)
    rides = (
        Ride.objects.filter(
            horse__in=days,
            state=RideState.BOOKED,
            lesson__state__in=HOLDING_STATES,
            lesson__starts_at__gte=first,
            lesson__starts_at__lt=last,
        )
        .exclude(lesson_id__in=list(but))
        .select_related("lesson")
        .order_by("lesson__starts_at", "lesson_id", "pk")
    )
    for ride in rides:
        days[ride.horse_id or 0].lessons.append(ride.lesson)
    return list(days.values())


def horse_loads(day: date, zone: ZoneInfo) -> list[HorseLoad]:
    """Return the load of every horse on a local day, in two queries."""
    first, last = day_bounds(day, zone)
    work: dict[int, list[int]] = {}
    rides = Ride.objects.filter(
        state=RideState.BOOKED,
        horse__isnull=False,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=first,
        lesson__starts_at__lt=last,
    ).select_related("lesson")
    for ride in rides:
        length = ride.lesson.ends_at - ride.lesson.starts_at
        work.setdefault(ride.horse_id or 0, []).append(
            int(length.total_seconds() // 60)
        )
    return [
        HorseLoad(horse, len(work.get(horse.pk, [])), sum(work.get(horse.pk, [])))
        for horse in Horse.objects.order_by("name")
    ]
