"""An instructor whose papers have ended by the lesson's day: warned of, or refused.

That an instructor's licence ends on a day, and must be renewed: 330 CMR 16.02
(Massachusetts), in the handbook of facts with grade (a).
"""

from datetime import timedelta
from typing import Any

import pytest

from school.models import AuditEntry, Instructor, InstructorPaper, Lesson, School
from school.services.booking import book_lesson
from school.services.lessons import UnableToBook, move_lesson
from school.services.papers import paper_notes
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def ines() -> Instructor:
    """Ines, whose first aid ended the day before the Saturday."""
    SchoolFactory()
    instructor = InstructorFactory(person__first_name="Ines")
    InstructorPaper.objects.create(
        instructor=instructor,
        name="First aid",
        expires_date=SATURDAY - timedelta(days=1),
    )
    return instructor


def book(instructor: Instructor, **changes: Any) -> Lesson:
    fields: dict[str, Any] = {
        "title": "Evening jump",
        "kind": "private",
        "work": "jumping",
        "starts_at": at("11:00"),
        "minutes": 60,
        "arena": ArenaFactory(),
        "by": None,
        "now": NOW,
    } | changes
    return book_lesson(instructor=instructor, **fields)


def test_a_paper_that_has_ended_refuses_a_booking_in_words(ines: Instructor) -> None:
    with pytest.raises(UnableToBook) as caught:
        book(ines)

    assert (caught.value.code, caught.value.overridable) == ("papers-end", True)
    assert "Ines's First aid ended on 5 March 2027." in caught.value.says


def test_it_holds_on_its_last_day(ines: Instructor) -> None:
    InstructorPaper.objects.update(expires_date=SATURDAY)

    assert book(ines).pk


def test_a_reason_is_kept_with_the_name(ines: Instructor) -> None:
    lesson = book(ines, by=AccountFactory(manager=True), overrule="course on Monday")

    entry = AuditEntry.objects.get(action="overrule", subject_id=lesson.pk)
    (hit,) = entry.after["hits"]
    assert entry.after["reason"] == "course on Monday"
    assert (hit["rule"], hit["figure"], hit["limit"]) == (
        "papers", "2027-03-05", "2027-03-06",
    )  # fmt: skip


def test_where_the_school_only_warns_it_is_booked_and_said(ines: Instructor) -> None:
    School.objects.update(expired_papers="warn")

    lesson = book(ines)

    assert paper_notes(lesson) == ["Ines's First aid ended on 5 March 2027."]
    assert AuditEntry.objects.filter(action="warned").count() == 1


def test_where_the_school_says_nothing_nothing_is_said(ines: Instructor) -> None:
    School.objects.update(expired_papers="ignore")

    assert paper_notes(book(ines)) == []


def test_a_move_to_a_day_after_the_end_is_refused(ines: Instructor) -> None:
    lesson = book(ines, starts_at=at("11:00", SATURDAY - timedelta(days=1)))

    with pytest.raises(UnableToBook, match="First aid ended"):
        move_lesson(
            lesson=lesson, starts_at=at("11:00"), version=lesson.version, by=None,
            now=NOW,
        )  # fmt: skip


def test_a_move_within_the_day_is_not_held_against_it(ines: Instructor) -> None:
    School.objects.update(expired_papers="warn")
    lesson = book(ines)
    School.objects.update(expired_papers="refuse")

    moved = move_lesson(
        lesson=lesson, starts_at=at("14:00"), version=lesson.version, by=None, now=NOW
    )

    assert moved.starts_at == at("14:00")
