"""The exercise pages behind the school's sign-in: exercises know no accounts."""

from django.http import HttpRequest, HttpResponse
from django.urls import path

from exercises.web.exercises import exercise_list, exercise_page
from school.convert import units_of
from school.permissions import is_staff_of_yard
from school.queries.schools import the_school
from school.web import exercises
from school.web.access import allowed
from school.web.attaching import attaching
from school.web.build_sheets import exercise_build_sheet, exercise_build_sheet_pdf


@allowed(is_staff_of_yard)
def exercise_search(request: HttpRequest) -> HttpResponse:
    return exercise_list(request, units_of(the_school()), attaching(request))


@allowed(is_staff_of_yard)
def exercise(request: HttpRequest, slug: str) -> HttpResponse:
    return exercise_page(request, slug, units_of(the_school()))


urlpatterns = [
    path("exercises/", exercise_search, name="exercises"),
    path("exercises/<slug:slug>/", exercise, name="exercise"),
    path(
        "exercises/<slug:slug>/build-sheet/",
        exercise_build_sheet,
        name="exercise-build-sheet",
    ),
    path(
        "exercises/<slug:slug>/build-sheet.pdf",
        exercise_build_sheet_pdf,
        name="exercise-build-sheet-pdf",
    ),
    path("exercises/<slug:slug>/take-librarys/", exercises.take, name="take-librarys"),
    path("exercises/<slug:slug>/keep-ours/", exercises.keep, name="keep-ours"),
]
