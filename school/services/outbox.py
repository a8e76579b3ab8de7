"""Rows of mails to be sent, written with the change they tell of."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.db.models import Q

from school.enums import MessageKind, MessageMethod, MessageState
from school.models import (
    Client,
    Invitation,
    InvitedDay,
    Lesson,
    OutboxMessage,
    Person,
    School,
)
from school.queries.schools import the_school

SOON = timedelta(hours=12)
"""A lesson this near is told of at once, without time to collect changes."""


def tell(
    *,
    invitation: Invitation,
    method: str,
    kinds: tuple[str, str, str],
    told: dict[str, Any],
    digest: str,
    starts_at: datetime,
    now: datetime,
    day: InvitedDay | None = None,
) -> None:
    """Write what a client must be told of an invitation, or of one of its days.

    What waits unsent for the same is overtaken; what went back to what the client
    already has is not told; what was never begun to be told is not cancelled.
    `kinds` are those of a first telling, a change and a cancellation.
    """
    if not invitation.client.person.email:
        return
    messages = invitation.messages.all()
    if day is not None:
        messages = messages.filter(day=day)
    waiting = messages.filter(state=MessageState.WAITING)
    # Held before it is read whether they were begun: a worker that claims one at
    # this moment is waited for, and then counts.
    list(waiting.select_for_update().values_list("pk", flat=True))
    begun = _last_begun(invitation, day)
    if begun is not None and _says(begun, method, digest, day):
        waiting.exclude(pk=begun.pk).update(state=MessageState.DROPPED)
        return
    waiting.update(state=MessageState.DROPPED)
    if method == MessageMethod.CANCEL and begun is None:
        return
    first, changed, cancelled = kinds
    kind = changed
    if method == MessageMethod.CANCEL:
        kind = cancelled
    elif day is None and (begun is None or begun.kind == cancelled):
        kind = first
    school = the_school()
    row = _row(school, invitation.client, kind, now)
    row.invitation, row.day = invitation, day
    row.method, row.told, row.told_digest = method, told, digest
    row.sequence, row.edition = invitation.sequence, invitation.edition
    if begun is not None:
        # DTSTAMP tells which of two with one SEQUENCE is later.
        row.made_at = max(row.made_at, begun.made_at + timedelta(seconds=1))
    if starts_at > now + SOON:
        row.next_try_at = now + timedelta(minutes=school.collect_min)
    row.save(force_insert=True)
    invitation.edition += 1
    invitation.save(update_fields=["edition"])


def _last_begun(invitation: Invitation, day: InvitedDay | None) -> OutboxMessage | None:
    """Return the last message that spoke of a day, or of anything.

    A try that was begun may have got through, so it counts as told.
    """
    begun = invitation.messages.filter(attempts__gt=0)
    if day is not None:
        begun = begun.filter(Q(day=day) | Q(day=None))
    return begun.order_by("-edition").first()


def _says(
    begun: OutboxMessage, method: str, digest: str, day: InvitedDay | None
) -> bool:
    """Say whether a message that stands already tells just this."""
    if begun.state not in {MessageState.SENT, MessageState.WAITING}:
        return False
    if day is not None and begun.day_id is None:
        days = begun.told.get("days", {})
        said = days.get(day.original_starts_at.isoformat())
        return bool(said == (digest if method == MessageMethod.REQUEST else None))
    same_thing = begun.day_id == (day and day.pk)
    return same_thing and (begun.method, begun.told_digest) == (method, digest)


def remind(
    *,
    client: Client,
    lesson: Lesson | None,
    once: str,
    told: dict[str, Any],
    now: datetime,
    kind: str = MessageKind.REMINDER,
) -> bool:
    """Write a mail of words, unless the same is there; say whether it was written."""
    if OutboxMessage.objects.filter(once=once).exists():
        return False
    row = _row(the_school(), client, kind, now)
    row.lesson, row.once, row.told = lesson, once, told
    row.save(force_insert=True)
    return True


def copy_to(*, message: OutboxMessage, person: Person, now: datetime) -> None:
    """Write a copy of a mail that went, for a second guardian; twice is once."""
    row = _row(the_school(), message.client, message.kind, now)
    if not OutboxMessage.objects.filter(copy_of=message, copy_to=person).exists():
        row.copy_of, row.copy_to, row.told = message, person, message.told
        row.save(force_insert=True)


def _row(school: School, client: Client, kind: str, now: datetime) -> OutboxMessage:
    domain = school.organiser_email.rpartition("@")[2]
    return OutboxMessage(
        client=client,
        kind=kind,
        made_at=now.replace(microsecond=0),
        message_id=f"<{uuid4()}@{domain}>",
        next_try_at=now,
    )
