from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Prefetch

from school.models import (
    AuditEntry,
    Horse,
    Incident,
    Instructor,
    InstructorPaper,
    Lesson,
    WelfareOverride,
)
from school.welfare.rules import RULE
from school.welfare.words import number

TAKEN_OFF = "take paper off"
"""What the audit calls a paper that was taken off the register."""

SOON = timedelta(days=60)
"""So long before its end a paper is warned of."""


def horses_with_papers() -> list[Horse]:
    """Return every horse by name, with what identifies it, in one query."""
    return list(Horse.objects.select_related("papers").order_by("name"))


def instructors_with_papers() -> list[Instructor]:
    """Return every instructor with their papers, the first to end first."""
    papers = InstructorPaper.objects.order_by("expires_date", "pk")
    return list(
        Instructor.objects.select_related("person")
        .prefetch_related(Prefetch("papers", queryset=papers))
        .order_by("person__first_name", "pk")
    )


def paper_state(paper: InstructorPaper, today: date) -> str:
    """Say whether a paper is over, ends soon, or is in order."""
    if paper.expires_date < today:
        return "over"
    return "soon" if paper.expires_date <= today + SOON else ""


def earlier_ends() -> dict[int, list[str]]:
    """Return by paper until which days it was valid before it was renewed.

    The last first, as the audit has it; an inspector asks what held on a day past.
    """
    renewed = AuditEntry.objects.filter(
        action="note paper", subject="instructorpaper", before__isnull=False
    ).order_by("-at", "-pk")
    found: dict[int, list[str]] = {}
    for key, before in renewed.values_list("subject_id", "before"):
        found.setdefault(int(key), []).append(str((before or {})["expires_date"]))
    return found


def papers_taken_off() -> list[AuditEntry]:
    """Return the papers that were taken off, the last first, as the audit has them.

    `before` says whose each was and until when it held, `after` why it was taken off.
    """
    entries = AuditEntry.objects.filter(action=TAKEN_OFF, subject="instructorpaper")
    return list(entries.select_related("by__person").order_by("-at", "-pk"))


@dataclass(frozen=True, slots=True)
class Overruled:
    """A limit that was overruled: for which lesson and whom, by whom and why."""

    at: datetime
    by: str
    lesson: Lesson
    who: str
    rule: str
    figure: str
    limit: str
    reason: str


def overruled() -> list[Overruled]:
    """Return every limit of horses' work, or end of a paper, overruled; last first.

    Three queries.
    """
    given = WelfareOverride.objects.select_related("lesson", "horse", "by__person")
    found = [
        Overruled(
            one.at,
            str(one.by.person or one.by.username),
            one.lesson,
            one.horse.name,
            RULE[one.rule].label,
            number(one.figure),
            number(one.limit),
            one.reason,
        )
        for one in given
    ]
    found += _papers_overruled()
    return sorted(found, key=lambda one: one.at, reverse=True)


def _papers_overruled() -> list[Overruled]:
    entries = AuditEntry.objects.filter(
        action="overrule", subject="lesson"
    ).select_related("by__person")
    hits = [
        (entry, hit)
        for entry in entries
        for hit in (entry.after or {}).get("hits", [])
        if hit["rule"] == "papers"
    ]
    lessons = Lesson.objects.select_related("instructor__person").in_bulk(
        [int(entry.subject_id) for entry, _ in hits]
    )
    return [
        Overruled(
            entry.at,
            "" if entry.by is None else str(entry.by.person or entry.by.username),
            lesson,
            str(lesson.instructor),
            f"A paper valid on the day: {hit['paper']}",
            hit["figure"],
            hit["limit"],
            (entry.after or {})["reason"],
        )
        for entry, hit in hits
        if (lesson := lessons.get(int(entry.subject_id))) is not None
    ]


def incidents() -> list[Incident]:
    """Return every incident with what was added to it, the newest first."""
    with_all = Incident.objects.select_related("horse", "noted_by__person")
    return list(
        with_all.filter(adds_to=None)
        .prefetch_related(
            Prefetch("additions", queryset=with_all.order_by("noted_at", "pk"))
        )
        .order_by("-happened_at", "-pk")
    )
