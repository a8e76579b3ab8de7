"""Booking, moving, confirming and cancelling lessons."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db import IntegrityError, transaction

from school.enums import HOLDING_STATES, LessonKind, LessonState, RideState
from school.models import (
    Account,
    Arena,
    Instructor,
    Lesson,
    Occupancy,
    Ride,
    Rider,
)
from school.queries.lessons import day_bounds
from school.queries.meanwhile import Meanwhile
from school.queries.schools import local_day, school_zone, the_school
from school.queries.windows import exact_time_by
from school.services import checks, welfare
from school.services.audit import record, snapshot
from school.services.invitations import lesson_changed, lessons_changed
from school.services.locks import take_turn
from school.services.may_ride import check_may_ride
from school.services.offer_ends import close_offers
from school.services.papers import check_papers, keep_papers
from school.services.refusals import UnableToBook, asking_of, clock, refusal_of
from school.services.seen import check_seen
from school.services.welfare import Told

__all__ = [
    "Move",
    "UnableToBook",
    "cancel_lesson",
    "finish_lessons",
    "move_lesson",
    "move_lessons",
    "restore_lesson",
]

MOST_AT_ONCE = 500
"""Lessons that are noted as done in one round."""


def check_window(
    title: str,
    starts_at: datetime,
    first: datetime | None,
    last: datetime | None,
    more: str = "",
) -> None:
    if first and last and not first <= starts_at <= last:
        raise UnableToBook(
            "not-in-window",
            f"{title} may start from {clock(first)} to {clock(last)}, not at "
            f"{clock(starts_at)}.{more}",
        )


def is_late(starts_at: datetime, now: datetime) -> bool:
    """Say whether clients should know the time by now: then it holds as booked."""
    return exact_time_by(the_school(), starts_at) <= now


def check_rider(
    rider: Rider,
    starts_at: datetime,
    ends_at: datetime,
    instructor: Instructor,
    work: str,
    but: Iterable[int] = (),
    meanwhile: Meanwhile | None = None,
) -> None:
    checks.check_person(
        rider.pk,
        rider.person.first_name,
        starts_at,
        ends_at,
        code="rider-busy",
        but=but,
        meanwhile=meanwhile,
    )
    checks.check_teacher_level(instructor, rider, work)


@dataclass(frozen=True, slots=True)
class Move:
    """A lesson and where it goes; what is None stays.

    Its clients are told the `reason`, where there is one.
    """

    lesson: Lesson
    starts_at: datetime
    arena: Arena | None = None
    minutes: int | None = None
    instructor: Instructor | None = None
    reason: str = ""


def move_lesson(
    *,
    lesson: Lesson,
    starts_at: datetime,
    version: int,
    by: Account | None,
    now: datetime,
    arena: Arena | None = None,
    minutes: int | None = None,
    overrule: str = "",
) -> Lesson:
    """Move a lesson; refused if somebody changed it after `version` was seen."""
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        check_seen(fresh, version)
        move = Move(fresh, starts_at, arena, minutes)
        return move_lessons(moves=[move], by=by, now=now, overrule=overrule)[0]


def move_lessons(
    *,
    moves: Sequence[Move],
    by: Account | None,
    now: datetime,
    tell: bool = True,
    overrule: str = "",
) -> list[Lesson]:
    """Move lessons together, all or none; they may change places with each other.

    A rule of a horse's work that the lesson broke before, as badly, stops no move.
    """
    try:
        with transaction.atomic():
            keys = [move.lesson.pk for move in moves]
            fresh = {
                one.pk: one
                for one in Lesson.objects.select_for_update()
                .filter(pk__in=keys)
                .order_by("pk")
            }
            before = {pk: snapshot(one) for pk, one in fresh.items()}
            was = {pk: welfare.told_of_lesson(one) for pk, one in fresh.items()}
            days = {pk: local_day(one.starts_at) for pk, one in fresh.items()}
            taught = {pk: one.instructor_id for pk, one in fresh.items()}
            for move in moves:
                _place(fresh[move.lesson.pk], move, now)
            _take_turn(fresh.values())
            # What they held is let go first, so that two may change places; each
            # save takes what its lesson holds anew.
            Occupancy.objects.filter(lesson_id__in=keys).delete()
            moved = [fresh[move.lesson.pk] for move in moves]
            for lesson in moved:
                lesson.save()
            for lesson in moved:
                anew = local_day(lesson.starts_at) != days[lesson.pk]
                another = lesson.instructor_id != taught[lesson.pk]
                with asking_of(lesson.pk):
                    told = welfare.worse(
                        _check_moved(lesson, anew=anew), was[lesson.pk]
                    )
                    _hold(lesson, told, overrule, by, now, papers=anew or another)
                record(
                    by=by,
                    at=now,
                    action="move",
                    subject=lesson,
                    before=before[lesson.pk],
                    after=snapshot(lesson),
                )
            if tell:
                lessons_changed(lessons=moved, now=now)
            return moved
    except IntegrityError as error:
        _say_who_clashes(moves)
        raise refusal_of(error) from error


def _hold(
    lesson: Lesson,
    told: list[Told],
    overrule: str,
    by: Account | None,
    now: datetime,
    *,
    papers: bool,
) -> None:
    """Refuse what may be overruled, and keep what was warned of or overruled."""
    welfare.refuse(
        told,
        lesson.starts_at,
        school_zone(),
        overrule=overrule,
        by=by,
        lesson=lesson.pk,
    )
    welfare.keep(told, lesson, overrule=overrule, by=by, now=now)
    if papers and lesson.state in HOLDING_STATES:
        ended = check_papers(
            *(lesson.instructor, lesson.starts_at),
            overrule=overrule,
            by=by,
            lesson=lesson.pk,
        )
        keep_papers(ended, lesson, overrule=overrule, by=by, now=now)


def _take_turn(lessons: Iterable[Lesson]) -> None:
    every = list(lessons)
    rides = Ride.objects.filter(lesson__in=every, state=RideState.BOOKED)
    held = list(rides.values_list("rider_id", "horse_id"))
    take_turn(
        arenas=[one.arena_id for one in every],
        people=[*(one.instructor_id for one in every), *(rider for rider, _ in held)],
        horses=[horse for _, horse in held],
        leaders=any(one.kind == LessonKind.LEAD_REIN for one in every),
    )


def _place(lesson: Lesson, move: Move, now: datetime) -> None:
    if lesson.state in {LessonState.CANCELLED, LessonState.DONE, LessonState.RUNNING}:
        raise UnableToBook(
            "not-movable",
            f"{lesson.title} is {lesson.get_state_display().lower()} and stays where "
            "it is.",
            lesson=lesson.pk,
        )
    if lesson.state in HOLDING_STATES and lesson.ends_at <= now:
        raise UnableToBook(
            "past",
            f"{lesson.title} is over since {clock(lesson.ends_at)} and stays where it "
            "was.",
            lesson=lesson.pk,
        )
    length = lesson.ends_at - lesson.starts_at
    if move.minutes is not None:
        length = timedelta(minutes=move.minutes)
    check_window(
        *(lesson.title, move.starts_at, lesson.window_from, lesson.window_to),
        more=" So it is agreed with its clients: choose a time in it, or ask them, "
        "cancel the lesson and book it anew.",
    )
    starts_at = move.starts_at.astimezone(UTC)
    if lesson.window_from is None and starts_at != lesson.starts_at:
        lesson.moved_at = now
    lesson.starts_at = starts_at
    lesson.ends_at = lesson.starts_at + length
    if lesson.window_from is not None:
        lesson.time_set_at = now
    lesson.arena = move.arena or lesson.arena
    lesson.instructor = move.instructor or lesson.instructor
    lesson.moved_reason = move.reason[:200]
    lesson.changed_at = now
    lesson.version += 1


def _check_moved(lesson: Lesson, *, anew: bool) -> list[Told]:
    """Check a lesson where it is now; `anew` also whether its riders may ride.

    What was booked for a day is not undone by moving it an hour.
    """
    if lesson.state not in HOLDING_STATES:
        return []
    times = (lesson.starts_at, lesson.ends_at)
    own = (lesson.pk,)
    there = Meanwhile(*times, but=own)
    places = lesson.places
    checks.check_arena(lesson.arena, *times, meanwhile=there)
    checks.check_instructor(lesson.instructor, *times, places=places, meanwhile=there)
    checks.check_leaders(lesson.kind, *times, places=places, meanwhile=there)
    rides = _booked(lesson)
    if anew:
        check_may_ride((ride.rider for ride in rides), lesson.starts_at, lesson.kind)
    for ride in rides:
        checks.check_teacher_level(lesson.instructor, ride.rider, lesson.work)
    return checks.check_horses(
        [(ride.rider, ride.horse) for ride in rides],
        *times,
        work=lesson.horse_work,
        lesson=lesson.pk,
        but=own,
    )


def check_held(
    lesson: Lesson, state: str, by: Account | None, overrule: str = ""
) -> list[Told]:
    """Ask every rule of a lesson as if it were in a state that holds something."""
    _take_turn([lesson])
    was, lesson.state = lesson.state, state
    told = _check_moved(lesson, anew=True)
    zone = school_zone()
    welfare.refuse(
        told, lesson.starts_at, zone, overrule=overrule, by=by, lesson=lesson.pk
    )
    check_papers(
        *(lesson.instructor, lesson.starts_at),
        overrule=overrule,
        by=by,
        lesson=lesson.pk,
    )
    lesson.state = was
    return told


def _booked(lesson: Lesson) -> list[Ride]:
    return list(
        lesson.rides.filter(state=RideState.BOOKED)
        .select_related("rider__person", "horse")
        .order_by("pk")
    )


def _say_who_clashes(moves: Sequence[Move]) -> None:
    """Find in words what the database refused, where it can be found."""
    keys = [move.lesson.pk for move in moves]
    for move in moves:
        with asking_of(move.lesson.pk):
            _say_if_clashes(move, keys)


def _say_if_clashes(move: Move, keys: list[int]) -> None:
    one = move.lesson
    length = one.ends_at - one.starts_at
    if move.minutes is not None:
        length = timedelta(minutes=move.minutes)
    starts_at = move.starts_at.astimezone(UTC)
    times = (starts_at, starts_at + length)
    checks.check_arena(move.arena or one.arena, *times, but=keys)
    teacher = move.instructor or one.instructor
    checks.check_instructor(teacher, *times, places=one.places, but=keys)
    checks.check_leaders(one.kind, *times, places=one.places, but=keys)
    rides = _booked(one)
    if local_day(starts_at) != local_day(one.starts_at):
        check_may_ride((ride.rider for ride in rides), starts_at, one.kind)
    for ride in rides:
        check_rider(ride.rider, *times, teacher, one.work, but=keys)
    checks.check_horses(
        [(ride.rider, ride.horse) for ride in rides],
        *times,
        work=one.horse_work,
        but=keys,
    )


def finish_lessons(*, now: datetime) -> int:
    """Note the lessons of the days that are over as done; return how many.

    Until the day is over its instructor may still say what was ridden.
    """
    zone = school_zone()
    midnight, _ = day_bounds(now.astimezone(zone).date(), zone)
    with transaction.atomic():
        over = Lesson.objects.select_for_update().filter(
            ends_at__lte=midnight,
            state__in=[LessonState.BOOKED, LessonState.CONFIRMED, LessonState.RUNNING],
        )
        done = list(over.order_by("ends_at", "pk")[:MOST_AT_ONCE])
        for lesson in done:
            change_state(lesson, LessonState.DONE, "", None, now, tell=False)
        return len(done)


def cancel_lesson(
    *,
    lesson: Lesson,
    reason: str,
    by: Account | None,
    now: datetime,
    tell: bool = True,
) -> Lesson:
    """Cancel a lesson that has not begun; doing it twice is harmless."""
    if not reason.strip():
        raise UnableToBook("reason", "Say why the lesson is cancelled.", field="reason")
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        if fresh.state == LessonState.CANCELLED:
            return fresh
        if fresh.state in {LessonState.RUNNING, LessonState.DONE}:
            raise UnableToBook(
                "state",
                f"{fresh.title} is {fresh.get_state_display().lower()}; it can't be "
                "cancelled any more.",
                lesson=fresh.pk,
            )
        if fresh.starts_at <= now and fresh.state in HOLDING_STATES:
            raise UnableToBook(
                "past",
                f"{fresh.title} began at {clock(fresh.starts_at)}: what has been "
                "ridden stays as it was.",
                lesson=fresh.pk,
            )
        return change_state(
            fresh, LessonState.CANCELLED, reason.strip(), by, now, tell=tell
        )


def restore_lesson(
    *, lesson: Lesson, state: str, by: Account | None, now: datetime
) -> Lesson:
    """Take the cancelling of a lesson back, if all it held is still to be had."""
    try:
        with transaction.atomic():
            fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
            if fresh.state != LessonState.CANCELLED:
                return fresh
            check_held(fresh, state, by)
            return change_state(fresh, state, "", by, now, action="restore")
    except UnableToBook as error:
        raise UnableToBook(
            "not-restored",
            f"{lesson.title} can't be taken back into the day: {error.says}",
            lesson=lesson.pk,
        ) from error


def change_state(
    lesson: Lesson,
    state: str,
    reason: str,
    by: Account | None,
    now: datetime,
    *,
    tell: bool = True,
    action: str = "",
) -> Lesson:
    """Write a lesson's state, with who and when; needs a transaction."""
    before = snapshot(lesson)
    lesson.state = state
    lesson.state_at = now
    lesson.state_by = by
    lesson.state_reason = reason[:200]
    lesson.changed_at = now
    lesson.version += 1
    try:
        with transaction.atomic():
            lesson.save()
    except IntegrityError as error:
        raise refusal_of(error) from error
    record(
        by=by,
        at=now,
        action=action or state,
        subject=lesson,
        before=before,
        after=snapshot(lesson),
    )
    close_offers(lesson=lesson, now=now)
    if tell:
        lesson_changed(lesson=lesson, now=now)
    return lesson
