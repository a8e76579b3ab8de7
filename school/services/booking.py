"""Books a lesson, also with the grid it was asked for, both or neither."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypedDict, Unpack

from django.db import IntegrityError, transaction

from exercises.geometry.fit import Fit
from exercises.models import ExerciseRevision
from school.enums import LessonKind
from school.models import (
    Account,
    Arena,
    Horse,
    Instructor,
    Lesson,
    LessonGrid,
    LessonSeries,
    Ride,
    Rider,
)
from school.queries.daylight import MOST_NAMED
from school.queries.meanwhile import Meanwhile
from school.queries.schools import school_zone
from school.services import checks, welfare
from school.services.audit import record, snapshot
from school.services.grids import UnableToAttach, attach_grid
from school.services.invitations import lesson_changed
from school.services.lessons import check_rider, check_window, is_late
from school.services.locks import take_turn
from school.services.may_ride import MayRide, check_may_ride
from school.services.papers import check_papers, keep_papers
from school.services.refusals import UnableToBook, refusal_of


class More(TypedDict, total=False):
    """What else may be said of a lesson, by the names of its fields."""

    places: int
    window_from: datetime | None
    window_to: datetime | None
    warm_up_min: int
    cool_down_min: int
    needs_clear: bool
    series: LessonSeries | None
    series_date: date | None
    state: str


Pair = tuple[Rider, Horse | None]


@dataclass(frozen=True, slots=True)
class Party:
    """Who takes part in many lessons, with what is the same for each: read once."""

    instructor: Instructor
    may_ride: MayRide


def party_of(
    *, arena: Arena, instructor: Instructor, rides: Sequence[Pair], kind: str
) -> Party:
    """Return who takes part in many lessons, and take the turn for all of them.

    Needs the transaction in which they are booked.
    """
    take_turn_for(arena, instructor, rides, kind)
    their = Instructor.objects.select_related("person")
    return Party(
        their.prefetch_related("hours", "papers", "absences").get(pk=instructor.pk),
        MayRide(rider for rider, _ in rides),
    )


def take_turn_for(
    arena: Arena, instructor: Instructor, rides: Sequence[Pair], kind: str
) -> None:
    """Take the turn for all that a lesson holds."""
    take_turn(
        arenas=[arena.pk],
        people=[instructor.pk, *(rider.pk for rider, _ in rides)],
        horses=[horse.pk for _, horse in rides if horse],
        leaders=kind == LessonKind.LEAD_REIN,
    )


def book_lesson(
    *,
    title: str,
    kind: str,
    work: str,
    starts_at: datetime,
    minutes: int,
    arena: Arena,
    instructor: Instructor,
    by: Account | None,
    now: datetime,
    rides: Iterable[Pair] = (),
    other_arenas: Sequence[Arena] = (),
    tell: bool = True,
    overrule: str = "",
    party: Party | None = None,
    **more: Unpack[More],
) -> Lesson:
    """Book a lesson with its riders and horses, all or nothing.

    With `tell` false nobody is written to: a series tells of all its lessons at once.
    `overrule` is the reason to go against rules of horses' work, or with an
    instructor whose papers have ended; it is kept with the name. `party` is what is
    the same for all where many are booked with the same instructor and `rides`.
    """
    pairs = list(rides)
    if party is not None:
        instructor = party.instructor
    # In UTC, since an hour by the wall clock is none on the night it changes.
    begins = starts_at.astimezone(UTC)
    lesson = Lesson(
        title=title.strip(),
        kind=kind,
        work=work,
        starts_at=begins,
        ends_at=begins + timedelta(minutes=minutes),
        arena=arena,
        instructor=instructor,
        state_at=now,
        state_by=by,
        changed_at=now,
        **more,
    )
    _check_asked(lesson, minutes, len(pairs))
    if lesson.window_from and is_late(begins, now):
        lesson.time_set_at = now
    try:
        with transaction.atomic():
            _write(lesson, pairs, other_arenas, overrule, by, now, party)
            if tell:
                lesson_changed(lesson=lesson, now=now)
            return lesson
    except IntegrityError as error:
        raise refusal_of(error) from error


def _check_asked(lesson: Lesson, minutes: int, riders: int) -> None:
    """Refuse what can be no lesson, whatever else is booked."""
    if not lesson.title:
        raise UnableToBook("title", "Give the lesson a title.", field="title")
    if not 10 <= minutes <= 240:
        raise UnableToBook(
            "minutes", "A lesson lasts from 10 to 240 minutes.", field="minutes"
        )
    if riders > lesson.places:
        raise UnableToBook(
            "full",
            f"{lesson.title} has {lesson.places} places, not {riders}.",
            field="places",
        )
    check_window(lesson.title, lesson.starts_at, lesson.window_from, lesson.window_to)


def _write(
    lesson: Lesson,
    pairs: Sequence[Pair],
    other_arenas: Sequence[Arena],
    overrule: str,
    by: Account | None,
    now: datetime,
    party: Party | None,
) -> None:
    """Hold a lesson against every rule, and write it with its rides."""
    if party is None:
        take_turn_for(lesson.arena, lesson.instructor, pairs, lesson.kind)
    _check_time(lesson, pairs, party)
    # A weekly lesson is booked months ahead: papers are renewed meanwhile.
    series = lesson.series
    later = series is not None and lesson.series_date != series.first_date
    ended = check_papers(
        lesson.instructor, lesson.starts_at, overrule=overrule, by=by, only_warn=later
    )
    told = checks.check_horses(
        pairs, lesson.starts_at, lesson.ends_at, work=lesson.horse_work
    )
    welfare.refuse(told, lesson.starts_at, school_zone(), overrule=overrule, by=by)
    lesson.save(force_insert=True)
    lesson.other_arenas.add(*other_arenas)
    Ride.objects.bulk_create(
        Ride(lesson=lesson, rider=rider, horse=horse) for rider, horse in pairs
    )
    welfare.keep(told, lesson, overrule=overrule, by=by, now=now)
    keep_papers(ended, lesson, overrule=overrule, by=by, now=now)
    record(by=by, at=now, action="book", subject=lesson, after=snapshot(lesson))


def _check_time(lesson: Lesson, pairs: Sequence[Pair], party: Party | None) -> None:
    """Refuse a time at which arena, instructor, leaders or riders are not to be had."""
    times = (lesson.starts_at, lesson.ends_at)
    there = Meanwhile(*times)
    places = lesson.places
    checks.check_arena(lesson.arena, *times, meanwhile=there)
    checks.check_instructor(lesson.instructor, *times, places=places, meanwhile=there)
    checks.check_leaders(lesson.kind, *times, places=places, meanwhile=there)
    riders = [rider for rider, _ in pairs]
    known = None if party is None else party.may_ride
    check_may_ride(riders, lesson.starts_at, lesson.kind, known=known)
    for rider in riders:
        check_rider(rider, *times, lesson.instructor, lesson.work, meanwhile=there)


def book_with_grid(
    *,
    revision: ExerciseRevision | None,
    by: Account | None,
    now: datetime,
    overrule: str = "",
    **lesson: Any,
) -> Lesson:
    """Book a lesson, and attach a grid that is fitted anew to its horses.

    Without a revision it is `book_lesson`, whose other arguments are taken as they
    are. `overrule` counts for the horses' work of both.

    Raises
    ------
    UnableToBook
        Also where the grid does not fit, which is overruled on the lesson's own page.
    """
    with transaction.atomic():
        booked = book_lesson(by=by, now=now, overrule=overrule, **lesson)
        if revision is not None:
            give_grid(
                lesson=booked, revision=revision, by=by, now=now, overrule=overrule
            )
        return booked


def give_grid(
    *,
    lesson: Lesson,
    revision: ExerciseRevision,
    by: Account | None,
    now: datetime,
    overrule: str = "",
) -> None:
    """Attach a grid to a lesson that is booked or changed with it.

    Raises
    ------
    UnableToBook
        Where it does not fit, or is against the rules of horses' work.
    """
    try:
        attach_grid(lesson=lesson, revision=revision, by=by, now=now, overrule=overrule)
    except UnableToAttach as error:
        if error.work is not None:
            raise error.work from error
        raise UnableToBook(
            "grid",
            f"{error.says} Or do it without the grid, and see to that on the lesson's "
            "page.",
            field="exercise",
        ) from error


def looked_at(lessons: Sequence[Lesson]) -> list[str]:
    """Return what is to be looked at in lessons' grids as they were fitted.

    What is so in some of several only is said with their days, at most a dozen.
    """
    grids = LessonGrid.objects.filter(lesson__in=[one.pk for one in lessons])
    every = list(grids.select_related("lesson").order_by("lesson__starts_at", "pk"))
    zone = school_zone()
    days: dict[str, list[date]] = {}
    for grid in every:
        day = grid.lesson.starts_at.astimezone(zone).date()
        for one in grid.fitted.get("verdicts", []):
            if one["fit"] == Fit.LOOK:
                says = f"{one['says']} {one['cure']}".strip()
                days.setdefault(says, []).append(day)
    return [
        says if len(on) == len(every) else f"{says} (On {_named(on)}.)"
        for says, on in days.items()
    ]


def _named(days: Sequence[date]) -> str:
    named = ", ".join(f"{one.day} {one:%B}" for one in days[:MOST_NAMED])
    left = len(days) - MOST_NAMED
    return f"{named} and {left} more" if left > 0 else named
