"""Who and what is taken over several weeks, read at once: to look for a time."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from school.enums import HOLDING_STATES, RideState, Went
from school.models import (
    DayHeat,
    Horse,
    HorseDayOff,
    HorseState,
    Instructor,
    Lesson,
    RiddenRide,
    Ride,
    Rider,
    RiderConfidence,
    RiderHorse,
)
from school.queries.horses import AROUND, HorseDay
from school.queries.lessons import day_bounds
from school.queries.matching import BACK
from school.queries.ride_logs import valid_rides


class Seated(NamedTuple):
    """Who rides in a lesson, and on which horse, by key."""

    rider_id: int
    horse_id: int | None


@dataclass(frozen=True, slots=True)
class Span:
    """What is booked from one day to another, and a week before and after.

    `lessons` have their booked rides (riders and horses by key only) and grids.
    """

    zone: ZoneInfo
    lessons: Sequence[Lesson]
    horses: Sequence[Horse]
    teachers: Sequence[Instructor]
    states: dict[int, list[HorseState]] = field(default_factory=dict)
    days_off: dict[int, set[int]] = field(default_factory=dict)
    heat: dict[date, DayHeat] = field(default_factory=dict)
    logged: dict[int, dict[int, int]] = field(default_factory=dict)

    def day_of(self, lesson: Lesson) -> date:
        """Return the local day of a lesson."""
        return lesson.starts_at.astimezone(self.zone).date()


def read_span(first: date, last: date, zone: ZoneInfo) -> Span:
    """Return what is booked around some days, in a dozen queries however many."""
    begins = day_bounds(first, zone)[0] - AROUND
    ends = day_bounds(last, zone)[1] + AROUND
    booked = Lesson.objects.filter(
        state__in=HOLDING_STATES, starts_at__gte=begins, starts_at__lt=ends
    )
    seated: dict[int, list[Seated]] = {}
    rides = Ride.objects.filter(state=RideState.BOOKED, lesson__in=booked)
    for lesson, rider, horse in rides.order_by("pk").values_list(
        "lesson_id", "rider_id", "horse_id"
    ):
        seated.setdefault(lesson, []).append(Seated(rider, horse))
    lessons = list(
        booked.select_related("grid")
        .prefetch_related("other_arenas")
        .order_by("starts_at", "pk")
    )
    for one in lessons:
        one.booked_rides = seated.get(one.pk, [])  # type: ignore[attr-defined]
    span = Span(
        zone=zone,
        lessons=lessons,
        horses=list(Horse.objects.order_by("name")),
        teachers=list(
            Instructor.objects.select_related("person")
            .prefetch_related("hours", "papers", "absences")
            .order_by("person__first_name", "pk")
        ),
    )
    states = HorseState.objects.filter(state_from__lt=ends).exclude(
        state_to__lte=begins
    )
    for state in states.order_by("state_from", "pk"):
        span.states.setdefault(state.horse_id, []).append(state)
    for off in HorseDayOff.objects.all():
        span.days_off.setdefault(off.horse_id, set()).add(off.weekday)
    for heat in DayHeat.objects.filter(date__gte=first, date__lte=last):
        span.heat[heat.date] = heat
    logged = valid_rides().filter(
        log__lesson__starts_at__gte=begins, log__lesson__starts_at__lt=ends
    )
    for horse, lesson, quarters in logged.values_list(
        "horse_id", "log__lesson_id", "quarter_efforts"
    ):
        span.logged.setdefault(horse or 0, {})[lesson] = quarters
    return span


def horse_days_of(span: Span, days: Sequence[date]) -> dict[tuple[int, date], HorseDay]:
    """Return each horse's day, as `horse_days` does for one time, without its states.

    States are left out, since they are of a time and not of a day.
    """
    rides: dict[int, list[tuple[date, Lesson]]] = {}
    for lesson in span.lessons:
        day = span.day_of(lesson)
        for ride in lesson.booked_rides:  # type: ignore[attr-defined]
            if ride.horse_id is not None:
                rides.setdefault(ride.horse_id, []).append((day, lesson))
    grids: dict[date, dict[int, object]] = {}
    for lesson in span.lessons:
        grid = getattr(lesson, "grid", None)
        if grid is not None:
            grids.setdefault(span.day_of(lesson), {})[lesson.pk] = grid
    found = {}
    for horse in span.horses:
        its = rides.get(horse.pk, [])
        for day in days:
            found[horse.pk, day] = HorseDay(
                horse,
                days_off=span.days_off.get(horse.pk, set()),
                lessons=[lesson for on, lesson in its if on == day],
                around=[lesson for on, lesson in its if abs(on - day) <= AROUND],
                grids=grids.get(day, {}),  # type: ignore[arg-type]
                logged=span.logged.get(horse.pk, {}),
                heat=span.heat.get(day),
            )
    return found


@dataclass(frozen=True, slots=True)
class KnownOfRiders:
    """What is noted of some riders and horses, by rider."""

    likings: dict[int, list[RiderHorse]]
    confidence: dict[int, int]
    rode: dict[int, set[int]]
    too_much: set[tuple[int, int]]


def known_of_riders(riders: Sequence[Rider], today: date) -> KnownOfRiders:
    """Return what is noted of riders and horses, in four queries."""
    likings: dict[int, list[RiderHorse]] = {}
    for one in RiderHorse.objects.filter(rider__in=riders).order_by("pk"):
        likings.setdefault(one.rider_id, []).append(one)
    rode: dict[int, set[int]] = {}
    before = Ride.objects.filter(
        rider__in=riders,
        horse__isnull=False,
        state=RideState.BOOKED,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__date__gte=today - timedelta(days=BACK.days),
        lesson__starts_at__date__lt=today,
    )
    for rider, horse in before.values_list("rider_id", "horse_id"):
        rode.setdefault(rider, set()).add(horse or 0)
    confidence = RiderConfidence.objects.filter(rider__in=riders)
    too_much = RiddenRide.objects.filter(rider__in=riders, went=Went.TOO_MUCH)
    return KnownOfRiders(
        likings,
        dict(confidence.values_list("rider_id", "confidence")),
        rode,
        set(too_much.values_list("rider_id", "horse_id")),
    )
