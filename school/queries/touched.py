"""What is touched when an instructor, horse or arena is out, and what is free then."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q

from school.enums import HOLDING_STATES, LessonState, OutKind, RideState
from school.models import (
    Arena,
    ArenaClosure,
    HorseState,
    Instructor,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    Lesson,
    Line,
    Occupancy,
    Ride,
    School,
)
from school.queries.lessons import day_bounds, lessons_with_all
from school.queries.schools import the_school

TAUGHT_BEFORE = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class Touched:
    """The lessons in a time that has no instructor, horse or arena any more.

    `lessons` are to be settled; `begun` have begun or are over, and stay; `asked` are
    only asked for, and hold nothing.
    """

    lessons: list[Lesson]
    begun: list[Lesson]
    asked: list[Lesson]


def lessons_touched(
    kind: str, pk: int, first: datetime, last: datetime, now: datetime
) -> Touched:
    """Return what lies in a time of somebody or something, in four queries."""
    every = lessons_with_all().filter(starts_at__lt=last, ends_at__gt=first)
    every = every.exclude(state=LessonState.CANCELLED)
    if kind == OutKind.INSTRUCTOR:
        every = every.filter(instructor=pk)
    elif kind == OutKind.ARENA:
        every = every.filter(arena=pk)
    else:
        rides = Ride.objects.filter(horse=pk, state=RideState.BOOKED)
        every = every.filter(pk__in=rides.values("lesson"))
    found = Touched([], [], [])
    for lesson in every:
        if lesson.state == LessonState.ASKED:
            found.asked.append(lesson)
        elif lesson.starts_at > now and lesson.state in {
            LessonState.BOOKED,
            LessonState.CONFIRMED,
        }:
            found.lessons.append(lesson)
        else:
            found.begun.append(lesson)
    return found


@dataclass(frozen=True, slots=True)
class CoverRows:
    """What a day's instructors, arenas, horses and riders are held for."""

    date: date
    school: School
    arenas: Sequence[Arena]
    instructors: Sequence[Instructor]
    lessons: Sequence[Lesson]
    held: Sequence[Occupancy]
    taught: frozenset[tuple[int, int]] = field(default_factory=frozenset)


def cover_rows(day: date, riders: Iterable[int]) -> CoverRows:
    """Return the rows of a local day in eleven queries, however many lessons."""
    school = the_school()
    first, last = day_bounds(day, ZoneInfo(school.zone))
    before = Ride.objects.filter(
        rider__in=set(riders),
        state=RideState.BOOKED,
        lesson__state__in=HOLDING_STATES,
        lesson__starts_at__gte=first - TAUGHT_BEFORE,
        lesson__starts_at__lt=first,
    )
    teachers = Instructor.objects.select_related("person").prefetch_related(
        Prefetch("hours", queryset=InstructorHours.objects.order_by("from_at", "pk")),
        Prefetch("papers", queryset=InstructorPaper.objects.order_by("name", "pk")),
    )
    return CoverRows(
        date=day,
        school=school,
        arenas=list(
            Arena.objects.prefetch_related(
                Prefetch("lines", queryset=Line.objects.order_by("name", "pk"))
            ).order_by("name", "pk")
        ),
        instructors=list(teachers.order_by("person__first_name", "pk")),
        lessons=list(
            lessons_with_all().filter(
                state__in=HOLDING_STATES, starts_at__gte=first, starts_at__lt=last
            )
        ),
        held=list(
            Occupancy.objects.filter(taken_from__lt=last)
            .filter(Q(taken_to__isnull=True) | Q(taken_to__gt=first))
            .order_by("taken_from", "pk")
        ),
        taught=frozenset(before.values_list("lesson__instructor_id", "rider_id")),
    )


def absences_between(first: datetime, last: datetime) -> list[InstructorAbsence]:
    """Return when instructors are out between two moments, in one query."""
    return list(
        InstructorAbsence.objects.filter(
            absent_from__lt=last, absent_to__gt=first
        ).order_by("absent_from", "pk")
    )


@dataclass(frozen=True, slots=True)
class OutRow:
    """A time that is written down in which somebody or something is out."""

    kind: str
    pk: int
    name: str
    first: datetime
    last: datetime | None
    reason: str
    thing: int


def out_from(now: datetime) -> list[OutRow]:
    """Return what is out now or will be, by its beginning, in three queries."""
    absences = InstructorAbsence.objects.filter(absent_to__gt=now)
    states = HorseState.objects.filter(Q(state_to__isnull=True) | Q(state_to__gt=now))
    # Harrowing holds its arena too; it is called off where it is kept.
    closures = ArenaClosure.objects.filter(closed_to__gt=now, yard_work=None)
    rows = [
        OutRow(
            OutKind.INSTRUCTOR, one.pk, str(one.instructor), one.absent_from,
            one.absent_to, one.reason, one.instructor_id,
        )
        for one in absences.select_related("instructor__person")
    ]  # fmt: skip
    rows += [
        OutRow(
            OutKind.HORSE, one.pk, str(one.horse), one.state_from, one.state_to,
            f"{one.get_kind_display()}: {one.reason}", one.horse_id,
        )
        for one in states.select_related("horse")
    ]  # fmt: skip
    rows += [
        OutRow(
            OutKind.ARENA, one.pk, str(one.arena), one.closed_from, one.closed_to,
            one.reason, one.arena_id,
        )
        for one in closures.select_related("arena")
    ]  # fmt: skip
    return sorted(rows, key=lambda one: (one.first, one.kind, one.pk))
