"""Finding a time over the next weeks, for riders, a group or one who waits."""

from calendar import day_name
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from scheduling.services.finding import (
    MOST_WEEKS,
    Answer,
    Found,
    UnableToFind,
    find_times,
)
from scheduling.services.finding_diary import Wish
from school.models import Instructor, WaitingWish
from school.permissions import is_manager
from school.queries.waiting import open_wish
from school.web.access import allowed
from school.web.forms import BookForm

WEEKS = 4
LAST_YEAR = 2199


class FindForm(BookForm):
    """What is booked, without the time and place that are looked for."""

    no_horse = "whichever suits best"

    instructor = forms.ModelChoiceField(
        Instructor.objects.select_related("person").order_by(
            "person__first_name", "pk"
        ),
        required=False,
        empty_label="any",
    )
    weeks = forms.IntegerField(
        min_value=1, max_value=MOST_WEEKS, initial=WEEKS, required=False
    )
    weekdays = forms.TypedMultipleChoiceField(
        choices=[(str(n), day) for n, day in enumerate(day_name)],
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="On these days (none ticked is any)",
    )
    from_at = forms.TimeField(
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        required=False,
        label="Earliest start",
    )
    to_at = forms.TimeField(
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        required=False,
        label="Latest start",
    )
    field_order = (
        "title", "kind", "work", "minutes", "places", "exercise", "instructor",
        "date", "weeks", "from_at", "to_at", "weekdays", "public_holidays",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in (
            "start", "window_from", "window_to", "arena", "until", "term", "not_on",
        ):  # fmt: skip
            del self.fields[name]
        self.fields["title"].required = False
        self.fields["date"].label = "From which day"

    def clean(self) -> dict[str, Any]:
        """Refuse hours that are none, and more riders than places."""
        data = super().clean()
        first, last = self.cleaned_data.get("from_at"), self.cleaned_data.get("to_at")
        if first and last and last < first:
            self.add_error("to_at", "The latest start is before the earliest.")
        day = self.cleaned_data.get("date")
        if day and day.year > LAST_YEAR:
            self.add_error("date", f"Look for a day before {LAST_YEAR + 1}.")
        return data

    def looked_for(self) -> Wish:
        """Return what a time is looked for."""
        data, rides = self.cleaned_data, self.rides()
        return Wish(
            kind=data["kind"],
            work=data["work"],
            minutes=data["minutes"],
            first_date=data["date"],
            weeks=data["weeks"] or WEEKS,
            weekdays=frozenset(data["weekdays"]),
            from_at=data["from_at"],
            to_at=data["to_at"],
            riders=[rider for rider, _ in rides],
            horses=[horse for _, horse in rides],
            places=max(data["places"], len(rides)),
            instructor=data["instructor"],
            exercise=self.revision(),
            skip_holidays=data["public_holidays"],
        )


@allowed(is_manager)
def find(request: HttpRequest) -> HttpResponse:
    wish = _wish(request)
    form = FindForm(request.POST or None, initial=_initial(request, wish))
    found: Found | None = None
    refusal = ""
    if request.method == "POST" and form.is_valid():
        try:
            found = find_times(wish=form.looked_for(), now=timezone.now())
        except UnableToFind as error:
            refusal = error.says
    context = {
        "form": form,
        "refusal": refusal,
        "found": found,
        "answers": [(one, _booking(form, one)) for one in found.answers]
        if found
        else [],
        "wish": wish,
    }
    return render(
        request,
        "scheduling/find_time.html",
        context,
        status=409 if refusal else 200,
    )


def _wish(request: HttpRequest) -> WaitingWish | None:
    """Return the wish on the waiting list that a time is looked for."""
    asked = request.POST.get("wish") or request.GET.get("wish")
    if not asked:
        return None
    wish = open_wish(asked)
    if wish is None:
        raise Http404
    return wish


def _initial(request: HttpRequest, wish: WaitingWish | None) -> dict[str, Any]:
    today = timezone.localdate()
    given = {key: one for key, one in request.GET.items() if one}
    initial: dict[str, Any] = {"date": today.isoformat()}
    if wish is not None:
        initial |= {
            "wish": wish.pk,
            "title": f"{wish.get_work_display()}, {wish.rider.person.first_name}",
            "work": wish.work,
            "from_at": wish.from_at,
            "to_at": wish.to_at,
            "weekdays": [] if wish.weekday is None else [str(wish.weekday)],
            "rider_1": str(wish.rider_id),
        }
    return initial | given


def _booking(form: FindForm, one: Answer) -> str:
    """Return the address of the booking form, filled in with an answer."""
    data = form.cleaned_data
    local = timezone.localtime(one.starts_at)
    fields = {
        "date": local.date().isoformat(),
        "start": local.strftime("%H:%M"),
        "title": data["title"] or _title(data),
        "kind": data["kind"],
        "work": data["work"],
        "minutes": data["minutes"],
        "arena": one.arena.pk,
        "instructor": one.instructor.pk,
        "places": max(data["places"], len(one.rides)),
    }
    for n, (rider, horse) in enumerate(one.rides, 1):
        fields |= {f"rider_{n}": rider.pk, f"horse_{n}": horse.pk}
    if data["exercise"]:
        fields["exercise"] = data["exercise"].pk
    if data["wish"]:
        fields["wish"] = data["wish"]
    return f"{reverse('new-lesson')}?{urlencode(fields)}"


def _title(data: dict[str, Any]) -> str:
    exercise = data["exercise"]
    return exercise.name if exercise else f"{data['work']} lesson".capitalize()
