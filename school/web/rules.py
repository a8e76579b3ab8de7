"""The page of the numbers a school runs by."""

from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from school.enums import ExpiredPapers
from school.permissions import is_manager
from school.queries.schools import the_school
from school.services.rules import Rules, set_rules
from school.web.access import account_of, allowed
from school.web.setting import as_set, settings_page


class RulesForm(forms.Form):
    notice_hours = forms.IntegerField(
        label="Clients cancel free of charge until so many hours before"
    )
    arrive_before_min = forms.IntegerField(
        label="Clients are asked to come so many minutes before"
    )
    min_horse_age_years = forms.IntegerField(
        label="No horse younger than this is booked (years)"
    )
    of_age_years = forms.IntegerField(
        label="Under this age a rider needs a guardian's consent (years)"
    )
    expired_papers = forms.ChoiceField(
        choices=ExpiredPapers.choices,
        label="A lesson on whose day a paper of its instructor has ended",
    )
    leaders = forms.IntegerField(
        label="Lead-rein: so many can lead a horse on foot at once"
    )
    lead_rein_from_years = forms.IntegerField(
        label="Nobody younger than this rides, led or not (years)"
    )
    alone_from_years = forms.IntegerField(
        label="Under this age on the lead-rein only; 0 for no such rule (years)"
    )
    lead_rein_fence_cm = forms.IntegerField(
        label="The highest cross that is ridden led (cm)"
    )
    freeze_min = forms.IntegerField(
        label="The planner leaves lessons alone that begin within (minutes)"
    )
    moved_start_s = forms.IntegerField(
        label="Another start counts as so much changing of fences (seconds)"
    )
    moved_arena_s = forms.IntegerField(
        label="Another arena counts as so much changing of fences (seconds)"
    )
    country = forms.CharField(
        max_length=2, required=False, label="Country, for public holidays (NL or DE)"
    )
    region = forms.CharField(
        max_length=10, required=False, label="Region, where holidays differ (BY, say)"
    )
    latitude = forms.FloatField(
        required=False, label="Latitude in degrees, north positive, for daylight"
    )
    longitude = forms.FloatField(
        required=False, label="Longitude in degrees, east positive"
    )

    def clean_country(self) -> str:
        """Return the country as its two capital letters."""
        return str(self.cleaned_data["country"]).strip().upper()

    def clean_region(self) -> str:
        """Return the region as it is listed, in capitals."""
        return str(self.cleaned_data["region"]).strip().upper()


@allowed(is_manager)
def rules_page(request: HttpRequest) -> HttpResponse:
    form = RulesForm(request.POST or None, initial=as_set(the_school(), RulesForm))

    def set_(data: dict[str, Any]) -> None:
        set_rules(rules=cast("Rules", data), by=account_of(request), now=timezone.now())

    says = "The school runs by these numbers now."
    return settings_page(request, form, set_, page="rules", says=says)
