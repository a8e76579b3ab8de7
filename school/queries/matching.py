"""What is asked of riders and horses before they are matched; few queries for all."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q

from school.enums import HOLDING_STATES, LessonState, RideState, Went
from school.models import (
    Horse,
    HorseDayOff,
    HorseState,
    Lesson,
    LessonGrid,
    RiddenRide,
    Ride,
    RiderConfidence,
    RiderHorse,
)
from school.queries.lessons import day_bounds

BACK = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class MatchRows:
    """Everything a day's matching reads."""

    date: date
    rides: list[Ride]
    horses: list[Horse]
    yesterday: list[Ride]
    rode: list[tuple[int, int]]
    too_much: set[tuple[int, int]]
    confidence: dict[int, int]
    grids: dict[int, LessonGrid]


def match_rows(day: date, zone: ZoneInfo) -> MatchRows:
    """Return the rows of a local day in a dozen queries, however many lessons."""
    first, last = day_bounds(day, zone)
    rides = _rides(first, last, [*HOLDING_STATES, LessonState.ASKED])
    riders = {one.rider_id for one in rides}
    before = Ride.objects.filter(
        rider__in=riders,
        horse__isnull=False,
        state=RideState.BOOKED,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=first - BACK,
        lesson__starts_at__lt=first,
    )
    too_much = RiddenRide.objects.filter(rider__in=riders, went=Went.TOO_MUCH)
    lessons = {one.lesson_id for one in rides}
    grids = LessonGrid.objects.filter(lesson__in=lessons).select_related("revision")
    confidence = RiderConfidence.objects.filter(rider__in=riders)
    yesterday, _ = day_bounds(day - timedelta(days=1), zone)
    return MatchRows(
        date=day,
        rides=rides,
        horses=horses_with_states(first, last),
        yesterday=_rides(yesterday, first, list(HOLDING_STATES)),
        rode=[(r, h or 0) for r, h in before.values_list("rider_id", "horse_id")],
        too_much=set(too_much.values_list("rider_id", "horse_id")),
        confidence=dict(confidence.values_list("rider_id", "confidence")),
        grids={one.lesson_id: one for one in grids},
    )


def _rides(first: datetime, last: datetime, states: Sequence[str]) -> list[Ride]:
    return list(
        Ride.objects.filter(
            state=RideState.BOOKED,
            lesson__state__in=states,
            lesson__starts_at__gte=first,
            lesson__starts_at__lt=last,
        )
        .select_related("lesson__instructor__person", "rider__person", "horse")
        .prefetch_related(
            Prefetch("rider__likings", queryset=RiderHorse.objects.order_by("pk"))
        )
        .order_by("lesson__starts_at", "lesson_id", "pk")
    )


def horses_with_states(first: datetime, last: datetime) -> list[Horse]:
    """Return all horses by name, with what keeps them from work in a time."""
    states = HorseState.objects.filter(state_from__lt=last).filter(
        Q(state_to__isnull=True) | Q(state_to__gt=first)
    )
    return list(
        Horse.objects.prefetch_related(
            Prefetch("states", queryset=states, to_attr="states_now"),
            Prefetch("days_off", queryset=HorseDayOff.objects.order_by("weekday")),
        ).order_by("name")
    )


def lesson_to_match(pk: int) -> Lesson | None:
    """Return a lesson by its key."""
    return Lesson.objects.filter(pk=pk).first()
