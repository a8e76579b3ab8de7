"""The page of what the store holds: what works and what is broken, and where."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from exercises.geometry.elements import Piece
from exercises.geometry.store import (
    WHOLE_YARD,
    Kept,
    Need,
    Store,
    Use,
    most_needed,
    own_of,
)
from school.convert import store_of, use_of
from school.models import Arena, AuditEntry, KeepingPlace, StorePiece
from school.permissions import may_work_resets
from school.queries.audit import latest_of
from school.queries.lessons import day_bounds
from school.queries.schools import school_zone
from school.queries.store import grids_ridden, store_by_place
from school.services.store import (
    HEAVIEST_G,
    MOST,
    PLACE_LETTERS,
    UnableToSetStore,
    set_beside,
    set_store,
)
from school.web.access import account_of, allowed

WEEK_DAYS = 7
"""Today and the days after it that the page looks at."""

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


class BrokeForm(forms.Form):
    """Some more of a piece that broke or were lost, and what stood there."""

    piece = forms.ChoiceField(choices=[(one.value, one.value) for one in Piece])
    place = forms.CharField(max_length=PLACE_LETTERS)
    broke = forms.IntegerField(label="Broken", min_value=1, max_value=MOST)
    was_working = forms.IntegerField(min_value=0)
    was_broken = forms.IntegerField(min_value=0)

    def clean(self) -> dict[str, Any]:
        """Say as any other count what works and what is broken then."""
        data: dict[str, Any] = super().clean() or {}
        if not self.errors:
            broke = data["broke"]
            if broke > data["was_working"]:
                self.add_error("broke", f"Only {data['was_working']} of them work.")
            data["working"] = data["was_working"] - broke
            data["broken"] = data["was_broken"] + broke
        return data


class NewPlaceForm(HeldForm):
    kg = forms.DecimalField(
        label="One weighs (kg)",
        min_value=0,
        max_value=HEAVIEST_G // 1000,
        max_digits=5,
        decimal_places=2,
    )
    beside = forms.ModelChoiceField(
        Arena.objects.order_by("name", "pk"),
        required=False,
        label="If the place is new: whose own it is",
        empty_label="the whole yard's",
    )


class BesideForm(forms.Form):
    """Whose own the pieces of a place are."""

    keeping = forms.ModelChoiceField(KeepingPlace.objects.order_by("pk"))
    beside = forms.ModelChoiceField(
        Arena.objects.order_by("name", "pk"), required=False
    )


@allowed(may_work_resets)
def store_page(request: HttpRequest) -> HttpResponse:
    new: forms.Form = NewPlaceForm(initial={"broken": 0})
    status = 200
    if request.method == "POST":
        form = _sent(request)
        refused = _set(request, form) if form.is_valid() else _errors(form)
        if not refused:
            return redirect("store")
        messages.error(request, refused)
        status = 409
        new = form if isinstance(form, NewPlaceForm) else new
    rows, changes = store_by_place(), latest_of("set store")
    now = timezone.now()
    context = {
        "yards": _by_arena(rows, changes, now),
        "arenas": list(Arena.objects.order_by("name", "pk")),
        "new": new,
        "changes": changes,
        "week_to": now + timedelta(days=WEEK_DAYS - 1),
    }
    return render(request, "school/store.html", context, status=status)


def _sent(request: HttpRequest) -> forms.Form:
    """Return the form that was pressed, by what only it sends."""
    kinds: dict[str, type[forms.Form]] = {
        "keeping": BesideForm,
        "broke": BrokeForm,
        "kg": NewPlaceForm,
    }
    found = [kind for name, kind in kinds.items() if name in request.POST]
    return (found or [HeldForm])[0](request.POST)


def _by_arena(
    rows: Sequence[StorePiece], changes: Sequence[AuditEntry], now: datetime
) -> list[dict[str, Any]]:
    """Return the arenas with their places, the whole yard last, and what is needed."""
    store, zone = store_of(rows), school_zone()
    first, tonight = day_bounds(now.astimezone(zone).date(), zone)
    _, last = day_bounds(
        now.astimezone(zone).date() + timedelta(days=WEEK_DAYS - 1), zone
    )
    uses = [use_of(one) for one in grids_ridden(first, last)]
    today = [one for one in uses if one.begins < tonight]
    last_of = {one.subject_id: one for one in reversed(changes)}
    listed: list[dict[str, Any]] = [
        {
            "row": row,
            "today": _need(store, kept, today),
            "week": _need(store, kept, uses),
            "back": _to_take_back(row, last_of.get(str(row.pk))),
        }
        for row, kept in zip(rows, store.kept, strict=True)
    ]
    places: list[dict[str, Any]] = [
        {"place": place, "arena": place.arena, "pieces": list(its)}
        for place, its in groupby(listed, key=lambda one: one["row"].place)
    ]
    # The whole yard's come last, whatever a database makes of an arena that is none.
    places.sort(key=lambda one: one["arena"] is None)
    return [
        {"arena": arena, "places": list(its)}
        for arena, its in groupby(places, key=lambda one: one["arena"])
    ]


def _need(store: Store, kept: Kept, uses: Sequence[Use]) -> dict[str, Any] | None:
    """Return what the grids that draw on a place need at most, and what that lacks."""
    its = [x for x in uses if kept in own_of(store.kept, x.arena, kept.piece)]
    need: Need = most_needed(its, kept.piece)
    if not need.count:
        return None
    arena = kept.arena if kept.arena != WHOLE_YARD else its[0].arena
    own = own_of(store.kept, arena, kept.piece)
    short = need.count - sum(one.working for one in own)
    yard = sum(one.working for one in store.kept if one.piece is kept.piece)
    says = "too few" if need.count > yard else "to fetch"
    return {"need": need, "short": f"{short} {says}" if short > 0 else ""}


def _to_take_back(row: StorePiece, entry: AuditEntry | None) -> dict[str, int] | None:
    """Return what stood there before some were marked broken last, if nothing since."""
    if entry is None or entry.before is None or entry.after is None:
        return None
    broke = int(entry.after["broken"]) - int(entry.before["broken"])
    stands = {"working": row.working, "broken": row.broken}
    if broke <= 0 or entry.after != stands:
        return None
    return {"broke": broke, **entry.before}


def _set(request: HttpRequest, form: forms.Form) -> str:
    """Set what was sent; return why it can't be, or nothing."""
    by, now, data = account_of(request), timezone.now(), form.cleaned_data
    if isinstance(form, BesideForm):
        place = set_beside(place=data["keeping"], arena=data["beside"], by=by, now=now)
        whose = f"{place.arena}'s own" if place.arena else "the whole yard's"
        messages.success(request, f"{place}: its pieces are {whose}.")
        return ""
    seen = (data["was_working"], data["was_broken"])
    kg = data.get("kg")
    try:
        one = set_store(
            piece=Piece(data["piece"]),
            place=data["place"],
            held=(data["working"], data["broken"]),
            seen=None if None in seen else seen,
            weight_g=None if kg is None else round(kg * 1000),
            beside=data.get("beside"),
            by=by,
            now=now,
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
