"""Finding a time for a lesson that might be booked."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from exercises.models import Exercise
from scheduling.services.slots import FreeSlot, UnableToFind, Wish, find_slots
from school.permissions import is_manager
from school.web.access import allowed
from school.web.forms import BookForm

FIRST = 8
"""Slots that are shown at once; the others are behind one press."""


class FindForm(BookForm):
    """What is booked, without the time and place that are looked for."""

    exercise = forms.ModelChoiceField(
        Exercise.objects.filter(current__isnull=False)
        .select_related("current")
        .order_by("name"),
        required=False,
        empty_label="no grid, or not known yet",
        label="Grid",
    )
    field_order = ("date", "title", "kind", "work", "minutes", "exercise")

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["start"], self.fields["arena"]
        self.fields["title"].required = False

    def wish(self) -> Wish:
        """Return whose lesson it is, how long, and with which grid."""
        data, rides = self.cleaned_data, self.rides()
        exercise = data["exercise"]
        return Wish(
            minutes=data["minutes"],
            instructor=data["instructor"],
            riders=[rider for rider, _ in rides],
            horses=[horse for _, horse in rides if horse is not None],
            exercise=None if exercise is None else exercise.current,
        )


@allowed(is_manager)
def find(request: HttpRequest) -> HttpResponse:
    day = request.GET.get("date") or timezone.localdate().isoformat()
    form = FindForm(request.POST or None, initial={"date": day})
    found: list[FreeSlot] | None = None
    refusal = ""
    if request.method == "POST" and form.is_valid():
        try:
            found = find_slots(
                date=form.cleaned_data["date"], wish=form.wish(), now=timezone.now()
            )
        except UnableToFind as error:
            refusal = error.says
    context = {
        "form": form,
        "refusal": refusal,
        "found": found,
        "first": (found or [])[:FIRST],
        "others": (found or [])[FIRST:],
        "day": form.cleaned_data["date"] if found is not None else None,
    }
    return render(
        request,
        "scheduling/find_time.html",
        context,
        status=409 if refusal else 200,
    )
