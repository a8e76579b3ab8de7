"""The manager's page of the ground's work: in the book, and every week."""

from calendar import day_name
from collections.abc import Iterable
from datetime import datetime, time
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.services.tight import tight_harrows
from scheduling.wording import short_words
from school.enums import YardKind
from school.models import Arena, School, YardRule, YardWork
from school.permissions import may_plan_yard_work
from school.queries.schools import school_zone, the_school
from school.queries.yard import standing_rules, yard_work_between
from school.services.units import UnableToSet
from school.services.yard import (
    LAID_OUT,
    LEAST_MIN,
    MOST_MIN,
    UnableToPlanWork,
    call_off,
    end_rule,
    plan_work,
    set_evening,
    set_harrow_minutes,
    start_rule,
)
from school.web.access import account_of, allowed


class _HarrowForm(forms.Form):
    """What every harrow is asked for by."""

    arena = forms.ModelChoiceField(Arena.objects.order_by("name"), empty_label=None)
    starts = forms.TimeField(
        label="From", widget=forms.TimeInput(attrs={"type": "time"})
    )
    minutes = forms.IntegerField(
        label="Minutes (empty: as below)",
        required=False,
        min_value=LEAST_MIN,
        max_value=MOST_MIN,
    )


class OnceForm(_HarrowForm):
    day = forms.DateField(
        label="Day",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    field_order = ["day", "arena", "starts", "minutes"]


class WeeklyForm(_HarrowForm):
    weekday = forms.TypedChoiceField(
        label="Every",
        choices=[(str(n), day) for n, day in enumerate(day_name)],
        coerce=int,
    )
    field_order = ["weekday", "arena", "starts", "minutes"]


class MinutesForm(forms.Form):
    harrow_min = forms.IntegerField(label="A harrow takes (minutes)")


class EveningForm(forms.Form):
    strips_evening = forms.BooleanField(
        label="All is taken off the lines every evening", required=False
    )


@allowed(may_plan_yard_work)
def yard_work_page(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(request: HttpRequest, **asked: forms.Form) -> HttpResponse:
    """Show the page; a form that was refused keeps what was written in it."""
    today, school = timezone.localdate(), the_school()
    works = yard_work_between(today, today + LAID_OUT)
    context: dict[str, Any] = {
        "works": [(one, _minutes_words(one, school)) for one in works],
        "tight": tight_harrows(works),
        "rules": [(one, day_name[one.weekday]) for one in standing_rules()],
        "once": OnceForm(initial={"day": today}, prefix="once"),
        "weekly": WeeklyForm(prefix="weekly"),
        "minutes": MinutesForm(initial={"harrow_min": school.harrow_min}),
        "evening": EveningForm(initial={"strips_evening": school.strips_evening}),
        **asked,
    }
    return render(request, "school/yard.html", context, status=409 if asked else 200)


@require_POST
@allowed(may_plan_yard_work)
def plan_once(request: HttpRequest) -> HttpResponse:
    form = OnceForm(request.POST, prefix="once")
    if not form.is_valid():
        return _show(request, once=form)
    data = form.cleaned_data
    try:
        work = plan_work(
            kind=YardKind.HARROW,
            arena=data["arena"],
            starts_at=datetime.combine(
                data["day"], data["starts"], tzinfo=school_zone()
            ),
            minutes=data["minutes"],
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToPlanWork as refused:
        form.add_error(_field(form, refused.field), refused.says)
        return _show(request, once=form)
    _warn(request, [work])
    begins = timezone.localtime(work.starts_at)
    messages.success(
        request,
        f"{work.arena} is harrowed on {begins:%A} {begins.day} {begins:%B} at "
        f"{begins:%H:%M}. Order the day anew, so that its poles are off first.",
    )
    return redirect("yard-work")


@require_POST
@allowed(may_plan_yard_work)
def plan_weekly(request: HttpRequest) -> HttpResponse:
    form = WeeklyForm(request.POST, prefix="weekly")
    if not form.is_valid():
        return _show(request, weekly=form)
    data = form.cleaned_data
    try:
        rule, missed = start_rule(
            kind=YardKind.HARROW,
            arena=data["arena"],
            weekday=data["weekday"],
            local_start=data["starts"],
            minutes=data["minutes"],
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToPlanWork as refused:
        form.add_error(_field(form, refused.field), refused.says)
        return _show(request, weekly=form)
    messages.success(request, f"{rule.arena} is harrowed every {_when(rule)}.")
    _warn(request, rule.works.filter(called_off_at=None).select_related("arena"))
    for one in missed:
        messages.error(request, f"Not on {one.date.day} {one.date:%B}: {one.says}")
    return redirect("yard-work")


def _warn(request: HttpRequest, works: Iterable[YardWork]) -> None:
    """Say what leaves a harrow too little time: its own minutes, or a lesson."""
    known, school = list(works), the_school()
    short = dict.fromkeys(_minutes_words(one, school) for one in known)
    for words in [*filter(None, short), *tight_harrows(known)]:
        messages.warning(request, words)


def _minutes_words(work: YardWork, school: School) -> str:
    if work.kind != YardKind.HARROW:
        return ""
    minutes = int((work.ends_at - work.starts_at).total_seconds() // 60)
    return short_words(minutes, school.harrow_min)


def _when(rule: YardRule) -> str:
    at: time = rule.local_start
    return f"{day_name[rule.weekday]} at {at:%H:%M}"


def _field(form: forms.Form, name: str) -> str | None:
    return name if name in form.fields else None


@require_POST
@allowed(may_plan_yard_work)
def call_off_work(request: HttpRequest, pk: int) -> HttpResponse:
    work = YardWork.objects.filter(pk=pk).select_related("arena").first()
    if work is None:
        raise Http404
    try:
        call_off(work=work, by=account_of(request), now=timezone.now())
    except UnableToPlanWork as refused:
        messages.error(request, refused.says)
    else:
        messages.success(request, f"Called off; {work.arena} is free then.")
    return redirect("yard-work")


@require_POST
@allowed(may_plan_yard_work)
def end_weekly(request: HttpRequest, pk: int) -> HttpResponse:
    rule = YardRule.objects.filter(pk=pk).select_related("arena").first()
    if rule is None:
        raise Http404
    end_rule(rule=rule, by=account_of(request), now=timezone.now())
    messages.success(
        request, f"{rule.arena} is no longer harrowed every {_when(rule)}."
    )
    return redirect("yard-work")


@require_POST
@allowed(may_plan_yard_work)
def set_evenings(request: HttpRequest) -> HttpResponse:
    form = EveningForm(request.POST)
    strips = form.is_valid() and form.cleaned_data["strips_evening"]
    set_evening(strips=strips, by=account_of(request), now=timezone.now())
    says = "taken off the lines every evening" if strips else "left standing overnight"
    messages.success(request, f"All is {says}, in days ordered from now on.")
    return redirect("yard-work")


@require_POST
@allowed(may_plan_yard_work)
def set_minutes(request: HttpRequest) -> HttpResponse:
    form = MinutesForm(request.POST)
    if not form.is_valid():
        return _show(request, minutes=form)
    try:
        set_harrow_minutes(
            minutes=form.cleaned_data["harrow_min"],
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToSet as refused:
        form.add_error(refused.field, refused.says)
        return _show(request, minutes=form)
    messages.success(request, "Harrows planned from now on take so long.")
    return redirect("yard-work")
