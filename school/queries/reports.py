"""What a period amounts to: arenas, horses, places, levels, what was ridden."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, QuerySet

from school.enums import HOLDING_STATES, LessonKind, Level, RideState, Work
from school.models import Arena, Horse, Lesson, Ride, Rider, School
from school.queries.lessons import day_bounds
from school.queries.ride_logs import valid_logs
from school.queries.schools import free_until

WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Period:
    """Local days, from the first to the last, both in it."""

    first: date
    last: date
    zone: ZoneInfo

    def weeks(self) -> list[date]:
        """Return the Monday of each week that a day of the period lies in."""
        monday, found = week_of(self.first), []
        while monday <= self.last:
            found.append(monday)
            monday += WEEK
        return found

    def days_of(self, monday: date) -> int:
        """Return how many days of a week lie in the period."""
        first = max(self.first, monday)
        return (min(self.last, monday + timedelta(days=6)) - first).days + 1

    def days_until(self, now: datetime) -> int:
        """Return how many days of the period are over or today's."""
        last = min(self.last, now.astimezone(self.zone).date())
        return max(0, (last - self.first).days + 1)

    def bounds(self) -> tuple[datetime, datetime]:
        """Return the first moment of the period, and the first after it."""
        return day_bounds(self.first, self.zone)[0], day_bounds(self.last, self.zone)[1]

    def week(self, moment: datetime) -> date:
        """Return the Monday of the local week in which a moment lies."""
        return week_of(moment.astimezone(self.zone).date())


def week_of(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def _minutes(first: datetime, last: datetime) -> int:
    return int((last - first).total_seconds() // 60)


def arena_minutes(period: Period) -> dict[tuple[date, int], int]:
    """Return the minutes of lessons by week and arena; one query."""
    since, until = period.bounds()
    held = Lesson.objects.filter(
        state__in=HOLDING_STATES, starts_at__gte=since, starts_at__lt=until
    )
    found: Counter[tuple[date, int]] = Counter()
    for arena, first, last in held.values_list("arena_id", "starts_at", "ends_at"):
        found[period.week(first), arena] += _minutes(first, last)
    return found


def open_minutes(arena: Arena) -> int:
    """Return for how many minutes a day an arena is open."""
    opens, closes = arena.opens_at, arena.closes_at
    return (closes.hour - opens.hour) * 60 + closes.minute - opens.minute


@dataclass(frozen=True, slots=True)
class HorseWork:
    """What a horse did in a period, and the minutes it is still booked for."""

    horse: Horse
    lessons: int
    minutes: int
    minutes_ahead: int


def horse_work(period: Period, now: datetime) -> list[HorseWork]:
    """Return the lessons and minutes of every horse, by name; two queries.

    Lessons that have not begun are no work done; they are counted apart.
    """
    since, until = period.bounds()
    rides = Ride.objects.filter(
        state=RideState.BOOKED,
        horse__isnull=False,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=since,
        lesson__starts_at__lt=until,
    )
    lessons: Counter[int] = Counter()
    minutes: Counter[int] = Counter()
    ahead: Counter[int] = Counter()
    for horse, first, last in rides.values_list(
        "horse_id", "lesson__starts_at", "lesson__ends_at"
    ):
        if first > now:
            ahead[horse or 0] += _minutes(first, last)
            continue
        lessons[horse or 0] += 1
        minutes[horse or 0] += _minutes(first, last)
    return [
        HorseWork(one, lessons[one.pk], minutes[one.pk], ahead[one.pk])
        for one in Horse.objects.order_by("name", "pk")
    ]


KEPT, AHEAD, IN_TIME, LATE, MISSED = "kept", "ahead", "in time", "late", "missed"


def places_by_week(
    period: Period, school: School, now: datetime
) -> dict[date, Counter[str]]:
    """Return what became of places: kept, given back in time or late, missed.

    Missed are those whose riders did not come, or too late to ride; a place is kept
    when its lesson has begun, before that it is ahead. Places of cancelled lessons
    are left out: the client did not give them back. One query.
    """
    since, until = period.bounds()
    rides = Ride.objects.filter(
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=since,
        lesson__starts_at__lt=until,
    )
    found: dict[date, Counter[str]] = {}
    for starts_at, moved_at, back_at, state in rides.values_list(
        "lesson__starts_at", "lesson__moved_at", "cancelled_at", "state"
    ):
        free = free_until(school, starts_at, moved_at)
        late = back_at is not None and back_at > free
        held = AHEAD if starts_at > now else KEPT
        what = held if back_at is None else LATE if late else IN_TIME
        if state == RideState.MISSED:
            what = MISSED
        found.setdefault(period.week(starts_at), Counter())[what] += 1
    return found


@dataclass(frozen=True, slots=True)
class LevelCount:
    """How many riders of a level rode in a period, are still to, and there are."""

    level: str
    rode: int
    ahead: int
    known: int


def riders_by_level(period: Period, now: datetime) -> list[LevelCount]:
    """Return the riders by level as it is now; three queries.

    Who rode already and is booked again is counted in both.
    """
    since, until = period.bounds()

    def riding(**when: datetime) -> dict[str, int]:
        lessons = {f"rides__lesson__starts_at__{key}": one for key, one in when.items()}
        riders = Rider.objects.filter(
            rides__state=RideState.BOOKED,
            rides__lesson__state__in=HOLDING_STATES,
            **lessons,
        )
        return _by_level(riders)

    rode = riding(gte=since, lt=until, lte=now)
    ahead = riding(gte=since, lt=until, gt=now)
    known = _by_level(Rider.objects.all())
    return [
        LevelCount(
            str(label), rode.get(value, 0), ahead.get(value, 0), known.get(value, 0)
        )
        for value, label in Level.choices
    ]


@dataclass(frozen=True, slots=True)
class KindCount:
    """How many lessons of a kind there were, and the places kept in them."""

    kind: str
    flat: int
    jumping: int
    places: int


def lessons_by_kind(period: Period) -> list[KindCount]:
    """Return the lessons of each kind and the places kept in them; two queries."""
    since, until = period.bounds()
    held = Lesson.objects.filter(
        state__in=HOLDING_STATES, starts_at__gte=since, starts_at__lt=until
    )
    lessons = Counter(held.order_by().values_list("kind", "work"))
    kept = Ride.objects.filter(state=RideState.BOOKED, lesson__in=held)
    places = Counter(kept.order_by().values_list("lesson__kind", flat=True))
    return [
        KindCount(
            str(label),
            lessons[value, str(Work.FLAT)],
            lessons[value, str(Work.JUMPING)],
            places[value],
        )
        for value, label in LessonKind.choices
    ]


def _by_level(riders: QuerySet[Rider]) -> dict[str, int]:
    counted = riders.order_by("level").values_list("level")
    return dict(counted.annotate(Count("pk", distinct=True)))


AS_PLANNED, SHORTER, OTHERWISE, NOT_JUMPED, UNLOGGED = (
    "as planned", "fewer stages", "built otherwise", "not jumped", "not logged",
)  # fmt: skip


def ridden_by_week(period: Period, now: datetime) -> dict[date, Counter[str]]:
    """Return how lessons with a grid that have begun were ridden; two queries.

    By the log that holds: every stage as built; built with other distances; fewer
    stages than planned; the grid not jumped at all. Without a log nobody knows.
    """
    since, until = period.bounds()
    begun = Lesson.objects.filter(
        state__in=HOLDING_STATES,
        starts_at__gte=since,
        starts_at__lt=min(until, now),
        grid__isnull=False,
    )
    logs = valid_logs().filter(
        lesson__starts_at__gte=since, lesson__starts_at__lt=until
    )
    said = {
        lesson: _how(stage, len(stages), bool(measured))
        for lesson, stage, stages, measured in logs.values_list(
            "lesson_id", "stage", "stages", "measured"
        )
    }
    found: dict[date, Counter[str]] = {}
    for lesson, starts_at in begun.values_list("pk", "starts_at"):
        how = said.get(lesson, UNLOGGED)
        found.setdefault(period.week(starts_at), Counter())[how] += 1
    return found


def _how(stage: int, stages: int, measured: bool) -> str:
    if stage == 0:
        return NOT_JUMPED
    if measured:
        return OTHERWISE
    return AS_PLANNED if stage >= stages else SHORTER
