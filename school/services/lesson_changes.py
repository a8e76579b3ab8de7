"""Everything a manager changes about one lesson in one go, and taking it back.

Place, time, length, instructor and horses change together or not at all, so that
a horse always follows its lesson; rules are asked of the lesson as it will be.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from types import MappingProxyType
from typing import Any

from django.db import IntegrityError, transaction

from school.enums import RideState, horse_work
from school.models import (
    Account,
    Arena,
    AuditEntry,
    Horse,
    Instructor,
    Lesson,
    Ride,
    Rider,
)
from school.queries.audit import (
    BOARD,
    BOARD_BOOK,
    BOARD_UNDO,
    board_actions,
    horses_of,
    undos_of,
)
from school.queries.messages import mails_since
from school.queries.schools import local_day, school_zone
from school.services import checks, welfare
from school.services.audit import record, snapshot
from school.services.invitations import lesson_changed
from school.services.lessons import (
    Move,
    cancel_lesson,
    move_lessons,
    restore_lesson,
)
from school.services.locks import take_turn
from school.services.may_ride import check_may_ride
from school.services.papers import check_papers
from school.services.refusals import UnableToBook, refusal_of
from school.services.rides import change_horse
from school.services.seen import check_seen

UNDO_WITHIN = timedelta(hours=12)
"""What is longer ago is not taken back by a press; it is changed like anything."""

Pair = tuple[Rider, Horse | None]
"""A rider, on a horse or on none yet."""


@dataclass(frozen=True, slots=True)
class Change:
    """What is to be of a lesson; what is None stays.

    `version` is the one that was looked at; `horses` gives rides, by key, another
    horse; a `reason` cancels the lesson; `why` is told to its clients with a move.
    """

    version: int
    starts_at: datetime | None = None
    minutes: int | None = None
    arena: Arena | None = None
    instructor: Instructor | None = None
    horses: Mapping[int, Horse | None] = field(default_factory=dict)
    reason: str = ""
    why: str = ""
    overrule: str = ""


def change_lesson(
    *,
    lesson: Lesson,
    change: Change,
    by: Account | None,
    now: datetime,
    action: str = BOARD,
) -> Lesson:
    """Change a lesson as asked, all or nothing.

    Raises UnableToBook where it was changed since it was looked at (and says by
    whom), and where a rule forbids it.
    """
    try:
        with transaction.atomic():
            fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
            check_seen(fresh, change.version)
            before = whole(fresh)
            if change.reason:
                fresh = cancel_lesson(
                    lesson=fresh, reason=change.reason, by=by, now=now
                )
            else:
                fresh = _changed(fresh, change, by, now)
            after = whole(fresh)
            if after != before:
                record(
                    by=by, at=now, action=action, subject=fresh, before=before,
                    after=after,
                )  # fmt: skip
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def _changed(
    lesson: Lesson,
    change: Change,
    by: Account | None,
    now: datetime,
    stamps: Mapping[str, datetime | None] = MappingProxyType({}),
) -> Lesson:
    """Change a lesson; `stamps` are put back to what they were before a change."""
    rides = _other_horses(lesson, change)
    before = {ride.pk: snapshot(ride) for ride, _ in rides}
    _take_turn(lesson, change)
    # First let go, so that no horse is asked about a time it won't go at, and two
    # riders may change horses with each other.
    Ride.objects.filter(pk__in=before).update(horse=None)
    if _moves(lesson, change):
        move = Move(
            lesson,
            change.starts_at or lesson.starts_at,
            change.arena,
            change.minutes,
            change.instructor,
            change.why,
        )
        (lesson,) = move_lessons(
            moves=[move], by=by, now=now, tell=False, overrule=change.overrule
        )
    for ride, horse in rides:
        change_horse(
            ride=ride, horse=horse, by=by, now=now, tell=False,
            before=before[ride.pk], overrule=change.overrule,
        )  # fmt: skip
    if stamps:
        Lesson.objects.filter(pk=lesson.pk).update(**stamps)
    lesson.refresh_from_db()
    lesson_changed(lesson=lesson, now=now)
    return lesson


def _take_turn(lesson: Lesson, change: Change) -> None:
    """Wait for all at once, so that no two changes wait for each other."""
    held = list(
        lesson.rides.filter(state=RideState.BOOKED).values_list("rider_id", "horse_id")
    )
    teacher, arena = change.instructor, change.arena
    take_turn(
        arenas=[lesson.arena_id, *([arena.pk] if arena else [])],
        people=[
            lesson.instructor_id,
            *([teacher.pk] if teacher else []),
            *(rider for rider, _ in held),
        ],
        horses=[
            *(horse for _, horse in held),
            *(one.pk for one in change.horses.values() if one),
        ],
    )


def _other_horses(lesson: Lesson, change: Change) -> list[tuple[Ride, Horse | None]]:
    rides = lesson.rides.filter(pk__in=change.horses, state=RideState.BOOKED)
    return [
        (one, change.horses[one.pk])
        for one in rides.order_by("pk")
        if one.horse != change.horses[one.pk]
    ]


def _moves(lesson: Lesson, change: Change) -> bool:
    length = int((lesson.ends_at - lesson.starts_at).total_seconds() // 60)
    wanted = (change.starts_at, change.minutes, change.arena, change.instructor)
    now = (lesson.starts_at, length, lesson.arena, lesson.instructor)
    return any(
        one is not None and one != is_now
        for one, is_now in zip(wanted, now, strict=True)
    )


def whole(lesson: Lesson) -> dict[str, Any]:
    """Return a lesson as the board may put it back: its fields and its horses."""
    return snapshot(lesson) | {"horses": horses_of(lesson)}


def broken_by(*, lesson: Lesson, change: Change) -> list[str]:
    """Return every rule a change would break, each in words; nothing is written."""
    starts_at = (change.starts_at or lesson.starts_at).astimezone(UTC)
    length = lesson.ends_at - lesson.starts_at
    if change.minutes is not None:
        length = timedelta(minutes=change.minutes)
    rides = lesson.rides.filter(state=RideState.BOOKED).select_related(
        "rider__person", "horse"
    )
    return _every_rule(
        arena=change.arena or lesson.arena,
        teacher=change.instructor or lesson.instructor,
        times=(starts_at, starts_at + length),
        places=lesson.places,
        kind=lesson.kind,
        work=lesson.work,
        pairs=[
            (one.rider, change.horses.get(one.pk, one.horse))
            for one in rides.order_by("pk")
        ],
        own=(lesson.pk,),
        anew=local_day(starts_at) != local_day(lesson.starts_at),
        another=change.instructor is not None,
    )


def broken_by_booking(
    *,
    arena: Arena,
    instructor: Instructor,
    starts_at: datetime,
    minutes: int,
    places: int,
    kind: str,
    work: str,
    rides: Sequence[Pair] = (),
) -> list[str]:
    """Return every rule a booking would break, each in words; nothing is written."""
    begins = starts_at.astimezone(UTC)
    return _every_rule(
        arena=arena,
        teacher=instructor,
        times=(begins, begins + timedelta(minutes=minutes)),
        places=places,
        kind=kind,
        work=work,
        pairs=rides,
    )


def _every_rule(
    *,
    arena: Arena,
    teacher: Instructor,
    times: tuple[datetime, datetime],
    places: int,
    kind: str,
    work: str,
    pairs: Sequence[Pair],
    own: tuple[int, ...] = (),
    anew: bool = True,
    another: bool = False,
) -> list[str]:
    """Return every rule that is broken; `own` is the lesson, where there is one.

    Whether riders may ride at all is asked where they are booked `anew`; papers then
    too, and where the instructor is `another`.
    """
    asked: list[Callable[[], object]] = [
        partial(checks.check_arena, arena, *times, but=own),
        partial(checks.check_instructor, teacher, *times, places=places, but=own),
        partial(checks.check_leaders, kind, *times, places=places, but=own),
    ]
    if anew or another:
        asked.append(
            partial(check_papers, teacher, times[0], lesson=next(iter(own), None))
        )
    for rider, horse in pairs:
        name = rider.person.first_name
        asked += [
            partial(
                checks.check_person, rider.pk, name, *times, code="rider-busy", but=own
            ),
            partial(checks.check_teacher_level, teacher, rider, work),
            partial(_check_horse, (rider, horse), times, horse_work(kind, work), own),
        ]
        if anew:
            asked.append(partial(check_may_ride, [rider], times[0], kind))
    return [says for one in asked if (says := _refused(one))]


def _check_horse(
    pair: Pair, times: tuple[datetime, datetime], work: str, own: tuple[int, ...]
) -> None:
    lesson = own[0] if own else None
    told = checks.check_horses([pair], *times, work=work, lesson=lesson, but=own)
    welfare.refuse(told, times[0], school_zone(), overrule="", by=None, lesson=lesson)


def _refused(check: Callable[[], object]) -> str:
    try:
        check()
    except UnableToBook as error:
        return error.says
    return ""


def note_booking(*, lesson: Lesson, by: Account | None, now: datetime) -> None:
    """Note that a lesson was booked from the board, so that it can be taken back."""
    record(
        by=by, at=now, action=BOARD_BOOK, subject=lesson, after=whole(lesson)
    )  # fmt: skip


def last_action(account: Account, now: datetime) -> AuditEntry | None:
    """Return what somebody did last on the board, unless it is long ago."""
    return next(iter(board_actions(account, now - UNDO_WITHIN)), None)


def undo_last(*, by: Account, now: datetime, entry_id: int | None = None) -> Lesson:
    """Take back what somebody did last on the board, and tell whom it concerns.

    `entry_id` is the action that was offered: where another has come since, nothing
    is taken back. Raises UnableToBook where the lesson was changed since, or a rule
    forbids it as it was.
    """
    with transaction.atomic():
        entry = last_action(by, now)
        if entry is None or entry.after is None:
            raise UnableToBook(
                "nothing-to-undo", "There is nothing of yours to take back."
            )
        if entry_id is not None and entry.pk != entry_id:
            raise UnableToBook(
                "undo-another",
                "You have done something else since. Look at what is offered now.",
            )
        lesson = Lesson.objects.select_for_update().get(pk=entry.subject_id)
        check_seen(lesson, _as_good_as(lesson, entry.after["version"]))
        lesson = _back(lesson, entry, by, now)
        was = entry.before or {}
        told = {
            "entry": entry.pk,
            "version": lesson.version,
            "restored": was.get("version"),
        }
        record(by=by, at=now, action=BOARD_UNDO, subject=lesson, after=told)
        return lesson


def _as_good_as(lesson: Lesson, version: int) -> int:
    """Return the version that is like an earlier one, by what was taken back."""
    for one in undos_of(lesson):
        if one.after and one.after["restored"] == version:
            version = one.after["version"]
    return version


def _back(lesson: Lesson, entry: AuditEntry, by: Account, now: datetime) -> Lesson:
    was, became = entry.before, entry.after or {}
    if was is None:
        reason = "Booked by mistake and taken back"
        return cancel_lesson(lesson=lesson, reason=reason, by=by, now=now)
    if was["state"] != became["state"]:
        return restore_lesson(lesson=lesson, state=was["state"], by=by, now=now)
    starts_at, ends_at = (
        datetime.fromisoformat(was[key]) for key in ("starts_at", "ends_at")
    )
    horses = Horse.objects.in_bulk([one for one in was["horses"].values() if one])
    change = Change(
        version=lesson.version,
        starts_at=starts_at,
        minutes=int((ends_at - starts_at).total_seconds() // 60),
        arena=Arena.objects.get(pk=was["arena"]),
        instructor=Instructor.objects.get(pk=was["instructor"]),
        horses={
            int(ride): None if horse is None else horses[horse]
            for ride, horse in was["horses"].items()
        },
    )
    with transaction.atomic():
        return _changed(lesson, change, by, now, _stamps(lesson, entry))


def _stamps(lesson: Lesson, entry: AuditEntry) -> dict[str, datetime | None]:
    """Return when a lesson was moved and its time settled before an action.

    Whoever has read of the other time keeps the notice hours that it gave.
    """
    if mails_since(lesson.pk, entry.at).filter(attempts__gt=0).exists():
        return {}
    was = entry.before or {}
    return {
        name: datetime.fromisoformat(was[name]) if was[name] else None
        for name in ("moved_at", "time_set_at")
        if name in was
    }
