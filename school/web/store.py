"""The page of what the store holds: what works and what is broken, and where."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from exercises.geometry.elements import Piece
from school.permissions import may_work_resets
from school.queries.audit import latest_of
from school.queries.store import store_by_place
from school.services.store import (
    HEAVIEST_G,
    MOST,
    PLACE_LETTERS,
    UnableToSetStore,
    set_store,
)
from school.web.access import account_of, allowed

COUNT = forms.NumberInput(attrs={"inputmode": "numeric"})


class HeldForm(forms.Form):
    """How many of a piece a place holds, and what stood there when it was shown."""

    piece = forms.ChoiceField(choices=[(one.value, one.value) for one in Piece])
    place = forms.CharField(label="Where it is kept", max_length=PLACE_LETTERS)
    working = forms.IntegerField(
        label="Work", min_value=0, max_value=MOST, widget=COUNT
    )
    broken = forms.IntegerField(
        label="Broken or lost", min_value=0, max_value=MOST, widget=COUNT
    )
    was_working = forms.IntegerField(required=False, widget=forms.HiddenInput())
    was_broken = forms.IntegerField(required=False, widget=forms.HiddenInput())


class NewPlaceForm(HeldForm):
    kg = forms.DecimalField(
        label="One weighs (kg)",
        min_value=0,
        max_value=HEAVIEST_G // 1000,
        max_digits=5,
        decimal_places=2,
    )


@allowed(may_work_resets)
def store_page(request: HttpRequest) -> HttpResponse:
    new: HeldForm = NewPlaceForm(initial={"broken": 0})
    status = 200
    if request.method == "POST":
        kind: type[HeldForm] = NewPlaceForm if "kg" in request.POST else HeldForm
        form = kind(request.POST)
        refused = _set(request, form) if form.is_valid() else _errors(form)
        if not refused:
            return redirect("store")
        messages.error(request, refused)
        status = 409
        new = form if kind is NewPlaceForm else new
    return render(
        request,
        "school/store.html",
        {"rows": store_by_place(), "new": new, "changes": latest_of("set store")},
        status=status,
    )


def _set(request: HttpRequest, form: forms.Form) -> str:
    """Set what was typed; return why it can't be, or nothing."""
    data = form.cleaned_data
    seen = (data["was_working"], data["was_broken"])
    kg = data.get("kg")
    try:
        one = set_store(
            piece=Piece(data["piece"]),
            place=data["place"],
            held=(data["working"], data["broken"]),
            seen=None if None in seen else seen,
            weight_g=None if kg is None else round(kg * 1000),
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToSetStore as error:
        return error.says
    messages.success(
        request,
        f"{one.place}: {one.working} that work, {one.broken} broken, of the piece "
        f"{one.piece}. Days are planned with what works.",
    )
    return ""


def _errors(form: forms.Form) -> str:
    return " ".join(
        f"{form.fields[name].label or name}: {' '.join(map(str, said))}"
        for name, said in form.errors.items()
    )
