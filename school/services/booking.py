"""Books a lesson with the grid it was asked for, both or neither."""

from datetime import datetime
from typing import Any

from django.db import transaction

from exercises.geometry.fit import Fit
from exercises.models import ExerciseRevision
from school.models import Account, Lesson, LessonGrid
from school.services.grids import UnableToAttach, attach_grid
from school.services.lessons import book_lesson
from school.services.refusals import UnableToBook


def book_with_grid(
    *,
    revision: ExerciseRevision | None,
    by: Account | None,
    now: datetime,
    overrule: str = "",
    **lesson: Any,
) -> Lesson:
    """Book a lesson, and attach a grid that is fitted anew to its horses.

    Without a revision it is `book_lesson`, whose other arguments are taken as they
    are. `overrule` counts for the horses' work of both.

    Raises
    ------
    UnableToBook
        Also where the grid does not fit, which is overruled on the lesson's own page.
    """
    with transaction.atomic():
        booked = book_lesson(by=by, now=now, overrule=overrule, **lesson)
        if revision is not None:
            try:
                attach_grid(
                    lesson=booked, revision=revision, by=by, now=now, overrule=overrule
                )
            except UnableToAttach as error:
                if error.work is not None:
                    raise error.work from error
                raise UnableToBook(
                    "grid",
                    f"{error.says} Or book it without the grid, and see to that on "
                    "the lesson's page.",
                    field="exercise",
                ) from error
        return booked


def looked_at(lesson: Lesson) -> list[str]:
    """Return what is to be looked at in a lesson's grid as it was fitted."""
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    if grid is None:
        return []
    return [
        f"{one['says']} {one['cure']}".strip()
        for one in grid.fitted.get("verdicts", [])
        if one["fit"] == Fit.LOOK
    ]
