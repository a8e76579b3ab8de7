"""After the ride: the log of a lesson, and what horses and riders have ridden."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from exercises.drawing.words import element_words
from exercises.geometry.efforts import efforts_words
from exercises.geometry.units import Units
from school.convert import BuiltStage, stages_from_data, stages_of, units_of
from school.enums import HOLDING_STATES, Happened
from school.models import Account, Horse, Lesson, LessonGrid, RiddenRide, RideLog, Rider
from school.permissions import may_log_ride, may_see_histories
from school.queries.lessons import booked_rides, lesson_with_all
from school.queries.ride_logs import (
    history_of_horse,
    history_of_rider,
    log_of,
    work_register,
)
from school.queries.schools import the_school
from school.services.ride_logs import UnableToLog, log_ride
from school.web.access import account_of, allowed, in_hand
from school.web.ride_log_form import Filled, entry_of, from_log, read, shown, usual
from school.web.suggestions import suggestions_for
from school.web.work_register import work_rows

HELPED_AS = {Happened.RUN_OUT.value: Happened.STOP.value}
"""Exercises name one fault for both."""

REMEDIED_AS = {Happened.RIDER_LEFT_BEHIND.value: "rider-behind"}
"""Faults that the remedies name otherwise."""

REGISTER_DAYS = 28
"""Days a horse's own register goes back."""


@allowed(may_see_histories)
def ride_log(request: HttpRequest, pk: int) -> HttpResponse:
    """Log a lesson's ride, show what is logged, or correct it."""
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    if not may_log_ride(account_of(request), lesson):
        raise PermissionDenied
    grid: LessonGrid | None = getattr(lesson, "grid", None)
    if grid is None or not _may_log_now(lesson):
        return render(
            request, "school/ride_log_not_yet.html", {"lesson": lesson, "grid": grid}
        )
    rides = [one for one in booked_rides(lesson) if one.horse is not None]
    stages, gaps = stages_of(grid), gaps_of(grid)
    log = log_of(lesson)
    if request.method == "POST":
        return _logged(request, lesson, read(request.POST, rides, gaps), stages, log)
    if log is not None and "correct" not in request.GET:
        return _summary(request, lesson, log)
    filled = usual(stages) if log is None else from_log(log)
    return _form(request, lesson, filled, stages, log)


def _may_log_now(lesson: Lesson) -> bool:
    return lesson.state in HOLDING_STATES and lesson.starts_at <= timezone.now()


def lesson_log(account: Account, lesson: Lesson) -> dict[str, Any]:
    """Return what a lesson's page says of its log, and of the stage to aim at."""
    grid: LessonGrid | None = getattr(lesson, "grid", None)
    if grid is None or not may_log_ride(account, lesson):
        return {}
    open_ = _may_log_now(lesson)
    logged = open_ and RideLog.objects.filter(lesson=lesson).exists()
    return {
        "may_log": open_,
        "logged": logged,
        "suggested": None
        if open_
        else suggestions_for(
            lesson,
            grid.revision.exercise_id,
            len(stages_of(grid)),
            min(timezone.now(), lesson.starts_at),
        ),
    }


def gaps_of(grid: LessonGrid) -> dict[int, int]:
    """Return the gaps as built [cm], by the element they are before, from 1."""
    return {
        int(one["before"]) + 1: int(one["built_cm"])
        for one in grid.fitted.get("gaps", [])
    }


def _logged(
    request: HttpRequest,
    lesson: Lesson,
    filled: Filled,
    stages: tuple[BuiltStage, ...],
    log: RideLog | None,
) -> HttpResponse:
    try:
        log_ride(
            lesson=lesson,
            entry=entry_of(filled),
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToLog as error:
        if error.code == "changed-meanwhile":
            filled.corrects = 0 if log is None else log.number
        return _form(request, lesson, filled, stages, log, refusal=error.says)
    messages.success(request, "Logged.")
    return redirect("ride-log", pk=lesson.pk)


def _form(
    request: HttpRequest,
    lesson: Lesson,
    filled: Filled,
    stages: tuple[BuiltStage, ...],
    log: RideLog | None,
    refusal: str = "",
) -> HttpResponse:
    rides = [one for one in booked_rides(lesson) if one.horse is not None]
    gaps, units = gaps_of(lesson.grid), units_of(the_school())
    context = {
        "lesson": lesson,
        "form": shown(filled, stages, rides, gaps, units),
        "log": log,
        "theirs": _told(log, units) if refusal and log is not None else None,
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "school/ride_log.html", context, status=status)


def _summary(request: HttpRequest, lesson: Lesson, log: RideLog) -> HttpResponse:
    exercise = log.revision.exercise
    context = {
        "lesson": lesson,
        "in_hand": in_hand(request, lesson),
        "log": log,
        "told": _told(log, units_of(the_school())),
        "remedies_at": reverse("lesson-remedies", args=[lesson.pk]),
        "exercise": exercise,
        "suggested": suggestions_for(
            lesson, exercise.pk, len(log.stages), timezone.now()
        ),
    }
    return render(request, "school/ride_logged.html", context)


def _told(log: RideLog, units: Units) -> dict[str, Any]:
    """Return a log in words."""
    stages = stages_from_data(log.stages)
    return {
        "stage": log.stage,
        "of": len(stages),
        "says": stages[log.stage - 1].says if log.stage else "",
        "measured": [
            {"gap": one["gap"], "length": units.length(one["cm"])}
            for one in log.measured
        ],
        "rides": [_ridden(one, stages, units) for one in log.ridden.all()],
    }


def _ridden(
    one: RiddenRide, stages: tuple[BuiltStage, ...], units: Units
) -> dict[str, Any]:
    elements = stages[-1].elements
    stood = stages[one.log.stage - 1].elements if one.log.stage else ()
    return {
        "ridden": one,
        "stage": one.log.stage,
        "of": len(stages),
        "says": stages[one.log.stage - 1].says if one.log.stage else "",
        "highest": units.height(max(one.height_cm for one in stood)) if stood else "",
        "efforts": efforts_words(one.quarter_efforts),
        "notes": [
            {
                "what": note.get_what_display(),
                "fault": (fault := HELPED_AS.get(note.what, note.what)),
                "remedies": remedies_query(fault, note.element),
                "at": element_words(elements[note.element - 1], units).split(",")[0]
                if note.element and note.element <= len(elements)
                else "",
                "number": note.element,
                "often": note.often,
            }
            for note in one.notes.all()
        ],
    }


def remedies_query(fault: str, element: int | None) -> str:
    """Return what asks the page of remedies for a fault at an element of a row."""
    asked = {"fault": REMEDIED_AS.get(fault, fault.replace(" ", "-"))}
    return urlencode(asked | ({"element": str(element)} if element else {}))


def _told_each(every: Iterable[RiddenRide], units: Units) -> list[dict[str, Any]]:
    return [_ridden(one, stages_from_data(one.log.stages), units) for one in every]


@allowed(may_see_histories)
def horse_history(request: HttpRequest, pk: int) -> HttpResponse:
    horse = Horse.objects.filter(pk=pk).first()
    if horse is None:
        raise Http404
    school, today = the_school(), timezone.localdate()
    zone, units = ZoneInfo(school.zone), units_of(school)
    first = today - timedelta(days=REGISTER_DAYS - 1)
    context = {
        "horse": horse,
        "ridden": _told_each(history_of_horse(horse), units),
        "days": work_rows(
            work_register(
                [horse],
                first,
                today,
                zone,
                timezone.now(),
                tacked_min=school.tacked_up_min,
            )
        ),
        "register_days": REGISTER_DAYS,
        "today": today,
        "units": units,
    }
    return render(request, "school/horse_history.html", context)


@allowed(may_see_histories)
def rider_history(request: HttpRequest, pk: int) -> HttpResponse:
    rider = Rider.objects.select_related("person").filter(pk=pk).first()
    if rider is None:
        raise Http404
    units = units_of(the_school())
    context = {
        "rider": rider,
        "ridden": _told_each(history_of_rider(rider), units),
        "units": units,
    }
    return render(request, "school/rider_history.html", context)
