"""All that is touched when somebody or something is out: proposed, foretold, done.

What is foretold is the very thing that is done, in a transaction that is rolled back;
what is done must come to just that, or nothing is.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction

from scheduling.convert.days import day_document, fingerprint
from scheduling.models import PlanRun
from scheduling.queries.days import day_rows
from scheduling.queries.plans import published_plan
from scheduling.services.board import Mail
from scheduling.services.proposing import propose_for
from scheduling.services.runs import ask_run
from scheduling.services.touched_items import Item, Proposal, choices_of
from scheduling.services.touched_notes import last_entry, notes_of
from school.enums import HOLDING_STATES, MessageState, OutKind
from school.models import Account, AuditEntry, Lesson, OutboxMessage
from school.queries.schools import school_zone
from school.queries.touched import lessons_touched
from school.services.audit import record
from school.services.invitations import lessons_changed
from school.services.lessons import Move, cancel_lesson, move_lessons
from school.services.locks import take_turn
from school.services.out import Out, note_out
from school.services.refusals import UnableToBook, refusal_of
from school.services.rides import cancel_ride, change_horses
from school.services.seen import check_seen

ACTION = "settle"
LONGEST = timedelta(days=60)
MOST_TRIES = 24
"""So often a way that a rule forbids is taken off and the next one tried."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """What would come of it, before anything is done.

    `notes` are what rules and grids warn of then. `digest` stands for all of it: what
    is done later must come to the same.
    """

    proposal: Proposal
    mails: tuple[Mail, ...] = ()
    untold: tuple[str, ...] = ()
    plans: tuple[date, ...] = ()
    notes: tuple[str, ...] = ()
    digest: str = ""
    broken: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """What was done, told in numbers."""

    changed: int = 0
    cancelled: int = 0
    mails: int = 0
    again: bool = False


@dataclass(slots=True)
class _Done:
    mails: tuple[Mail, ...] = ()
    untold: tuple[str, ...] = ()
    plans: list[date] = field(default_factory=list)
    notes: tuple[str, ...] = ()
    changed: int = 0
    cancelled: int = 0


def check_asked(out: Out, now: datetime) -> None:
    """Refuse a time that makes no sense, in words."""
    if not out.reason.strip():
        raise UnableToBook("reason", "Say why: sick, lame, frozen.", field="reason")
    if out.last <= out.first:
        raise UnableToBook("order", "The end comes before the beginning.", field="last")
    if out.last <= now:
        raise UnableToBook(
            "past", "That time is over: nothing is left to be settled.", field="last"
        )
    if out.last - out.first > LONGEST:
        raise UnableToBook(
            "long",
            f"At most {LONGEST.days} days at once. Choose an earlier end, and do it "
            "again when it is near.",
            field="last",
        )


def foretell_out(
    *,
    out: Out,
    told: str,
    chosen: Mapping[str, str],
    by: Account | None,
    now: datetime,
) -> Foretold:
    """Propose what to do with all that is touched, and say what would come of it.

    Parameters
    ----------
    told
        What clients are told where something is cancelled.
    chosen
        What is settled already, by item; the rest is proposed.

    Raises
    ------
    UnableToBook
        Where the time makes no sense, or what was chosen can't be.
    """
    check_asked(out, now)
    barred: frozenset[tuple[int, object]] = frozenset()
    for _ in range(MOST_TRIES):
        proposal = propose_for(out=out, chosen=chosen, now=now, barred=barred)
        try:
            with transaction.atomic():
                done = _do(out, told, proposal, by, now)
                transaction.set_rollback(True)
        except UnableToBook as error:
            found = _to_bar(proposal, error)
            if found is None:
                return Foretold(proposal, broken=error.says)
            barred |= {found}
            continue
        return Foretold(
            proposal,
            mails=done.mails,
            untold=done.untold,
            plans=tuple(done.plans),
            notes=done.notes,
            digest=_digest(out, told, proposal, done),
        )
    return Foretold(proposal, broken="No way was found that keeps every rule.")


def _to_bar(proposal: Proposal, error: UnableToBook) -> tuple[int, object] | None:
    """Return what a rule forbids of what is proposed, where it is known of which.

    Of a lesson that is its way, or its start where neither arena nor instructor is
    to blame, since the same would be said of every other way at that time.
    """
    fields = error.fields
    for item in proposal.items:
        if item.fixed or error.of_lesson != item.lesson.pk:
            continue
        if item.way is not None:
            of_place = "arena" in fields or "instructor" in fields
            return item.lesson.pk, item.way.key if of_place else item.way.from_s
        if item.ride is None or item.horse is None:
            continue
        if fields.get("horse") == item.horse.pk:
            return item.ride.pk, item.horse.pk
    return None


def settle(
    *,
    out: Out,
    told: str,
    chosen: Mapping[str, str],
    seen: str,
    versions: Mapping[int, int],
    uid: str,
    by: Account | None,
    now: datetime,
) -> Settled:
    """Do all of it, or nothing.

    Parameters
    ----------
    seen
        The digest of what was foretold.
    versions
        The versions of the lessons that were looked at.
    uid
        Made with the form: the same form does it once.

    Raises
    ------
    UnableToBook
        Where the day has changed since it was looked at, or a rule forbids it.
    """
    before = done_before(uid)
    if before is not None:
        return before
    check_asked(out, now)
    try:
        foretold = foretell_out(out=out, told=told, chosen=chosen, by=by, now=now)
    except UnableToBook:
        _say_what_changed(out, versions, now)
        raise
    try:
        with transaction.atomic():
            _hold(out, foretold.proposal)
            before = done_before(uid)
            if before is not None:
                return before
            _say_what_changed(out, versions, now)
            if foretold.broken:
                raise UnableToBook("broken", foretold.broken)
            done = _do(out, told, foretold.proposal, by, now)
            if _digest(out, told, foretold.proposal, done) != seen:
                raise UnableToBook(
                    "changed-meanwhile",
                    "The day has changed while you looked, and this would no longer "
                    "come to what you saw. Nothing was done. Look again, then decide.",
                )
            after = {"uid": uid} | _told_of(out, foretold.proposal, done)
            record(by=by, at=now, action=ACTION, subject=out.thing(), after=after)
            return Settled(done.changed, done.cancelled, len(done.mails))
    except IntegrityError as error:
        raise refusal_of(error) from error


def _told_of(out: Out, proposal: Proposal, done: _Done) -> dict[str, Any]:
    return {
        "from": out.first.isoformat(),
        "to": out.last.isoformat(),
        "reason": out.reason,
        "choices": {one.key: one.choice for one in proposal.items},
        "changed": done.changed,
        "cancelled": done.cancelled,
        "mails": len(done.mails),
    }


def done_before(uid: str) -> Settled | None:
    """Return what was done by a form that was pressed before; None where none was."""
    entry = AuditEntry.objects.filter(action=ACTION, after__uid=uid).first()
    if entry is None or entry.after is None:
        return None
    after = entry.after
    return Settled(after["changed"], after["cancelled"], after["mails"], again=True)


def _say_what_changed(out: Out, versions: Mapping[int, int], now: datetime) -> None:
    """Refuse, with who did what, where the lessons are not those looked at."""
    found = lessons_touched(out.kind, out.pk, out.first, out.last, now).lessons
    touched = {one.pk: one for one in found}
    for lesson in Lesson.objects.filter(pk__in=versions).order_by("starts_at", "pk"):
        check_seen(lesson, versions[lesson.pk])
        if lesson.pk not in touched:
            raise UnableToBook(
                "changed-meanwhile",
                f"{lesson.title} has begun while you looked. Look again, then decide.",
                lesson=lesson.pk,
            )
    new = [one.title for pk, one in touched.items() if pk not in versions]
    if new:
        raise UnableToBook(
            "changed-meanwhile",
            f"Touched as well since you looked: {', '.join(new)}. Nothing was done. "
            "Look again, then decide.",
        )


def _do(
    out: Out, told: str, proposal: Proposal, by: Account | None, now: datetime
) -> _Done:
    """Do it in the transaction at hand: lessons first, since they must make room."""
    _hold(out, proposal)
    zone = school_zone()
    days = sorted({x.lesson.starts_at.astimezone(zone).date() for x in proposal.items})
    before = {day: _print(day) for day in days if published_plan(day) is not None}
    waiting, since = set(_waiting()), last_entry()
    done = _Done()
    elsewhere = {
        one.lesson.pk
        for one in proposal.items
        if one.way is not None and one.way.arena != one.lesson.arena_id
    }
    do = _do_rides if out.kind == OutKind.HORSE else _do_lessons
    lessons = do(proposal, told, done, by, now)
    note_out(out=out, by=by, now=now)
    lessons_changed(lessons=lessons, now=now)
    done.mails = _mails(waiting)
    done.untold = _untold(proposal.items)
    held = [one for one in lessons if one.state in HOLDING_STATES]
    done.notes = notes_of(
        held, since=since, elsewhere=elsewhere, by=by, now=now, zone=zone
    )
    for day, was in before.items():
        if _print(day) != was:
            ask_run(date=day, kind=PlanRun.Kind.REPLAN, by=by, now=now)
            done.plans.append(day)
    return done


def _hold(out: Out, proposal: Proposal) -> None:
    """Wait for all it needs at once, in the order everybody else does.

    Lessons first, as for a move; so of two who settle at once none waits for the other.
    """
    items = proposal.items
    keys = {one.lesson.pk for one in items}
    rows = Lesson.objects.select_for_update().filter(pk__in=keys).order_by("pk")
    list(rows.values_list("pk", flat=True))
    rides = [ride for one in items for ride in one.rides]
    ways = [one.way for one in items if one.way is not None]
    take_turn(
        arenas=[
            *(one.lesson.arena_id for one in items),
            *(way.arena for way in ways),
            *([out.pk] if out.kind == OutKind.ARENA else []),
        ],
        people=[
            *(one.lesson.instructor_id for one in items),
            *(way.teacher for way in ways),
            *(ride.rider_id for ride in rides),
            *([out.pk] if out.kind == OutKind.INSTRUCTOR else []),
        ],
        horses=[
            *(ride.horse_id for ride in rides),
            *(one.horse.pk for one in items if one.horse is not None),
            *([out.pk] if out.kind == OutKind.HORSE else []),
        ],
    )


def _do_lessons(
    proposal: Proposal, told: str, done: _Done, by: Account | None, now: datetime
) -> list[Lesson]:
    """Cancel what can't be held, and put the rest where it goes, all at once."""
    lessons, moves = [], []
    for item in proposal.items:
        if item.way is None:
            lessons.append(
                cancel_lesson(
                    lesson=item.lesson, reason=told, by=by, now=now, tell=False
                )
            )
            done.cancelled += 1
        else:
            teacher, arena = proposal.teachers[item.way.teacher], item.way.arena
            moves.append(
                Move(
                    item.lesson,
                    item.starts_at,
                    proposal.arenas[arena],
                    instructor=teacher,
                    reason=told,
                )
            )
            done.changed += 1
    if moves:
        lessons += move_lessons(moves=moves, by=by, now=now, tell=False)
    return lessons


def _do_rides(
    proposal: Proposal, told: str, done: _Done, by: Account | None, now: datetime
) -> list[Lesson]:
    """Give places back, then the other horses; a lesson nobody is left in falls out."""
    by_lesson: dict[int, list[Item]] = {}
    for item in proposal.items:
        by_lesson.setdefault(item.lesson.pk, []).append(item)
    for items in by_lesson.values():
        lesson = items[0].lesson
        off = [one.ride for one in items if one.cancels and one.ride is not None]
        if len(off) == len(items[0].rides):
            cancel_lesson(lesson=lesson, reason=told, by=by, now=now, tell=False)
        else:
            for ride in off:
                cancel_ride(ride=ride, reason=told, by=by, now=now, tell=False)
        done.cancelled += len(off)
    changes = [
        (one.ride, one.horse)
        for one in proposal.items
        if one.ride is not None and not one.cancels
    ]
    change_horses(changes=changes, by=by, now=now, tell=False)
    done.changed = len(changes)
    return list(Lesson.objects.filter(pk__in=by_lesson).order_by("starts_at", "pk"))


def _print(day: date) -> str:
    return fingerprint(day_document(day_rows(day)))


def _waiting() -> list[int]:
    rows = OutboxMessage.objects.filter(state=MessageState.WAITING)
    return list(rows.values_list("pk", flat=True))


def _mails(before: set[int]) -> tuple[Mail, ...]:
    new = OutboxMessage.objects.filter(state=MessageState.WAITING).exclude(
        pk__in=before
    )
    rows = new.select_related(
        "client__person", "invitation__lesson", "invitation__series"
    )
    return tuple(
        _mail(one) for one in rows.order_by("client__person__first_name", "pk")
    )


def _mail(message: OutboxMessage) -> Mail:
    about = message.get_kind_display()
    told: dict[str, Any] = message.told
    if "starts_at" in told:
        starts_at = datetime.fromisoformat(told["starts_at"])
        local = starts_at.astimezone(school_zone())
        about += (
            f": {' and '.join(told['names'])}, {local:%a} {local.day} "
            f"{local:%b %H:%M}, {told['arena']}, with {told['instructor']}"
        )
    elif message.invitation is not None and message.invitation.series is not None:
        about += f": {message.invitation.series.name}"
    return Mail(str(message.client.person), about)


def _untold(items: Sequence[Item]) -> tuple[str, ...]:
    """Return the clients without an address, who must be told by voice."""
    names = [
        str(ride.rider.client.person)
        for item in items
        for ride in item.rides
        if not ride.rider.client.person.email
    ]
    return tuple(dict.fromkeys(names))


def _digest(out: Out, told: str, proposal: Proposal, done: _Done) -> str:
    """Stand for what is chosen and who is told of it."""
    data = {
        "out": [out.kind, out.pk, out.first.isoformat(), out.last.isoformat()],
        "why": [out.reason, out.state, told],
        "choices": choices_of(proposal),
        "versions": [(one.lesson.pk, one.lesson.version) for one in proposal.items],
        "mails": [(one.client, one.about) for one in done.mails],
        "plans": [one.isoformat() for one in done.plans],
        "notes": list(done.notes),
    }
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()[:32]
