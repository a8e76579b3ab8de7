"""An instructor's papers that have ended by the day of a lesson: warned of or refused.

Instructors' licences and courses end on a day (330 CMR 16.02, Massachusetts, says so
of its licence; elsewhere local rules and the insurer say which papers count).
"""

from collections.abc import Sequence
from datetime import date, datetime

from school.enums import ExpiredPapers
from school.models import Account, Instructor, InstructorPaper, Lesson
from school.queries.audit import papers_overruled
from school.queries.schools import local_day, the_school
from school.services.audit import record
from school.services.refusals import UnableToBook, on_day

SOURCE = "330 CMR 16.02 (Massachusetts); elsewhere local rules and the insurer's"


def papers_ended(instructor: Instructor, day: date) -> list[InstructorPaper]:
    """Return an instructor's papers that have ended before a day.

    One query, or none where the instructor came with them.
    """
    ended = [one for one in instructor.papers.all() if one.expires_date < day]
    return sorted(ended, key=lambda one: (one.name, one.pk))


def paper_words(paper: InstructorPaper) -> str:
    """Say which paper of whom ended when."""
    name = paper.instructor.person.first_name
    return f"{name}'s {paper.name} ended on {on_day(paper.expires_date)}."


def check_papers(
    instructor: Instructor,
    starts_at: datetime,
    *,
    overrule: str = "",
    by: Account | None = None,
    only_warn: bool = False,
    lesson: int | None = None,
) -> list[InstructorPaper]:
    """Return the papers that have ended by a lesson's day, to be kept with it.

    What was overruled before for the `lesson` counts on, to the day it was given for.

    Raises
    ------
    UnableToBook
        `papers-end`, overridable, where the school refuses it and no reason is given.
    """
    rule = the_school().expired_papers
    if rule == ExpiredPapers.IGNORE:
        return []
    ended = papers_ended(instructor, local_day(starts_at))
    refuses = rule == ExpiredPapers.REFUSE and not only_warn
    reason_given = overrule.strip() and by is not None
    left = ended if refuses and not reason_given else []
    if left and lesson is not None:
        left = _not_overruled(left, lesson, local_day(starts_at))
    if left:
        says = [paper_words(one) for one in left]
        raise UnableToBook(
            "papers-end",
            " ".join(says) + " Choose another instructor, or note that it is renewed.",
            overridable=True,
            details=says,
            instructor=instructor.pk,
        )
    return ended


def _not_overruled(
    ended: Sequence[InstructorPaper], lesson: int, day: date
) -> list[InstructorPaper]:
    known = {
        (hit.get("instructor"), hit["paper"], hit["figure"])
        for hit in papers_overruled(lesson)
        if hit["limit"] >= day.isoformat()
    }
    return [
        one
        for one in ended
        if (one.instructor_id, one.name, one.expires_date.isoformat()) not in known
    ]


def keep_papers(
    ended: Sequence[InstructorPaper],
    lesson: Lesson,
    *,
    overrule: str,
    by: Account | None,
    now: datetime,
) -> None:
    """Write down what had ended by a lesson, and the reason to book it all the same."""
    if not ended:
        return
    refuses = the_school().expired_papers == ExpiredPapers.REFUSE
    reason = overrule.strip() if refuses and by is not None else ""
    hits: list[dict[str, object]] = [
        {
            "rule": "papers",
            "paper": one.name,
            "instructor": one.instructor_id,
            "figure": one.expires_date.isoformat(),
            "limit": local_day(lesson.starts_at).isoformat(),
            "source": SOURCE,
        }
        for one in ended
    ]
    more: dict[str, object] = {"reason": reason} if reason else {}
    record(
        by=by,
        at=now,
        action="overrule" if reason else "warned",
        subject=lesson,
        after={"hits": hits} | more,
    )


def paper_notes(lesson: Lesson) -> list[str]:
    """Say of a lesson which of its instructor's papers have ended by its day."""
    if the_school().expired_papers == ExpiredPapers.IGNORE:
        return []
    day = local_day(lesson.starts_at)
    return [paper_words(one) for one in papers_ended(lesson.instructor, day)]
