"""Build sheets of exercises, on a page and as PDF; how any sheet is answered."""

from typing import Any

from django import forms
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from exercises.convert import spec_of
from exercises.geometry.fitting import fit_row
from exercises.geometry.strides import HorseSize
from exercises.geometry.strides import Tradition as Table
from exercises.models import Exercise
from school.convert import units_of
from school.enums import Tradition
from school.permissions import is_staff_of_yard
from school.queries.schools import the_school
from school.sheets.build_sheet import TEMPLATE, BuildSheet
from school.sheets.grids import exercise_sheet
from school.sheets.typeset import typeset
from school.web.access import allowed


class SizeForm(forms.Form):
    height_cm = forms.IntegerField(
        min_value=90, max_value=190, initial=165, label="Height of the horse, cm"
    )
    tradition = forms.ChoiceField(choices=Tradition.choices, label="Distances")


def sheet_page(
    request: HttpRequest, sheet: BuildSheet, *, pdf: str, back: str, **more: Any
) -> HttpResponse:
    """Answer with a sheet as a page that prints on one side of A4."""
    context = {"sheet": sheet, "pdf": pdf, "back": back} | more
    return render(request, "school/build_sheet.html", context)


def sheet_pdf(sheet: BuildSheet, name: str) -> HttpResponse:
    """Answer with a sheet as PDF."""
    made = typeset(TEMPLATE, sheet.as_data(), now=timezone.now())
    return answer_pdf(made, f"build-sheet-{name}")


def answer_pdf(made: bytes, name: str) -> HttpResponse:
    """Answer with a PDF that a browser shows, named for when it is kept."""
    response = HttpResponse(made, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


@allowed(is_staff_of_yard)
def exercise_build_sheet(request: HttpRequest, slug: str) -> HttpResponse:
    """Show the build sheet of an exercise for a horse of the height asked for."""
    form = _form(request)
    if not form.is_valid():
        return render(
            request, "school/build_sheet_size.html", {"form": form, "slug": slug},
            status=400,
        )  # fmt: skip
    asked = f"?height_cm={form.cleaned_data['height_cm']}"
    asked += f"&tradition={form.cleaned_data['tradition']}"
    return sheet_page(
        request,
        _sheet(slug, form),
        pdf=reverse("exercise-build-sheet-pdf", args=[slug]) + asked,
        back=reverse("exercise", args=[slug]),
        form=form,
    )


@allowed(is_staff_of_yard)
def exercise_build_sheet_pdf(request: HttpRequest, slug: str) -> HttpResponse:
    form = _form(request)
    if not form.is_valid():
        return render(
            request, "school/build_sheet_size.html", {"form": form, "slug": slug},
            status=400,
        )  # fmt: skip
    return sheet_pdf(_sheet(slug, form), slug)


def _form(request: HttpRequest) -> SizeForm:
    usual = {"height_cm": 165, "tradition": the_school().tradition}
    return SizeForm(usual | request.GET.dict())


def _sheet(slug: str, form: SizeForm) -> BuildSheet:
    exercise = Exercise.objects.select_related("current").filter(slug=slug).first()
    if exercise is None or exercise.current is None:
        raise Http404
    spec = spec_of(exercise.current)
    height_cm, tradition = (
        form.cleaned_data["height_cm"],
        Tradition(form.cleaned_data["tradition"]),
    )
    school = the_school()
    name = f"a horse of {units_of(school).horse(height_cm)}"
    row = fit_row(spec, [HorseSize(name, height_cm)], Table(tradition.value))
    return exercise_sheet(
        revision=exercise.current,
        spec=spec,
        row=row,
        for_whom=name,
        tradition=str(tradition.label),
        school=school,
        address=settings.BASE_URL + reverse("exercise", args=[slug]),
        now=timezone.now(),
    )
