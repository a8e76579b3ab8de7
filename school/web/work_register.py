"""Every horse's work by day, for any day past: shown, printed, taken as CSV."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from exercises.geometry.efforts import efforts_words
from school.models import Horse
from school.permissions import may_see_histories
from school.queries.ride_logs import WorkDay, work_register
from school.queries.schools import the_school
from school.tables.writing import as_csv
from school.web.access import allowed

MOST_DAYS = 366
"""Days shown at once at most."""


class DaysForm(forms.Form):
    first = forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    last = forms.DateField(
        label="Until, the same day where empty",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def clean(self) -> dict[str, Any]:
        """Take a day alone for a period of one day, and refuse what is too long."""
        data = super().clean() or {}
        first = data.get("first")
        last = data["last"] = data.get("last") or first
        if first and last and not 0 <= (last - first).days < MOST_DAYS:
            self.add_error(
                "last", f"Give the same day or a later one, {MOST_DAYS} days at most."
            )
        return data


@require_safe
@allowed(may_see_histories)
def choose_days(request: HttpRequest) -> HttpResponse:
    """Lead to the register of the days that were chosen."""
    form = DaysForm(request.GET)
    if not form.is_valid():
        today = timezone.localdate()
        return _show(request, today, today, form)
    first, last = form.cleaned_data["first"], form.cleaned_data["last"]
    path = reverse("work-register", args=[first.isoformat()])
    return redirect(path if first == last else f"{path}?last={last.isoformat()}")


@require_safe
@allowed(may_see_histories)
def register(request: HttpRequest, day: str) -> HttpResponse:
    """Show every horse's work on a day, or from it to another, to be printed."""
    return _show(request, *_days(request, day))


@require_safe
@allowed(may_see_histories)
def register_csv(request: HttpRequest, day: str) -> HttpResponse:
    first, last = _days(request, day)
    titles = ["Day", "Horse", "Lessons", "Minutes", "Limit a day (min)",
              "Jumping efforts", "Jumping lessons not logged"]  # fmt: skip
    rows = [
        [
            one.date.isoformat(), one.horse.name, str(one.lessons), str(one.minutes),
            str(one.horse.max_minutes), efforts_words(one.quarter_efforts),
            str(one.unlogged),
        ]
        for one in _worked(list(Horse.objects.all()), first, last)
    ]  # fmt: skip
    response = HttpResponse(as_csv(titles, rows), content_type="text/csv")
    name = f"work-{first}.csv" if first == last else f"work-{first}-{last}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response


def _days(request: HttpRequest, day: str) -> tuple[date, date]:
    """Return the days that an address asks for."""
    form = DaysForm({"first": day, "last": request.GET.get("last", "")})
    if not form.is_valid():
        raise Http404
    return form.cleaned_data["first"], form.cleaned_data["last"]


def _worked(horses: list[Horse], first: date, last: date) -> list[WorkDay]:
    school = the_school()
    return work_register(
        horses,
        first,
        last,
        ZoneInfo(school.zone),
        timezone.now(),
        tacked_min=school.tacked_up_min,
    )


def _show(
    request: HttpRequest, first: date, last: date, form: DaysForm | None = None
) -> HttpResponse:
    horses = list(Horse.objects.order_by("name"))
    days = work_rows(_worked(horses, first, last))
    worked = {one["day"].horse.pk for one in days}
    context = {
        "first": first,
        "last": last,
        "form": form or DaysForm(initial={"first": first, "last": last}),
        "asked": "" if first == last else f"?last={last.isoformat()}",
        "before": first - timedelta(days=1),
        "after": last + timedelta(days=1),
        "days": days,
        "idle": [one for one in horses if one.pk not in worked],
        "today": timezone.localdate(),
        "school": the_school(),
    }
    status = 200 if form is None else 409
    return render(request, "school/work_register.html", context, status=status)


def work_rows(days: Iterable[WorkDay]) -> list[dict[str, Any]]:
    """Return days of work as the tables show them, with what is over a limit."""
    return [
        {
            "day": one,
            "efforts": efforts_words(one.quarter_efforts),
            "over": one.minutes > one.horse.max_minutes
            or one.lessons > one.horse.max_lessons,
        }
        for one in days
    ]
