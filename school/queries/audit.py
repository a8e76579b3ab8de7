"""What is asked of the entries that every write leaves."""

from datetime import datetime
from typing import Any

from django.db.models import Q

from school.models import Account, AuditEntry, Lesson, Ride

BOARD, BOARD_BOOK, BOARD_UNDO = "board", "board book", "board undo"
"""Actions of the board: each tells of a lesson as a whole, and can be taken back."""

_ALL = (BOARD, BOARD_BOOK, BOARD_UNDO)


def changes_since(lesson: Lesson, version: int) -> list[AuditEntry]:
    """Return what was done to a lesson after one of its versions, oldest first.

    Each change raises the version by one and leaves one entry, of the lesson or of
    one of its rides; those of the board tell of several at once and are left out.
    """
    rides = [str(pk) for pk in lesson.rides.values_list("pk", flat=True)]
    entries = (
        AuditEntry.objects.filter(
            Q(subject="lesson", subject_id=str(lesson.pk))
            | Q(subject="ride", subject_id__in=rides)
        )
        .exclude(action__in=_ALL)
        .select_related("by__person")
        .order_by("-pk")[: max(lesson.version - version, 0)]
    )
    return list(reversed(entries))


def board_actions(account: Account, since: datetime) -> list[AuditEntry]:
    """Return what somebody did on the board and has not undone, newest first."""
    entries = list(
        AuditEntry.objects.filter(by=account, action__in=_ALL, at__gte=since).order_by(
            "-pk"
        )[:60]
    )
    undone = {
        one.after["entry"] for one in entries if one.action == BOARD_UNDO and one.after
    }
    return [one for one in entries if one.action != BOARD_UNDO and one.pk not in undone]


def undos_of(lesson: Lesson) -> list[AuditEntry]:
    """Return what was taken back on the board of a lesson, oldest first."""
    return list(
        AuditEntry.objects.filter(
            subject="lesson", subject_id=str(lesson.pk), action=BOARD_UNDO
        ).order_by("pk")
    )


def papers_overruled(lesson: int) -> list[dict[str, Any]]:
    """Return which papers that had ended a lesson was booked with all the same."""
    entries = AuditEntry.objects.filter(
        subject="lesson", subject_id=str(lesson), action="overrule"
    )
    hits = [hit for one in entries for hit in (one.after or {}).get("hits", [])]
    return [hit for hit in hits if hit.get("rule") == "papers"]


def horses_of(lesson: Lesson) -> dict[str, int | None]:
    """Return which horse each booked ride of a lesson has, by keys."""
    rides = Ride.objects.filter(lesson=lesson, state="booked").order_by("pk")
    return {str(one.pk): one.horse_id for one in rides}


def latest_of(action: str, most: int = 10) -> list[AuditEntry]:
    """Return the latest entries of one action, newest first."""
    return list(
        AuditEntry.objects.filter(action=action)
        .select_related("by__person")
        .order_by("-at", "-pk")[:most]
    )
