"""Weekly lessons: the list, and each with what can be done from a day on."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from school.enums import HOLDING_STATES
from school.models import LessonSeries
from school.permissions import is_manager
from school.queries.daylight import light_of_weeks
from school.queries.holidays import holidays_of
from school.queries.schools import the_school
from school.queries.series import (
    days_of_series,
    lessons_from,
    riders_of_series,
    series_running,
)
from school.services.booking import looked_at
from school.services.refusals import UnableToBook
from school.services.series import (
    end_series,
    join_series,
    leave_series,
    skip_days,
)
from school.services.series_changes import change_series_from
from school.web.access import account_of, allowed
from school.web.overruling import offer_to_overrule, reason_of
from school.web.series_forms import (
    ChangeForm,
    EndForm,
    JoinForm,
    LeaveForm,
    SkipForm,
    forms_of,
)

Data = dict[str, Any]


@allowed(is_manager)
def series_list(request: HttpRequest) -> HttpResponse:
    return render(
        request, "school/weekly.html", {"every": series_running(timezone.localdate())}
    )


def _series(pk: int) -> LessonSeries:
    found = LessonSeries.objects.select_related("arena", "instructor__person")
    one = found.filter(pk=pk).first()
    if one is None:
        raise Http404
    return one


@allowed(is_manager)
def series_page(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, _series(pk), from_day=request.GET.get("from", ""))


def _show(
    request: HttpRequest,
    series: LessonSeries,
    *,
    refusal: str = "",
    tried: dict[str, forms.Form] | None = None,
    more: Data | None = None,
    from_day: str = "",
) -> HttpResponse:
    """Show the weeks; with a day of them, what it takes to change it from there on."""
    today = timezone.localdate()
    days = days_of_series(series, today)
    riders = riders_of_series(series, today)
    held = [one for one in days if one.state in HOLDING_STATES]
    first = next((one.series_date for one in held if one.series_date), today)
    asked = [x for x in held if x.series_date and str(x.series_date) == from_day]
    if asked and asked[0].series_date:
        first = asked[0].series_date
    holidays = holidays_of(the_school(), today, max(series.last_date, today))
    context: Data = {
        "series": series,
        "days": [
            {
                "lesson": one,
                "held": one.state in HOLDING_STATES,
                "holiday": holidays.get(one.series_date) if one.series_date else None,
            }
            for one in days
        ],
        "riders": riders,
        "holidays": [
            one.series_date.isoformat()
            for one in held
            if one.series_date and one.series_date in holidays
        ],
        "forms": forms_of(series, riders, first) | (tried or {}),
        "open": next(iter(tried or {}), "change" if asked else ""),
        "refusal": refusal,
    }
    status = 409 if refusal or tried else 200
    return render(request, "school/series.html", context | (more or {}), status=status)


@require_POST
@allowed(is_manager)
def change(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """Do one thing to a weekly lesson, all its weeks or none."""
    series = _series(pk)
    if verb == "holidays":
        return _skip_holidays(request, series)
    if verb not in _VERBS:
        raise Http404
    form = _form(request, series, verb)
    if not form.is_valid():
        return _show(request, series, tried={verb: form})
    try:
        after, says = _VERBS[verb](request, series, form.cleaned_data, form)
    except UnableToBook as error:
        more = offer_to_overrule(request, error)
        return _show(request, series, refusal=error.says, tried={verb: form}, more=more)
    messages.success(request, says)
    return redirect("series", pk=after.pk)


def _form(request: HttpRequest, series: LessonSeries, verb: str) -> forms.Form:
    if verb == "leave":
        riders = riders_of_series(series, timezone.localdate())
        return LeaveForm(request.POST, prefix=verb, riders=riders)
    kinds: dict[str, type[forms.Form]] = {
        "join": JoinForm,
        "skip": SkipForm,
        "change": ChangeForm,
        "end": EndForm,
    }
    return kinds[verb](request.POST, prefix=verb)


Done = tuple[LessonSeries, str]


def _who(request: HttpRequest) -> Data:
    return {"by": account_of(request), "now": timezone.now()}


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"


def _join(
    request: HttpRequest, series: LessonSeries, data: Data, _: forms.Form
) -> Done:
    rides = join_series(
        series=series, **data, **_who(request), overrule=reason_of(request)
    )
    name = data["rider"].person.first_name
    return series, f"{name} has a place in {len(rides)} lessons."


def _leave(
    request: HttpRequest, series: LessonSeries, data: Data, _: forms.Form
) -> Done:
    count = leave_series(series=series, **data, **_who(request))
    name = data["rider"].person.first_name
    return series, f"{name} gave {count} places back."


def _skip(
    request: HttpRequest, series: LessonSeries, data: Data, _: forms.Form
) -> Done:
    skip_days(series=series, days={data["day"]: data["reason"]}, **_who(request))
    return series, f"No lesson on {_day(data['day'])}."


def _change(
    request: HttpRequest, series: LessonSeries, data: Data, form: forms.Form
) -> Done:
    if not isinstance(form, ChangeForm):
        raise TypeError("the form of a change says what the lesson is")
    after = change_series_from(
        series=series,
        plan=form.plan(),
        first_date=data["first_date"],
        weekday=data["weekday"],
        overrule=reason_of(request),
        grids=form.new_grids(),
        **_who(request),
    )
    _say_what_to_look_at(request, after, data["first_date"])
    return after, f"{after.name} is so from {_day(data['first_date'])} on."


def _say_what_to_look_at(request: HttpRequest, series: LessonSeries, on: date) -> None:
    """Name the days that are dark, holidays, or have a grid to be looked at."""
    school = the_school()
    lessons = lessons_from(series, min(on, series.first_date))
    for said in looked_at(lessons):
        messages.warning(request, f"Look at the grids: {said}")
    if light := light_of_weeks(lessons, school):
        messages.warning(request, light)
    holidays = holidays_of(school, series.first_date, series.last_date)
    named = [
        f"{one.series_date.day} {one.series_date:%B} ({holidays[one.series_date]})"
        for one in lessons
        if one.series_date in holidays
    ]
    if named:
        messages.warning(
            request,
            f"Held on public holidays now: {', '.join(named)}. Leave them out by the "
            "press above, or keep them.",
        )


def _end(request: HttpRequest, series: LessonSeries, data: Data, _: forms.Form) -> Done:
    after = end_series(series=series, **data, **_who(request))
    return after, f"{after.name} ends with {_day(data['last_date'])}."


def _skip_holidays(request: HttpRequest, series: LessonSeries) -> HttpResponse:
    """Hold no lesson on the public holidays that are left in a series."""
    today = timezone.localdate()
    last = max(series.last_date, today + timedelta(days=1))
    named = holidays_of(the_school(), today, last)
    days = {
        one.series_date: named[one.series_date]
        for one in days_of_series(series, today)
        if one.state in HOLDING_STATES and one.series_date in named
    }
    skip_days(series=series, days=days, **_who(request))
    messages.success(request, f"Not held on {len(days)} public holidays.")
    return redirect("series", pk=series.pk)


_VERBS: dict[str, Callable[[HttpRequest, LessonSeries, Data, forms.Form], Done]] = {
    "join": _join,
    "leave": _leave,
    "skip": _skip,
    "change": _change,
    "end": _end,
}
