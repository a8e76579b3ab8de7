"""The page of what a place costs that was not ridden."""

from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from school.enums import Charge
from school.permissions import may_set_charges
from school.queries.schools import the_school
from school.services.charges import Charges, set_charges
from school.web.access import account_of, allowed
from school.web.setting import as_set, settings_page


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
    form = ChargesForm(request.POST or None, initial=as_set(the_school(), ChargesForm))

    def set_(data: dict[str, Any]) -> None:
        set_charges(
            charges=cast("Charges", data), by=account_of(request), now=timezone.now()
        )

    says = "What is missed from now on costs this."
    return settings_page(request, form, set_, page="charges", says=says)
