"""The page of what a place costs that was not ridden."""

from typing import cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from school.enums import Charge
from school.permissions import may_set_charges
from school.queries.schools import the_school
from school.services.charges import Charges, set_charges
from school.services.units import UnableToSet
from school.web.access import account_of, allowed


class ChargesForm(forms.Form):
    late_cancel_charge = forms.ChoiceField(
        choices=Charge.choices, label="A place given back after the free time"
    )
    no_show_charge = forms.ChoiceField(
        choices=Charge.choices, label="A rider who does not come"
    )
    late_lost_min = forms.IntegerField(
        label="Who comes later than so many minutes has lost the lesson"
    )
    lost_charge = forms.ChoiceField(
        choices=Charge.choices, label="A rider who comes too late to ride"
    )
    ended_counts_percent = forms.IntegerField(
        label="A lesson ended early counts as held from so much of its time (%)"
    )
    ended_rider_charge = forms.ChoiceField(
        choices=Charge.choices, label="Ended before that for a rider"
    )
    ended_horse_charge = forms.ChoiceField(
        choices=Charge.choices, label="Ended before that for a horse"
    )
    make_up_days = forms.IntegerField(
        label="Days in which a lesson is made up; 0 for no making up"
    )


@allowed(may_set_charges)
def charges_page(request: HttpRequest) -> HttpResponse:
    school = the_school()
    form = ChargesForm(
        request.POST or None,
        initial={name: getattr(school, name) for name in ChargesForm.base_fields},
    )
    refused = False
    if request.method == "POST" and form.is_valid():
        try:
            set_charges(
                charges=cast("Charges", form.cleaned_data),
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToSet as error:
            form.add_error(error.field, error.says)
            refused = True
        else:
            messages.success(request, "What is missed from now on costs this.")
            return redirect("charges")
    return render(
        request, "school/charges.html", {"form": form}, status=409 if refused else 200
    )
