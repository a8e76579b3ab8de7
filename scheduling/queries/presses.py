"""What was pressed on reset lists: what was kept, and photos."""

from datetime import date
from typing import Any

from scheduling.models import Press
from school.models import Lesson


def kept_presses(day: date) -> list[Press]:
    """Return what was pressed on a day's list and could not be done any more."""
    return list(
        Press.objects.filter(date=day, outcome=Press.Outcome.KEPT)
        .select_related(
            "by__person", "changeover__lesson", "changeover__before_work", "work__arena"
        )
        .order_by("pressed_at", "pk")
    )


def photos_of_day(day: date) -> dict[tuple[Any, Any], list[Press]]:
    """Return the photos of a day's trouble, by what they are of.

    Of a changeover its work; of work of the ground "work" and its key.
    """
    found: dict[tuple[Any, Any], list[Press]] = {}
    photos = Press.objects.filter(date=day, does=Press.Does.PHOTO).select_related(
        "changeover", "by__person"
    )
    for one in photos.order_by("pressed_at", "pk"):
        of = one.changeover
        key = of.work if of else ("work", one.work_id)
        found.setdefault(key, []).append(one)
    return found


def photos_for(lesson: Lesson) -> list[Press]:
    """Return the photos of trouble before a lesson, of whichever plan."""
    photos = Press.objects.filter(does=Press.Does.PHOTO, changeover__lesson=lesson)
    return list(photos.order_by("pressed_at", "pk"))
