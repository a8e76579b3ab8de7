"""Build sheets of lessons: the row on its line, as the published plan places it."""

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from exercises.geometry.data import element_from_data
from scheduling.changeover.effort import handling_from
from scheduling.changeover.moves import Changeover, Do
from scheduling.changeover.setups import Place
from scheduling.changeover.stages import stage_changeovers
from scheduling.queries.plans import planned_place
from scheduling.sheets.places import tape_place
from scheduling.wording import duration_words
from school.convert import stages_of, units_of
from school.models import Lesson, LessonGrid, School
from school.permissions import is_staff_of_yard
from school.queries.lessons import lesson_with_all
from school.queries.schools import the_school
from school.sheets.build_sheet import FROM_THE_FIRST, BuildSheet
from school.sheets.grids import lesson_sheet
from school.web.access import allowed
from school.web.build_sheets import sheet_page, sheet_pdf


@allowed(is_staff_of_yard)
def lesson_build_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(pk)
    back = reverse("lesson", args=[pk])
    grid = getattr(lesson, "grid", None)
    if grid is None:
        return redirect(f"{back}#grid")
    return sheet_page(
        request,
        _sheet(lesson, grid),
        pdf=reverse("lesson-build-sheet-pdf", args=[pk]),
        back=back,
    )


@allowed(is_staff_of_yard)
def lesson_build_sheet_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(pk)
    grid = getattr(lesson, "grid", None)
    if grid is None:
        return redirect(f"{reverse('lesson', args=[pk])}#grid")
    return sheet_pdf(_sheet(lesson, grid), f"lesson-{pk}")


def _lesson(pk: int) -> Lesson:
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    return lesson


def _sheet(lesson: Lesson, grid: LessonGrid) -> BuildSheet:
    planned, school = planned_place(lesson, grid), the_school()
    place, where = FROM_THE_FIRST, ""
    if planned is not None and planned.line is not None:
        place = tape_place(planned, grid)
        aside = units_of(school).length(planned.line.from_long_side_cm)
        where = (
            f"{planned.line.arena.name}, {planned.line.name}, {aside} from the long "
            "side"
        )
    return lesson_sheet(
        lesson=lesson,
        grid=grid,
        school=school,
        address=settings.BASE_URL + reverse("lesson", args=[lesson.pk]),
        now=timezone.now(),
        place=place,
        where=where,
        work=_work(grid, school),
    )


def _work(grid: LessonGrid, school: School) -> list[str]:
    """Say what it takes to reach each stage from the one before."""
    stages = stages_of(grid)
    row_cm = max(element_from_data(one).landing_cm for one in grid.start)
    made = stage_changeovers(
        [one.elements for one in stages],
        row_cm,
        Place(0, False),
        handling_from(school.handling),
    )
    return [_work_words(one) for one in made]


def _work_words(one: Changeover) -> str:
    moves = sum(move.do is not Do.KEEP for move in one.moves)
    minutes = duration_words(one.seconds)
    return f"{minutes} for {moves} move{'' if moves == 1 else 's'}"
