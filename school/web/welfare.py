"""The limits of horses' work on one page, and the heat of days."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from school.convert import house_of
from school.models import Lesson, School
from school.permissions import is_manager, may_note_heat
from school.queries.heat import heat_around
from school.queries.horses import overrides_of
from school.queries.schools import the_school
from school.services.heat import note_heat
from school.services.rules import set_welfare
from school.services.units import UnableToSet
from school.services.welfare import told_of_lesson
from school.web.access import account_of, allowed
from school.welfare.rules import RULE, RULES, Bounds
from school.welfare.words import number

SET = tuple(one for one in RULES if one.name != "day-off")
"""Rules with figures to set; days off are each horse's own."""


class WelfareForm(forms.Form):
    tacked_up_min = forms.IntegerField(
        label="A gap between two lessons counts as work up to (minutes)"
    )
    gear_kg = forms.IntegerField(
        label="Clothes and saddle, added to a rider's weight (kg)"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for rule in SET:
            for side in ("warn", "refuse"):
                self.fields[f"{rule.name}-{side}"] = forms.FloatField(
                    required=False,
                    widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 6}),
                    label=f"{rule.label}: {side}",
                )

    def bounds(self) -> dict[str, Bounds]:
        """Return the figures given, by rule."""
        data = self.cleaned_data
        return {
            one.name: Bounds(data[f"{one.name}-warn"], data[f"{one.name}-refuse"])
            for one in SET
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return each rule with its two fields, for the page."""
        return [
            {
                "rule": one,
                "warn": self[f"{one.name}-warn"],
                "refuse": self[f"{one.name}-refuse"],
                "side": "below" if one.at_least else "above",
                "usual": _usual(one.usual),
            }
            for one in SET
        ]


def _usual(bounds: Bounds) -> str:
    said = [
        f"{verb} at {number(value)}"
        for verb, value in (("warn", bounds.warn), ("refuse", bounds.refuse))
        if value is not None
    ]
    return ", ".join(said)


def _as_set(school: School) -> dict[str, Any]:
    house = house_of(school)
    values: dict[str, Any] = {
        "tacked_up_min": school.tacked_up_min,
        "gear_kg": school.gear_kg,
    }
    for rule in SET:
        bounds = house.of(rule.name)
        for side, value in (("warn", bounds.warn), ("refuse", bounds.refuse)):
            values[f"{rule.name}-{side}"] = "" if value is None else number(value)
    return values


@allowed(is_manager)
def welfare_page(request: HttpRequest) -> HttpResponse:
    school = the_school()
    form = WelfareForm(request.POST or None, initial=_as_set(school))
    refused = request.method == "POST" and not form.is_valid()
    if request.method == "POST" and form.is_valid():
        try:
            set_welfare(
                bounds=form.bounds(),
                tacked_up_min=form.cleaned_data["tacked_up_min"],
                gear_kg=form.cleaned_data["gear_kg"],
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToSet as error:
            form.add_error(error.field, error.says)
            refused = True
        else:
            messages.success(request, "Bookings are held against these limits now.")
            return redirect("welfare")
    return render(
        request,
        "school/welfare.html",
        {"form": form, "school": school},
        status=409 if refused else 200,
    )


def lesson_welfare(lesson: Lesson) -> dict[str, Any]:
    """Return what a lesson's page says of its horses' work, to whom it may."""
    overruled = overrides_of(lesson)
    known = {(one.horse_id, one.rule) for one in overruled}
    return {
        "welfare": [
            {"says": one.says, "refuses": one.hit.refuses}
            for one in told_of_lesson(lesson)
            if (one.horse.pk, one.hit.rule) not in known
        ],
        "overruled_rules": [
            {
                "rule": RULE[one.rule].label,
                "horse": one.horse.name,
                "figure": number(one.figure),
                "limit": number(one.limit),
                "reason": one.reason,
                "who": one.by.person.first_name if one.by.person else one.by.username,
                "at": one.at,
            }
            for one in overruled
        ],
    }


class HeatForm(forms.Form):
    date = forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), label="Day"
    )
    temperature = forms.IntegerField(label="Degrees Celsius in the shade")
    humidity = forms.IntegerField(label="Per cent of humidity")


@allowed(may_note_heat)
def heat_page(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    form = HeatForm(request.POST or None, initial={"date": today})
    refused = request.method == "POST" and not form.is_valid()
    if request.method == "POST" and form.is_valid():
        try:
            noted = note_heat(
                day=form.cleaned_data["date"],
                temperature_c=form.cleaned_data["temperature"],
                humidity_pct=form.cleaned_data["humidity"],
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToSet as error:
            form.add_error(error.field, error.says)
            refused = True
        else:
            messages.success(request, f"Noted for {noted.date:%A} {noted.date.day}.")
            return redirect("heat")
    school = the_school()
    context = {
        "form": form,
        "days": heat_around(school, today),
        "bounds": house_of(school).of("heat"),
        "manager": is_manager(account_of(request)),
    }
    return render(request, "school/heat.html", context, status=409 if refused else 200)
