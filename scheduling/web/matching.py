"""Horses for riders: proposed with reasons, some fixed, asked again, and given."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from scheduling.matching.engine import Given
from scheduling.models import PlanRun
from scheduling.queries.plans import latest_runs
from scheduling.services.matching import (
    Kept,
    give_horses,
    kept_proposal,
    propose,
)
from scheduling.services.runs import ask_run
from scheduling.web.days import read_day_or_404
from scheduling.web.runs import run_words
from school.enums import Liking
from school.models import Horse, Ride, Rider, RiderHorse
from school.permissions import is_manager
from school.queries.matching import lesson_to_match
from school.services.likings import note_liking, set_confidence
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed


@allowed(is_manager)
def match_day(request: HttpRequest, day: str) -> HttpResponse:
    """Show what the worker found for a day, ask it again, or give the horses."""
    when, refusal = read_day_or_404(day), ""
    if request.POST.get("do") == "give":
        refusal = _give(request)
        if not refusal:
            return redirect(request.path)
    elif request.method == "POST":
        fixed = [list(one) for one in sorted(_fixed(request).items())]
        by, now = account_of(request), timezone.now()
        ask_run(date=when, kind=PlanRun.Kind.MATCH, by=by, now=now, keep=fixed)
        return redirect(request.path)
    run = latest_runs(when).get(PlanRun.Kind.MATCH)
    context: dict[str, Any] = {
        "day": when,
        "run": None if run is None else run_words(run),
        "under_way": run is not None and run.under_way,
        "refusal": refusal,
    }
    if run is not None and run.result is not None:
        found = kept_proposal(run.result, timezone.now())
        context |= _shown(found, set(run.result["fixed"]))
    return _answer(request, context)


@allowed(is_manager)
def match_lesson(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = lesson_to_match(pk)
    if lesson is None:
        raise Http404
    now, refusal = timezone.now(), ""
    if request.POST.get("do") == "give":
        refusal = _give(request)
        if not refusal:
            return redirect(request.path)
    day = timezone.localtime(lesson.starts_at).date()
    fixed = {} if refusal else _fixed(request)
    try:
        found = propose(day=day, lesson=lesson.pk, fixed=fixed, now=now)
    except UnableToBook as error:
        refusal = error.says
        found = propose(day=day, lesson=lesson.pk, now=now)
    context = {"day": day, "lesson": lesson, "refusal": refusal}
    return _answer(request, context | _shown(found, set(fixed)))


def _give(request: HttpRequest) -> str:
    """Give the horses that were looked at; return why not, or nothing."""
    try:
        given = give_horses(
            wanted=_numbers(request, "want-"),
            seen={key: seen or None for key, seen in _seen(request).items()},
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToBook as error:
        return error.says
    messages.success(request, _said(given))
    return ""


def _shown(found: Kept, fixed: set[int]) -> dict[str, Any]:
    """Return what a page shows of horses that were found."""
    return {
        "rows": _rows(found, fixed),
        "match": found.match,
        "again": [
            {"horse": found.horses[key], "points": points}
            for key, points in found.match.again.items()
            if key in found.horses
        ],
        "changes": any(
            one.mount not in (None, ride.horse_id)
            for one, ride in zip(found.match.given, found.rides, strict=True)
        ),
    }


def _answer(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    status = 409 if context["refusal"] else 200
    return render(request, "scheduling/matching.html", context, status=status)


def _numbers(request: HttpRequest, prefix: str) -> dict[int, int]:
    """Return the numbers that a form gave, by the number in their field's name."""
    found = {}
    for key, value in request.POST.items():
        number = key.removeprefix(prefix)
        if key.startswith(prefix) and number.isdecimal() and str(value).isdecimal():
            found[int(number)] = int(str(value))
    return found


def _seen(request: HttpRequest) -> dict[int, int]:
    return _numbers(request, "seen-")


def _fixed(request: HttpRequest) -> dict[int, int]:
    """Return the horse chosen for each ride whose box is ticked."""
    ticked = _numbers(request, "fix-")
    chosen = _numbers(request, "horse-")
    return {ride: horse for ride, horse in chosen.items() if ride in ticked}


def _said(given: list[Ride]) -> str:
    if not given:
        return "Everybody has these horses already; nothing is changed."
    pairs = ", ".join(f"{one.rider.person.first_name} {one.horse}" for one in given)
    return f"Given: {pairs}."


def _rows(found: Kept, fixed: set[int]) -> list[dict[str, Any]]:
    return [
        _row(found, ride, one, fixed)
        for ride, one in zip(found.rides, found.match.given, strict=True)
    ]


def _row(found: Kept, ride: Ride, one: Given, fixed: set[int]) -> dict[str, Any]:
    why = found.match.unseated.get(ride.pk, {})
    return {
        "ride": ride,
        "horse": found.horses.get(one.mount or 0),
        "terms": one.terms,
        "points": sum(term.points for term in one.terms),
        "next": found.horses.get(one.next_best or 0),
        "more": one.more,
        "fixed": ride.pk in fixed,
        "horses": list(found.horses.values()),
        "refused": [
            (found.horses[key], says)
            for key, says in why.items()
            if key in found.horses
        ],
    }


@allowed(is_manager)
def rider_horses(request: HttpRequest, pk: int) -> HttpResponse:
    rider = Rider.objects.select_related("person", "confidence").filter(pk=pk).first()
    if rider is None:
        raise Http404
    refusal = ""
    if request.method == "POST":
        try:
            _note(request, rider)
        except UnableToBook as error:
            refusal = error.says
        else:
            messages.success(request, "Noted.")
            return redirect("rider-horses", pk=pk)
    known = RiderHorse.objects.filter(rider=rider).select_related("horse")
    confidence = getattr(rider, "confidence", None)
    context = {
        "rider": rider,
        "likings": known.order_by("horse__name"),
        "kinds": Liking.choices,
        "horses": Horse.objects.order_by("name"),
        "confidence": confidence.confidence if confidence else 3,
        "steps": range(1, 6),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "scheduling/rider_horses.html", context, status=status)


def _note(request: HttpRequest, rider: Rider) -> None:
    by, now = account_of(request), timezone.now()
    level = request.POST.get("confidence")
    if level is not None:
        number = int(level) if level.isdecimal() else 0
        set_confidence(rider=rider, confidence=number, by=by, now=now)
        return
    key, liking = request.POST.get("horse", ""), request.POST.get("liking", "")
    horse = Horse.objects.filter(pk=int(key)).first() if key.isdecimal() else None
    if horse is None or liking not in ("", *Liking.values):
        raise UnableToBook("horse", "Choose a horse and what is noted of it.")
    reason = request.POST.get("reason", "")
    note_liking(rider=rider, horse=horse, liking=liking, reason=reason, by=by, now=now)
