from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from school.enums import HOLDING_STATES, RideState
from school.models import (
    DayHeat,
    Horse,
    HorseDayOff,
    HorseState,
    Lesson,
    LessonGrid,
    Ride,
    WelfareOverride,
)
from school.queries.lessons import day_bounds
from school.queries.ride_logs import minutes_of, valid_rides


@dataclass(frozen=True, slots=True)
class HorseLoad:
    """What a horse does in a day, against its limits."""

    horse: Horse
    lessons: int
    minutes: int


AROUND = timedelta(days=6)
"""So far before and after a day its week reaches."""


@dataclass(frozen=True, slots=True)
class HorseDay:
    """What a horse's day holds, around a time somebody asks for it.

    `lessons` are those of the local day, `around` those of the days that make a week
    with it. `grids` and `logged` tell the efforts of the day's lessons by their keys:
    the grid as planned, and the quarters of an effort that were logged. `heat` is
    what was noted for the day.
    """

    horse: Horse
    states: list[HorseState] = field(default_factory=list)
    days_off: set[int] = field(default_factory=set)
    lessons: list[Lesson] = field(default_factory=list)
    around: list[Lesson] = field(default_factory=list)
    grids: dict[int, LessonGrid] = field(default_factory=dict)
    logged: dict[int, int] = field(default_factory=dict)
    heat: DayHeat | None = None


def horse_days(
    horses: Sequence[Horse],
    starts_at: datetime,
    ends_at: datetime,
    zone: ZoneInfo,
    *,
    but: Iterable[int] = (),
) -> list[HorseDay]:
    """Return the day of each horse around a time, in six queries.

    States are those that touch the time; lessons are by their start, without those
    named in `but`, whose grids are told all the same.
    """
    without = set(but)
    day = starts_at.astimezone(zone).date()
    heat = DayHeat.objects.filter(date=day).first()
    days = {one.pk: HorseDay(one, heat=heat) for one in horses}
    states = HorseState.objects.filter(horse__in=days, state_from__lt=ends_at)
    for state in states.exclude(state_to__lte=starts_at).order_by("state_from", "pk"):
        days[state.horse_id].states.append(state)
    for off in HorseDayOff.objects.filter(horse__in=days):
        days[off.horse_id].days_off.add(off.weekday)
    first, last = day_bounds(day, zone)
    rides = (
        Ride.objects.filter(
            horse__in=days,
            state=RideState.BOOKED,
            lesson__state__in=HOLDING_STATES,
            lesson__starts_at__gte=first - AROUND,
            lesson__starts_at__lt=last + AROUND,
        )
        .exclude(lesson_id__in=without)
        .select_related("lesson")
        .order_by("lesson__starts_at", "lesson_id", "pk")
    )
    today: set[int] = set(without)
    for ride in rides:
        its = days[ride.horse_id or 0]
        its.around.append(ride.lesson)
        if first <= ride.lesson.starts_at < last:
            its.lessons.append(ride.lesson)
            today.add(ride.lesson_id)
    _add_efforts(days, today)
    return list(days.values())


def _add_efforts(days: dict[int, HorseDay], lessons: set[int]) -> None:
    grids = {
        one.lesson_id: one
        for one in LessonGrid.objects.filter(lesson__in=lessons).order_by("pk")
    }
    for one in days.values():
        one.grids.update(grids)
    logged = valid_rides().filter(horse__in=days, log__lesson__in=lessons)
    for horse, lesson, quarters in logged.values_list(
        "horse_id", "log__lesson_id", "quarter_efforts"
    ):
        days[horse].logged[lesson] = quarters


def overrides_around(
    horses: Iterable[Horse],
    starts_at: datetime,
    zone: ZoneInfo,
    own: int | None = None,
) -> list[WelfareOverride]:
    """Return what was overruled for some horses in the days around a moment.

    Of the lesson that is asked about, `own`, also while it is cancelled.
    """
    first, last = day_bounds(starts_at.astimezone(zone).date(), zone)
    return list(
        WelfareOverride.objects.filter(
            horse__in=list(horses),
            lesson__starts_at__gte=first - AROUND,
            lesson__starts_at__lt=last + AROUND,
        )
        .filter(Q(lesson__state__in=HOLDING_STATES) | Q(lesson=own))
        .select_related("lesson")
        .order_by("pk")
    )


def overrides_of(lesson: Lesson) -> list[WelfareOverride]:
    """Return what was overruled for a lesson, with by whom."""
    return list(
        WelfareOverride.objects.filter(lesson=lesson)
        .select_related("horse", "by__person")
        .order_by("at", "pk")
    )


def horse_loads(day: date, zone: ZoneInfo, *, tacked_min: int) -> list[HorseLoad]:
    """Return the load of every horse on a local day, in two queries."""
    first, last = day_bounds(day, zone)
    work: dict[int, list[Lesson]] = {}
    rides = Ride.objects.filter(
        state=RideState.BOOKED,
        horse__isnull=False,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=first,
        lesson__starts_at__lt=last,
    ).select_related("lesson")
    for ride in rides:
        work.setdefault(ride.horse_id or 0, []).append(ride.lesson)
    return [
        HorseLoad(
            horse,
            len(work.get(horse.pk, [])),
            minutes_of(work.get(horse.pk, []), tacked_min),
        )
        for horse in Horse.objects.order_by("name")
    ]
