"""Forms of a rider's page."""

from typing import Any

from django import forms

from school.enums import ConsentKind, Level
from school.models import Person, Rider
from school.queries.guardians import signers_of


def day_input() -> forms.DateInput:
    """Return a field's widget for a day, as browsers take it."""
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class FactsForm(forms.Form):
    weight_kg = forms.IntegerField(min_value=10, max_value=180, label="Weight (kg)")
    height_cm = forms.IntegerField(
        min_value=70, max_value=230, required=False, label="Height (cm)"
    )
    emergency_name = forms.CharField(max_length=120, label="In an emergency, call")
    emergency_phone = forms.CharField(max_length=30, label="Their telephone")
    health = forms.CharField(
        required=False,
        max_length=4000,
        label="Health the lesson's instructor must know of",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class ConsentForm(forms.Form):
    kind = forms.ChoiceField(
        choices=ConsentKind.choices, initial=ConsentKind.RIDING, label="To what"
    )
    given_by = forms.ModelChoiceField(
        Person.objects.none(), empty_label=None, label="Who signed"
    )
    given_date = forms.DateField(widget=day_input(), label="Signed on")
    expires_date = forms.DateField(widget=day_input(), label="Last day it holds")
    name = forms.CharField(
        max_length=80, required=False, label="In other words (optional)"
    )

    def __init__(self, *args: Any, rider: Rider, minor: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        keys = {one.pk for one in signers_of(rider, minor=minor)}
        self.fields["given_by"] = forms.ModelChoiceField(
            Person.objects.filter(pk__in=keys).order_by("first_name", "pk"),
            empty_label=None,
            label="Who signed",
        )


class GuardianForm(forms.Form):
    first_name = forms.CharField(max_length=60, label="First name")
    last_name = forms.CharField(max_length=60, required=False, label="Last name")
    relation = forms.CharField(
        max_length=40, label="What they are to the rider (father, grandmother)"
    )
    phone = forms.CharField(max_length=30, required=False, label="Telephone")
    email = forms.EmailField(required=False, label="Mail address")
    gets_mail = forms.BooleanField(
        required=False,
        label="Wishes for a copy of mails about this rider's lessons and consents",
    )


class WithdrawForm(forms.Form):
    consent = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        max_length=200, label="Who withdraws it, and how did you hear?"
    )


class StopForm(forms.Form):
    reason = forms.CharField(
        max_length=200, label="Why (seen as health is: manager and instructor)"
    )
    not_before_date = forms.DateField(
        widget=day_input(), required=False, label="Not to be lifted before (optional)"
    )


class LiftForm(forms.Form):
    reason = forms.CharField(max_length=200, label="Who said that they may ride again?")
    sooner = forms.BooleanField(
        required=False, label="Sooner than was noted, and meant so"
    )


class LevelForm(forms.Form):
    level = forms.ChoiceField(choices=Level.choices, label="Level")
    highest_fence_cm = forms.IntegerField(
        min_value=0, max_value=160, label="Highest fence (cm)"
    )
    note = forms.CharField(max_length=200, required=False, label="What was seen")
