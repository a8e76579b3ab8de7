"""Lessons that were only asked for, booked."""

from datetime import datetime

from django.db import transaction

from school.enums import LessonState
from school.models import Account, Lesson
from school.services import welfare
from school.services.lessons import change_state, check_held
from school.services.refusals import UnableToBook


def book_asked(
    *, lesson: Lesson, by: Account | None, now: datetime, overrule: str = ""
) -> Lesson:
    """Book a lesson that was only asked for, as any booking; twice is harmless.

    While asked for it holds nothing, so all rules are asked now, those of horses'
    work too.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        if fresh.state in {LessonState.BOOKED, LessonState.CONFIRMED}:
            return fresh
        if fresh.state != LessonState.ASKED:
            raise UnableToBook(
                "state",
                f"{fresh.title} is {fresh.get_state_display().lower()}; it can't be "
                "booked any more.",
                lesson=fresh.pk,
            )
        told = check_held(fresh, LessonState.BOOKED, by, overrule)
        change_state(fresh, LessonState.BOOKED, "", by, now)
        welfare.keep(told, fresh, overrule=overrule, by=by, now=now)
        return fresh
