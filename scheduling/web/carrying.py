"""The page of how a yard carries: kilograms, helpers, and the store's place."""

from calendar import day_name
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from scheduling.services.carrying import StorePlace, set_carrying
from school.models import Arena, Groundsperson, School
from school.permissions import is_manager
from school.queries.schools import the_school
from school.services.units import UnableToSet
from school.web.access import account_of, allowed


class CarryingForm(forms.Form):
    carries_kg = forms.IntegerField(label="One person carries at once (kg)")
    helpers = forms.IntegerField(label="How many help those who do not work alone")

    def __init__(
        self,
        data: Any,
        *,
        school: School,
        arenas: list[Arena],
        people: list[Groundsperson],
    ) -> None:
        initial = {"carries_kg": school.carries_kg, "helpers": school.helpers}
        super().__init__(data, initial=initial)
        self.arenas, self.people = arenas, people
        for person in people:
            self.fields[f"alone_{person.pk}"] = forms.TypedMultipleChoiceField(
                label=f"{person.person.first_name} works alone on",
                choices=[(str(n), day) for n, day in enumerate(day_name)],
                coerce=int,
                required=False,
                widget=forms.CheckboxSelectMultiple,
                initial=[str(n) for n in range(7) if person.alone_days >> n & 1],
            )
        for one in arenas:
            for name in ("along", "across"):
                cm = getattr(one, f"store_{name}_cm")
                self.fields[f"{name}_{one.pk}"] = forms.DecimalField(
                    label=f"Store of {one.name}, {name} (m)",
                    required=False,
                    max_digits=6,
                    decimal_places=2,
                    initial=None if cm is None else cm / 100,
                )

    def clean(self) -> dict[str, Any]:
        """Ask for both measures of a place, or neither."""
        data: dict[str, Any] = super().clean() or {}
        for one in self.arenas:
            along, across = data.get(f"along_{one.pk}"), data.get(f"across_{one.pk}")
            if (along is None) != (across is None):
                self.add_error(f"along_{one.pk}", "Give both, or neither.")
        return data

    def alone(self) -> dict[int, list[int]]:
        """Return by groundsperson on which weekdays nobody helps."""
        return {one.pk: self.cleaned_data[f"alone_{one.pk}"] for one in self.people}

    def places(self) -> dict[int, StorePlace | None]:
        """Return the store's place by arena."""
        data, found = self.cleaned_data, dict[int, StorePlace | None]()
        for one in self.arenas:
            along, across = data[f"along_{one.pk}"], data[f"across_{one.pk}"]
            found[one.pk] = (
                None
                if along is None
                else StorePlace(round(along * 100), round(across * 100))
            )
        return found


@allowed(is_manager)
def carrying_page(request: HttpRequest) -> HttpResponse:
    arenas = list(Arena.objects.order_by("name", "pk"))
    people = list(Groundsperson.objects.select_related("person").order_by("pk"))
    form = CarryingForm(
        request.POST or None, school=the_school(), arenas=arenas, people=people
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            set_carrying(
                carries_kg=data["carries_kg"],
                helpers=data["helpers"],
                places=form.places(),
                alone=form.alone(),
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToSet as refused:
            form.add_error(refused.field, refused.says)
        else:
            messages.success(request, "The reset lists are walked by this now.")
            return redirect("carrying")
    return render(
        request,
        "scheduling/carrying.html",
        {"form": form},
        status=409 if form.is_bound else 200,
    )
