"""Nothing is overwritten unseen: what changed since somebody looked, and by whom."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from school.enums import LessonState, OutcomeKind
from school.models import Arena, AuditEntry, Horse, Instructor, Lesson
from school.queries.audit import changes_since
from school.services.refusals import UnableToBook, clock, hour

_DID = {
    "move": "moved it",
    "change horse": "changed a horse",
    "book": "booked a place",
    "cancel": "gave a place back",
    LessonState.CANCELLED: "cancelled it",
    LessonState.CONFIRMED: "confirmed it",
    LessonState.RUNNING: "began it",
    LessonState.DONE: "closed it",
    "restore": "took the cancelling back",
    "end early": "ended it early",
    "go on": "let it go on",
    OutcomeKind.NO_SHOW: "noted a rider who did not come",
    OutcomeKind.LATE: "noted a rider who came late",
    OutcomeKind.LOST: "noted a rider who came too late",
    "rode after all": "noted that a rider came after all",
}


def check_seen(lesson: Lesson, version: int) -> None:
    """Refuse what was decided on a version that is not there any more.

    Called with the lesson's row held, so that two at once are one after the other.
    """
    if lesson.version == version:
        return
    said = "; ".join(said_of(one) for one in changes_since(lesson, version))
    raise UnableToBook(
        "changed-meanwhile",
        f"{lesson.title} was changed while you looked: {said or 'by somebody'}. It is "
        f"now at {clock(lesson.starts_at)} in {lesson.arena}. Look again, then decide.",
        lesson=lesson.pk,
    )


def said_of(entry: AuditEntry) -> str:
    """Say who did what and when, and what it changed."""
    who = "The school's rules"
    if entry.by is not None:
        person = entry.by.person
        who = person.first_name if person else entry.by.username
    did = _DID.get(entry.action, "changed it")
    changed = _changed(entry.before or {}, entry.after or {})
    told = f" ({', '.join(changed)})" if changed else ""
    return f"{who} {did} at {hour(entry.at)}{told}"


def _changed(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    said = []
    for key, words in (("starts_at", "starts"), ("ends_at", "ends")):
        if key in before and key in after and before[key] != after[key]:
            was, now = (datetime.fromisoformat(one[key]) for one in (before, after))
            said.append(f"{words} {clock(now)}, was {clock(was)}")
    for key, words, model in (
        ("arena", "arena", Arena),
        ("instructor", "instructor", Instructor),
        ("horse", "horse", Horse),
    ):
        if key in before and before[key] != after.get(key):
            names = {
                one.pk: str(one)
                for one in model._default_manager.filter(
                    pk__in=[x for x in (before[key], after.get(key)) if x]
                )
            }
            now_it = names.get(after.get(key), "none")
            said.append(f"{words} {now_it}, was {names.get(before[key], 'none')}")
    return said
