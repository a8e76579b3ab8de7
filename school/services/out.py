"""Who or what is out for a time: written down, and back again before its end."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Model, Q

from school.enums import HorseStateKind, OutKind
from school.models import (
    Account,
    Arena,
    ArenaClosure,
    Horse,
    HorseState,
    Instructor,
    InstructorAbsence,
    Lesson,
    Occupancy,
)
from school.services.audit import record, snapshot
from school.services.locks import take_turn
from school.services.refusals import UnableToBook, clock, refusal_of

Span = tuple[datetime, datetime]

_WHAT = {
    OutKind.INSTRUCTOR: "person",
    OutKind.HORSE: "horse",
    OutKind.ARENA: "arena",
}
_THINGS: dict[str, type[Model]] = {
    OutKind.INSTRUCTOR: Instructor,
    OutKind.HORSE: Horse,
    OutKind.ARENA: Arena,
}
_ROWS: dict[str, tuple[type[Model], str, str]] = {
    OutKind.INSTRUCTOR: (InstructorAbsence, "absent_from", "absent_to"),
    OutKind.HORSE: (HorseState, "state_from", "state_to"),
    OutKind.ARENA: (ArenaClosure, "closed_from", "closed_to"),
}


@dataclass(frozen=True, slots=True)
class Out:
    """Who or what is out, from when to when, and why.

    `reason` is for the school; `state` says of a horse what keeps it from work.
    """

    kind: str
    pk: int
    first: datetime
    last: datetime
    reason: str
    state: str = HorseStateKind.UNFIT

    def thing(self) -> Instructor | Horse | Arena:
        """Return who or what it is."""
        model = _THINGS[self.kind]
        found = model._default_manager.filter(pk=self.pk).first()
        if not isinstance(found, Instructor | Horse | Arena):
            raise UnableToBook("gone", "That is not there any more. Choose again.")
        return found


def _take_turn_of(out: Out) -> None:
    """Wait for whoever books or settles the same at this moment."""
    keys = [out.pk]
    if out.kind == OutKind.INSTRUCTOR:
        take_turn(people=keys)
    elif out.kind == OutKind.ARENA:
        take_turn(arenas=keys)
    else:
        take_turn(horses=keys)


def note_out(*, out: Out, by: Account | None, now: datetime) -> list[Model]:
    """Write down that somebody or something is out; return the rows.

    What is written down already, and lessons that have begun, keep their time: only
    what is left of it is written, so that doing it twice writes nothing.
    """
    try:
        with transaction.atomic():
            _take_turn_of(out)
            rows = [_row(out, span) for span in _left(out, now)]
            for row in rows:
                row.save()
                after = snapshot(row)
                record(by=by, at=now, action="out", subject=row, after=after)
            return rows
    except IntegrityError as error:
        raise refusal_of(error) from error


def _left(out: Out, now: datetime) -> list[Span]:
    """Return the parts of the time that nothing of its own holds yet."""
    begun = Lesson.objects.filter(
        Q(starts_at__lte=now) | Q(state__in=["running", "done"])
    )
    held = Occupancy.objects.filter(
        Q(lesson_id=None) | Q(lesson_id__in=begun.values("pk")),
        Q(taken_to__isnull=True) | Q(taken_to__gt=out.first),
        what=_WHAT[OutKind(out.kind)],
        which=out.pk,
        taken_from__lt=out.last,
    )
    spans = held.order_by("taken_from").values_list("taken_from", "taken_to")
    return without((out.first, out.last), spans)


def without(
    whole: Span, held: Iterable[tuple[datetime, datetime | None]]
) -> list[Span]:
    """Return what is left of a time, with what is held taken off."""
    left, free_from = [], whole[0]
    for first, last in sorted(held, key=lambda one: one[0]):
        if free_from < min(first, whole[1]):
            left.append((free_from, min(first, whole[1])))
        free_from = max(free_from, whole[1] if last is None else last)
    if free_from < whole[1]:
        left.append((free_from, whole[1]))
    return left


def _row(out: Out, span: Span) -> Model:
    first, last = span
    if out.kind == OutKind.INSTRUCTOR:
        return InstructorAbsence(
            instructor_id=out.pk, absent_from=first, absent_to=last, reason=out.reason
        )
    if out.kind == OutKind.ARENA:
        return ArenaClosure(
            arena_id=out.pk, closed_from=first, closed_to=last, reason=out.reason
        )
    return HorseState(
        horse_id=out.pk, kind=out.state, state_from=first, state_to=last,
        reason=out.reason,
    )  # fmt: skip


def come_back(*, kind: str, pk: int, by: Account | None, now: datetime) -> str:
    """End a time of being out now, or forget it before it begins; say whose it was.

    Lessons that were given to others stay with them. Twice is harmless: what is over
    stays as it was.
    """
    model, begins, ends = _ROWS[kind]
    with transaction.atomic():
        rows = model._default_manager.select_for_update()
        row: Any = rows.filter(pk=pk).first()
        if row is None:
            raise UnableToBook("gone", "That time is not there any more.")
        if isinstance(row, ArenaClosure) and hasattr(row, "yard_work"):
            raise UnableToBook("yard-work", "That is yard work: call it off there.")
        name = str(getattr(row, kind))
        last = getattr(row, ends)
        if last is not None and last <= now:
            return f"{name} has been back since {clock(last)}."
        before = snapshot(row)
        if getattr(row, begins) >= now:
            record(by=by, at=now, action="back", subject=row, before=before)
            row.delete()
            return f"{name} is not out then: the time is taken back."
        setattr(row, ends, now)
        row.save()
        after = snapshot(row)
        record(
            by=by, at=now, action="back", subject=row, before=before, after=after
        )  # fmt: skip
        return f"{name} is back since {clock(now)}."
