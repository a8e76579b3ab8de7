from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from school.enums import MessageState
from school.models import OutboxMessage

MOST_ROWS = 100


@dataclass(frozen=True, slots=True)
class Outbox:
    """The mails that trouble, that wait and that went."""

    troubled: list[OutboxMessage]
    waiting: list[OutboxMessage]
    sent: list[OutboxMessage]


def messages_with_all() -> QuerySet[OutboxMessage]:
    """Return messages with what a list shows of them, without their bytes."""
    return OutboxMessage.objects.select_related(
        "client__person",
        "copy_to",
        "invitation__lesson",
        "invitation__series",
        "day__lesson",
        "lesson",
    ).defer("mail")


def mails_since(lesson: int, since: datetime) -> QuerySet[OutboxMessage]:
    """Return the mails about a lesson, by its key, written at a moment or later.

    A mail is dated in whole seconds, as DTSTAMP is.
    """
    return OutboxMessage.objects.filter(
        Q(lesson=lesson)
        | Q(day__lesson=lesson)
        | Q(invitation__lesson=lesson)
        | Q(invitation__series__lessons=lesson, day=None),
        made_at__gte=since.replace(microsecond=0),
    )


def outbox() -> Outbox:
    """Return what the outbox holds, the newest first, in three queries."""
    rows = messages_with_all()
    waiting = rows.filter(state=MessageState.WAITING)
    troubled = rows.filter(
        Q(state=MessageState.FAILED) | Q(state=MessageState.WAITING) & ~Q(last_error="")
    )
    return Outbox(
        troubled=list(troubled.order_by("-pk")[:MOST_ROWS]),
        waiting=list(
            waiting.filter(last_error="").order_by("next_try_at", "pk")[:MOST_ROWS]
        ),
        sent=list(
            rows.filter(state=MessageState.SENT).order_by("-sent_at", "-pk")[:MOST_ROWS]
        ),
    )
