"""Two terms, and what stands in the way in the second."""

from datetime import date

from school.models import LessonSeries, Term
from school.services.booking import book_lesson
from tests.clock import NOW, at
from tests.factories.people import InstructorFactory
from tests.factories.terms import TermFactory

FIRST_OF_SUMMER = date(2027, 5, 18)
"""The first Tuesday of the second term."""


def spring_term() -> Term:
    return TermFactory()


def next_term() -> Term:
    return TermFactory(
        name="Summer", first_date=date(2027, 5, 17), last_date=date(2027, 7, 11)
    )


def in_the_way(series: LessonSeries) -> None:
    """Book a lesson in a series' arena at its hour on its first day of summer."""
    book_lesson(
        title="In the way", kind="private", work="flat", minutes=60,
        arena=series.arena, starts_at=at("17:00", FIRST_OF_SUMMER),
        instructor=InstructorFactory(), by=None, now=NOW,
    )  # fmt: skip
