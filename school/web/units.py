"""The school's units: for every template, and the page where they are set."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from exercises.geometry.units import METRIC, Units
from exercises.geometry.units import HeightUnit as PureHeight
from exercises.geometry.units import HorseUnit as PureHorse
from exercises.geometry.units import LengthUnit as PureLength
from school.convert import units_of
from school.enums import HeightUnit, HorseUnit, LengthUnit
from school.models import School
from school.permissions import is_manager
from school.queries.schools import the_school
from school.services.units import UnableToSet, set_units
from school.web.access import account_of, allowed


def units(request: HttpRequest) -> dict[str, Any]:
    """Give every template the school's units, asked for only where they are used."""

    def find() -> Units:
        school = School.objects.first()
        return units_of(school) if school else METRIC

    return {"units": SimpleLazyObject(find)}


class UnitsForm(forms.Form):
    length_unit = forms.ChoiceField(choices=LengthUnit.choices, label="Distances")
    height_unit = forms.ChoiceField(choices=HeightUnit.choices, label="Fences")
    first_hole_cm = forms.IntegerField(label="Lowest hole above the ground (cm)")
    hole_cm = forms.IntegerField(label="From one hole to the next (cm)")
    horse_unit = forms.ChoiceField(choices=HorseUnit.choices, label="Horses")

    def units(self) -> Units:
        """Return the units that were given."""
        data = self.cleaned_data
        return Units(
            PureLength(data["length_unit"]),
            PureHeight(data["height_unit"]),
            PureHorse(data["horse_unit"]),
            data["first_hole_cm"],
            data["hole_cm"],
        )


@allowed(is_manager)
def units_page(request: HttpRequest) -> HttpResponse:
    school = the_school()
    form = UnitsForm(
        request.POST or None,
        initial={name: getattr(school, name) for name in UnitsForm.base_fields},
    )
    refusal = ""
    if request.method == "POST" and form.is_valid():
        try:
            set_units(units=form.units(), by=account_of(request), now=timezone.now())
        except UnableToSet as error:
            refusal = error.says
        else:
            messages.success(request, "Every page and drawing is written so now.")
            return redirect("units")
    return render(
        request,
        "school/units.html",
        {"form": form, "refusal": refusal},
        status=409 if refusal else 200,
    )
