"""What others did to a day's lessons since somebody looked at its board."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q

from school.enums import LessonState
from school.models import Account, AuditEntry, Lesson, Ride
from school.queries.audit import BOARD, BOARD_BOOK, BOARD_UNDO
from school.queries.schools import school_zone

MOST = 60
"""So many of the newest entries are looked at: a poll of seconds has few."""

_TO_A_LESSON = {
    "move": "moved {title} to {start}",
    "book": "booked {title}, {start}",
    "restore": "took the cancelling of {title} back",
    LessonState.CANCELLED: "cancelled {title}",
    LessonState.BOOKED: "booked {title}, which was asked for",
    "attach grid": "gave {title} a grid",
    "detach grid": "took the grid of {title} away",
    "end early": "ended {title} early",
}
_TO_A_RIDE = {
    "book": "booked {who} into {title}",
    "cancel": "gave {who}'s place in {title} back",
    "change horse": "gave {who} in {title} another horse",
}


@dataclass(frozen=True, slots=True)
class News:
    """What somebody did, in words, and the entry that tells of it."""

    entry: int
    says: str


def newest_entry() -> int:
    """Return the key of the newest entry of all: what a poll is held against."""
    return AuditEntry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def news_of_days(
    days: Collection[date], since: datetime, account: Account
) -> list[News]:
    """Return what others did to the lessons of days, oldest first, in five queries."""
    entries = [
        one
        for one in AuditEntry.objects.filter(
            Q(subject="lesson", action__in=_TO_A_LESSON)
            | Q(subject="ride", action__in=_TO_A_RIDE)
        )
        .exclude(action__in=(BOARD, BOARD_BOOK, BOARD_UNDO))
        .select_related("by__person")
        .order_by("-pk")[:MOST]
        if one.at > since and one.by_id != account.pk
    ]
    keys = {kind: _keys(entries, kind) for kind in ("ride", "lesson")}
    rides = Ride.objects.select_related("rider__person").in_bulk(keys["ride"])
    held = {*keys["lesson"], *(one.lesson_id for one in rides.values())}
    lessons = Lesson.objects.in_bulk(list(held))
    zone = school_zone()
    told = [_told(one, days, zone, lessons, rides) for one in reversed(entries)]
    return [one for one in told if one is not None]


def _keys(entries: list[AuditEntry], kind: str) -> list[int]:
    return [int(one.subject_id) for one in entries if one.subject == kind]


def _told(
    entry: AuditEntry,
    days: Collection[date],
    zone: ZoneInfo,
    lessons: dict[int, Lesson],
    rides: dict[int, Ride],
) -> News | None:
    ride = rides.get(int(entry.subject_id)) if entry.subject == "ride" else None
    if entry.subject == "ride" and ride is None:
        return None
    lesson = lessons.get(ride.lesson_id if ride else int(entry.subject_id))
    if lesson is None:
        return None
    starts = [_start(entry.before), _start(entry.after), lesson.starts_at]
    touched = {one.astimezone(zone).date() for one in starts if one is not None}
    if touched.isdisjoint(days):
        return None
    start = (_start(entry.after) or lesson.starts_at).astimezone(zone)
    when = f"{start:%H:%M}"
    if len(days) > 1 or start.date() not in days:
        when = f"{start:%A} {start.day} {start:%B}, {when}"
    words = (_TO_A_RIDE if ride else _TO_A_LESSON)[entry.action]
    did = words.format(
        title=lesson.title, start=when, who=ride.rider.person.first_name if ride else ""
    )
    return News(entry.pk, f"{_who(entry)} {did}")


def _who(entry: AuditEntry) -> str:
    if entry.by is None:
        return "A client, or the school's rules,"
    person = entry.by.person
    return person.first_name if person else entry.by.username


def _start(data: dict[str, Any] | None) -> datetime | None:
    text = (data or {}).get("starts_at")
    return datetime.fromisoformat(text) if text else None
