"""Changes of a lesson's grid, for that lesson alone: made, judged, undone."""

from collections.abc import Callable, Mapping
from datetime import datetime

from django.db import transaction

from exercises.geometry.spec import (
    ExerciseSpec,
    InvalidExercise,
    read_spec,
    spec_as_data,
)
from school.convert import spec_of_grid
from school.models import Account, Lesson, LessonGrid
from school.services.audit import record
from school.services.grids import (
    Fitted,
    UnableToAttach,
    check_work,
    fit_lesson,
    keep_fit,
)
from school.services.welfare import told_of_lesson

MOST_CHANGES = 50
"""Changes kept for a lesson; beyond this the oldest can't be undone any more."""

Alter = Callable[[Fitted], ExerciseSpec]
"""Makes the exercise as it shall be of how it is fitted now."""


def change_grid(
    *,
    lesson: Lesson,
    alter: Alter,
    says: str,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
    remedy: str = "",
) -> LessonGrid:
    """Change a lesson's grid for this lesson; the exercise stays as it is.

    The row is fitted and judged anew: what does not fit then is refused, as when
    a grid is attached, and what was overruled before stays so while it is the
    same. A change that changes nothing is harmless.

    Raises
    ------
    UnableToAttach
        Without a grid, and for what does not fit.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        grid = grid_of(fresh)
        before = spec_of_grid(grid)
        after = _checked(fresh, alter(fit_lesson(fresh, grid, before, riding=True)))
        if after == before:
            return grid
        grid.changes = [
            *grid.changes,
            {
                "says": says,
                "by": by.username if by else "",
                "at": now.isoformat(),
                "spec": spec_as_data(after),
            },
        ][-MOST_CHANGES:]
        fitted = fit_lesson(fresh, grid, after, riding=True)
        was = told_of_lesson(fresh)
        keep_fit(grid, fitted, overrides or {}, by=by, now=now, remedy=remedy)
        check_work(fresh, was, by=by, now=now)
        record(by=by, at=now, action="change grid", subject=fresh, after={"says": says})
        return grid


def _checked(lesson: Lesson, spec: ExerciseSpec) -> ExerciseSpec:
    try:
        return read_spec(spec_as_data(spec))
    except InvalidExercise as error:
        raise UnableToAttach(f"{lesson.title}: that can't be built: {error}") from error


def undo_grid_change(
    *, lesson: Lesson, by: Account | None, now: datetime
) -> LessonGrid:
    """Take a grid's last change back; with none left this is harmless."""
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        grid = grid_of(fresh)
        if not grid.changes:
            return grid
        *grid.changes, last = grid.changes
        fitted = fit_lesson(fresh, grid, spec_of_grid(grid), riding=True)
        keep_fit(grid, fitted, {}, by=by, now=now)
        record(
            by=by,
            at=now,
            action="undo grid change",
            subject=fresh,
            before={"says": last["says"]},
        )
        return grid


def refit_grid(
    *,
    lesson: Lesson,
    by: Account | None,
    now: datetime,
    overrides: Mapping[str, str] | None = None,
) -> LessonGrid:
    """Fit a lesson's grid to its horses as they are now."""
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        grid = grid_of(fresh)
        fitted = fit_lesson(fresh, grid, spec_of_grid(grid), riding=True)
        keep_fit(grid, fitted, overrides or {}, by=by, now=now)
        record(by=by, at=now, action="refit grid", subject=fresh)
        return grid


def grid_of(lesson: Lesson) -> LessonGrid:
    """Return a lesson's grid.

    Raises
    ------
    UnableToAttach
        Where it has none.
    """
    grid = (
        LessonGrid.objects.select_related("revision__exercise")
        .filter(lesson=lesson)
        .first()
    )
    if grid is None:
        raise UnableToAttach(f"{lesson.title} has no grid: attach one first.")
    return grid
