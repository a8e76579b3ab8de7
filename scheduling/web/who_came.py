"""Who came to a lesson and when it ended, noted on the day by who teaches it."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from scheduling.models import PlanRun
from scheduling.queries.plans import published_plan
from scheduling.services.runs import ask_run
from school.enums import Charge, EndCause, OutcomeKind, RideState
from school.models import Lesson, Ride, School
from school.permissions import may_note_who_came
from school.queries.lessons import lesson_with_all
from school.queries.outcomes import (
    costs_in_words,
    early_end_of,
    fee_in_words,
    outcome_costs,
    outcome_in_words,
    payer_as_read,
    rides_of_the_day,
)
from school.queries.prices import PriceList, price_list
from school.queries.schools import the_school
from school.services.attendance import (
    charge_for,
    end_early,
    go_on,
    is_todays,
    may_still_note,
    note_late,
    note_no_show,
    take_back,
)
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed, in_hand
from school.web.lessons import anyone


class EndForm(forms.Form):
    ends = forms.TimeField(
        label="It ended at", widget=forms.TimeInput({"type": "time"}, "%H:%M")
    )
    cause = forms.ChoiceField(choices=EndCause.choices, label="For")
    note = forms.CharField(max_length=200, required=False, label="More (optional)")


LATE_PRESSES = (5, 10, 15)
LATE_MINUTES = (*range(1, 20), *range(20, 65, 5))
"""What is offered, so that nobody types in gloves; the form takes any minutes."""


class LateForm(forms.Form):
    minutes = forms.IntegerField(min_value=1, max_value=240)
    rode = forms.BooleanField(required=False)


def _lesson(request: HttpRequest, pk: int) -> Lesson:
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    if not may_note_who_came(account_of(request), lesson):
        raise PermissionDenied
    return lesson


@require_safe
@allowed(anyone)
def who_came(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, _lesson(request, pk))


def _show(
    request: HttpRequest, lesson: Lesson, refusal: str = "", form: EndForm | None = None
) -> HttpResponse:
    school, now = the_school(), timezone.now()
    prices = price_list(school)
    zone = ZoneInfo(school.zone)
    ends = min(max(now, lesson.starts_at), lesson.ends_at).astimezone(zone)
    context = {
        "lesson": lesson,
        "in_hand": in_hand(request, lesson),
        "late_presses": [one for one in LATE_PRESSES if one <= school.late_lost_min],
        "late_minutes": LATE_MINUTES,
        "school": school,
        "rows": [_row(one, lesson, school, prices) for one in rides_of_the_day(lesson)],
        "open": may_still_note(lesson, now),
        "end": early_end_of(lesson),
        "end_form": form or EndForm(initial={"ends": ends.time()}),
        "causes": _causes(school),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "scheduling/who_came.html", context, status=status)


def _row(
    ride: Ride, lesson: Lesson, school: School, prices: PriceList
) -> dict[str, Any]:
    """Say of a place what became of it, and what it would cost if missed."""
    outcome = getattr(ride, "outcome", None)
    payer = payer_as_read(ride, lesson)
    fee = fee_in_words(school, lesson, prices, OutcomeKind.NO_SHOW)
    said = ""
    if outcome is not None:
        said = f"{outcome_in_words(outcome)}: {_costs(outcome)}."
    return {
        "ride": ride,
        "missed": ride.state == RideState.MISSED,
        "noted": outcome is not None and outcome.kind != OutcomeKind.ENDED_EARLY,
        "said": said,
        "no_show": costs_in_words(school.no_show_charge, payer, fee),
        "lost": costs_in_words(school.lost_charge, payer, fee),
    }


def _costs(outcome: Any) -> str:
    if outcome.kind == OutcomeKind.LATE:
        return "rides the rest, costs as booked"
    return f"costs {outcome_costs(outcome)}"


def _causes(school: School) -> list[tuple[str, str]]:
    """Say of each cause what ending for it costs before the lesson counts as held."""
    return [
        (str(label), str(Charge(charge_for(school, cause)).label).lower())
        for cause, label in EndCause.choices
    ]


def _ride(request: HttpRequest, pk: int) -> tuple[Ride, Lesson]:
    ride = Ride.objects.filter(pk=pk).first()
    if ride is None:
        raise Http404
    return ride, _lesson(request, ride.lesson_id)


@require_POST
@allowed(anyone)
def note_ride(request: HttpRequest, pk: int, what: str) -> HttpResponse:
    """Note of one place: did not come, came late, came after all."""
    ride, lesson = _ride(request, pk)
    by, now = account_of(request), timezone.now()
    try:
        if what == "no-show":
            note_no_show(ride=ride, by=by, now=now)
        elif what == "late":
            form = LateForm(request.POST)
            if not form.is_valid():
                return _show(request, lesson, "Say how many minutes late, 1 to 240.")
            note_late(ride=ride, by=by, now=now, **form.cleaned_data)
        elif what == "came":
            take_back(ride=ride, by=by, now=now)
        else:
            raise Http404
    except UnableToBook as error:
        return _show(request, lesson, error.says)
    return redirect("who-came", pk=lesson.pk)


@require_POST
@allowed(anyone)
def end_lesson(request: HttpRequest, pk: int) -> HttpResponse:
    """End a lesson early, and plan what is left of the day anew."""
    lesson, form = _lesson(request, pk), EndForm(request.POST)
    if not form.is_valid():
        return _show(request, lesson, "Look at the fields again.", form)
    zone = ZoneInfo(the_school().zone)
    day = lesson.starts_at.astimezone(zone).date()
    ends_at = datetime.combine(day, form.cleaned_data["ends"], tzinfo=zone)
    try:
        ended = end_early(
            lesson=lesson,
            ends_at=ends_at,
            cause=form.cleaned_data["cause"],
            note=form.cleaned_data["note"],
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToBook as error:
        return _show(request, lesson, error.says, form)
    more = _plan_anew(request, ended)
    messages.success(
        request,
        f"{ended.title} ended at {form.cleaned_data['ends']:%H:%M}; {ended.arena} is "
        f"free from then.{more}",
    )
    return redirect("who-came", pk=pk)


@require_POST
@allowed(anyone)
def lesson_goes_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back that a lesson was ended early."""
    lesson = _lesson(request, pk)
    try:
        going = go_on(lesson=lesson, by=account_of(request), now=timezone.now())
    except UnableToBook as error:
        return _show(request, lesson, error.says)
    more = _plan_anew(request, going) if going.version != lesson.version else ""
    messages.success(request, f"{going.title} goes on until its booked end.{more}")
    return redirect("who-came", pk=pk)


def _plan_anew(request: HttpRequest, lesson: Lesson) -> str:
    """Ask for a new plan of what is left of today, where one is published."""
    now = timezone.now()
    today = timezone.localdate(now)
    if not is_todays(lesson, now) or published_plan(today) is None:
        return ""
    by = account_of(request)
    ask_run(date=today, kind=PlanRun.Kind.REPLAN, by=by, now=now)
    return (
        " A new plan of what is left of today is being made; the manager publishes it."
    )
