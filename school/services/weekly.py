"""Keeps a client's weekly calendar entry true to the lessons of its series."""

from datetime import datetime
from typing import Any

from school.calendars.told import WeeklyPart, digest_of, told_of, weekly_part
from school.enums import Answer, LessonState, MessageKind, MessageMethod, MessageState
from school.models import Invitation, InvitedDay, School
from school.queries.series import moment_of
from school.services.outbox import tell

MOST_SINGLY = 2
"""Days changed at once that are told one by one; more are told as a whole."""

_KINDS = (
    MessageKind.SERIES,
    MessageKind.SERIES_CHANGED,
    MessageKind.SERIES_CANCELLED,
)
_DAY_KINDS = (MessageKind.CHANGED, MessageKind.CHANGED, MessageKind.CANCELLED)


def sync_weekly(*, school: School, invitation: Invitation, now: datetime) -> None:
    """Write what a client must be told of their part of a series.

    A day that moves or falls out is told by itself (RFC 5546 section 3.2.5 and
    3.2.2.1, RECURRENCE-ID); a new rule, a day that comes back, or more than
    `MOST_SINGLY` days are told as the whole set.
    """
    part = weekly_part(school, invitation)
    if not part.told:
        _withdraw(school, invitation, part, now)
        return
    known = {one.original_starts_at: one for one in invitation.days.all()}
    changed, dropped, back = _compare(part, known)
    rule_changed = invitation.withdrawn or invitation.content_digest != part.digest()
    if not (rule_changed or changed or dropped or back):
        return
    pending = invitation.messages.filter(
        state=MessageState.WAITING, day=None, attempts=0
    )
    whole = (
        rule_changed
        or bool(back)
        or len(changed) + len(dropped) > MOST_SINGLY
        or pending.exists()
    )
    if whole:
        _note_all(invitation, part, now, rule_changed=rule_changed, first=not known)
        _tell_whole(invitation, MessageMethod.REQUEST, part, now)
        return
    for original in changed:
        _tell_day(school, invitation, known[original], part, now)
    for original in dropped:
        _drop_day(school, invitation, known[original], now)


def _compare(
    part: WeeklyPart, known: dict[datetime, InvitedDay]
) -> tuple[list[datetime], list[datetime], list[datetime]]:
    """Return the days that differ from what was told, are gone, or are new."""
    clock, zone = part.series.local_start, part.zone
    here = {moment_of(day, clock, zone): day for day in part.told}
    in_range = {moment_of(day, clock, zone) for day in part.weeks}
    changed = [
        original
        for original, day in here.items()
        if original in known
        and not known[original].dropped
        # One that runs or is over tells no more, also if it ended early.
        and part.lessons[day].state not in {LessonState.RUNNING, LessonState.DONE}
        and known[original].content_digest != part.day_digest(day)
    ]
    dropped = [
        original
        for original, row in known.items()
        if not row.dropped and original in in_range and original not in here
    ]
    back = [
        original
        for original in here
        if original not in known or known[original].dropped
    ]
    return changed, dropped, back


def _withdraw(
    school: School, invitation: Invitation, part: WeeklyPart, now: datetime
) -> None:
    if invitation.withdrawn:
        return
    invitation.withdrawn = True
    invitation.content_digest = ""
    invitation.sequence += 1
    invitation.changed_at = now
    invitation.save()
    last = invitation.days.order_by("-original_starts_at").first()
    invitation.days.update(dropped=True, sequence=invitation.sequence, changed_at=now)
    reason = told_of(school, last.lesson, invitation.client_id).reason if last else ""
    _tell_whole(invitation, MessageMethod.CANCEL, part, now, reason)


def _note_all(
    invitation: Invitation,
    part: WeeklyPart,
    now: datetime,
    *,
    rule_changed: bool,
    first: bool,
) -> None:
    """Note the whole set as told, each day with its own digest."""
    if not first:
        invitation.sequence += 1
    if rule_changed:
        # Old answers were given to another hour or place.
        invitation.answer = Answer.NEEDS_ACTION
    invitation.withdrawn = False
    invitation.content_digest = part.digest()
    invitation.changed_at = now
    invitation.save()
    clock, zone = part.series.local_start, part.zone
    # By lesson: with a new hour a lesson keeps its row, and gets a new original.
    known = {one.lesson_id: one for one in invitation.days.all()}
    here = {lesson.pk for lesson in part.lessons.values()}
    for lesson_id, row in known.items():
        if lesson_id not in here and not row.dropped:
            row.dropped, row.changed_at = True, now
            row.save()
    begun: list[InvitedDay] = []
    for day, lesson in part.lessons.items():
        row = known.get(lesson.pk) or InvitedDay(invitation=invitation, lesson=lesson)
        row.original_starts_at = moment_of(day, clock, zone)
        digest = part.day_digest(day)
        new = row.dropped or row.content_digest != digest
        if new or rule_changed:
            row.answer, row.changed_at = Answer.NEEDS_ACTION, now
        row.dropped, row.content_digest = False, digest
        row.sequence = invitation.sequence
        if lesson.pk in known:
            row.save()
        else:
            begun.append(row)
    InvitedDay.objects.bulk_create(begun)


def _tell_whole(
    invitation: Invitation,
    method: str,
    part: WeeklyPart,
    now: datetime,
    reason: str = "",
) -> None:
    last = invitation.messages.exclude(told={}).order_by("-edition").first()
    clock, zone = part.series.local_start, part.zone
    days = {
        moment_of(day, clock, zone).isoformat(): part.day_digest(day)
        for day in part.told
    }
    told: dict[str, Any] = {
        "names": list(part.names) or (last.told.get("names", []) if last else []),
        "days": days,
        "reason": reason,
    }
    tell(
        invitation=invitation,
        method=method,
        kinds=_KINDS,
        told=told,
        digest=digest_of(part.digest(), days),
        starts_at=part.usual(part.weeks[0]).starts_at,
        now=now,
    )


def _tell_day(
    school: School,
    invitation: Invitation,
    row: InvitedDay,
    part: WeeklyPart,
    now: datetime,
) -> None:
    day = next(d for d, one in part.lessons.items() if one.pk == row.lesson_id)
    as_usual = not row.content_digest and (
        part.told[day].digest() == part.usual(day).digest()
    )
    answer = row.answer if row.answer != Answer.NEEDS_ACTION else invitation.answer
    _raise_day(invitation, row, now)
    if as_usual:
        # Its start is settled where it was: who said yes to the weeks said so to it.
        row.answer = answer
    row.content_digest = part.day_digest(day)
    row.save()
    _tell_one(school, invitation, row, MessageMethod.REQUEST, now)


def _drop_day(
    school: School, invitation: Invitation, row: InvitedDay, now: datetime
) -> None:
    _raise_day(invitation, row, now)
    row.dropped = True
    row.save()
    _tell_one(school, invitation, row, MessageMethod.CANCEL, now)


def _raise_day(invitation: Invitation, row: InvitedDay, now: datetime) -> None:
    invitation.sequence += 1
    invitation.save()
    row.sequence, row.changed_at = invitation.sequence, now
    row.answer = Answer.NEEDS_ACTION


def _tell_one(
    school: School, invitation: Invitation, row: InvitedDay, method: str, now: datetime
) -> None:
    told = told_of(school, row.lesson, invitation.client_id)
    tell(
        invitation=invitation,
        method=method,
        kinds=_DAY_KINDS,
        told=told.as_data(),
        digest=row.content_digest,
        starts_at=told.starts_at,
        now=now,
        day=row,
    )
