"""What the last action on the board was, in words, and whether its mails have gone."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from school.enums import LessonState, MessageState
from school.models import Account, AuditEntry, Lesson
from school.queries.messages import mails_since
from school.services.lesson_changes import last_action
from school.services.refusals import hour


@dataclass(frozen=True, slots=True)
class Undo:
    """An action that may be taken back: its entry, its day, and the words for it."""

    entry: int
    day: date
    says: str
    sent: bool


def undo_offered(
    account: Account, now: datetime, *, lesson: Lesson | None = None
) -> Undo | None:
    """Return what somebody did last on the board; on a lesson's page, only to it."""
    entry = last_action(account, now)
    if entry is None or entry.after is None:
        return None
    if lesson is not None and entry.subject_id != str(lesson.pk):
        return None
    after = entry.after
    starts_at = datetime.fromisoformat(after["starts_at"])
    return Undo(
        entry=entry.pk,
        day=timezone.localtime(starts_at).date(),
        says=f"{after['title']}, {did(entry)} at {hour(entry.at)}",
        sent=mails_since(int(entry.subject_id), entry.at)
        .filter(attempts__gt=0)
        .exists(),
    )


def did(entry: AuditEntry) -> str:
    """Say what an action of the board did."""
    was: dict[str, Any] | None = entry.before
    became: dict[str, Any] = entry.after or {}
    if was is None:
        return "booked"
    if became.get("state") == LessonState.CANCELLED:
        return "cancelled"
    length = [_length(one) for one in (was, became)]
    said = [
        ("moved", was["starts_at"] != became["starts_at"]),
        ("made longer", length[0] < length[1]),
        ("made shorter", length[0] > length[1]),
        ("given another arena", was["arena"] != became["arena"]),
        ("given another instructor", was["instructor"] != became["instructor"]),
        ("given another horse", was["horses"] != became["horses"]),
    ]
    return ", ".join(words for words, so in said if so) or "changed"


def _length(told: dict[str, Any]) -> float:
    ends, starts = (
        datetime.fromisoformat(told[f"{one}_at"]) for one in ("ends", "starts")
    )
    return (ends - starts).total_seconds()


def mails_in_words(lesson: Lesson, since: datetime) -> str:
    """Say to whom a mail about a lesson goes that was written since a moment."""
    names = dict.fromkeys(
        str(one.client.person)
        for one in mails_since(lesson.pk, since)
        .filter(state=MessageState.WAITING)
        .select_related("client__person")
        .order_by("pk")
    )
    if not names:
        return "No mail goes."
    return f"{'A mail goes' if len(names) == 1 else 'Mails go'} to {', '.join(names)}."
