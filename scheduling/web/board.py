"""A lesson on the board: looked at, tried out, changed, cancelled, taken back."""

from datetime import date
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.services.board import Foretold, day_of, foretell
from scheduling.web.board_forms import ChangeForm
from school.enums import LessonState
from school.models import Lesson
from school.permissions import is_manager
from school.queries.lessons import lesson_with_all
from school.queries.schools import the_school
from school.services.lesson_changes import (
    Change,
    broken_by,
    change_lesson,
    undo_last,
)
from school.services.lessons import UnableToBook
from school.web.access import account_of, allowed
from school.web.overruling import offer_to_overrule, reason_of
from school.web.undoing import mails_in_words

CANCELS = "cancel"
PANEL, SAID = "scheduling/_board_lesson.html", "scheduling/_foretold.html"


def _lesson(pk: int) -> Lesson:
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    return lesson


@allowed(is_manager)
def board_lesson(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(pk)
    return _show(request, lesson, ChangeForm(lesson=lesson))


def _show(
    request: HttpRequest,
    lesson: Lesson,
    form: ChangeForm,
    *,
    refusal: str = "",
    foretold: Foretold | None = None,
    more: dict[str, Any] | None = None,
) -> HttpResponse:
    """Show a lesson's form, as a part of the board or as a page of its own."""
    part = request.headers.get("HX-Request") == "true"
    context = {
        "lesson": lesson,
        "form": form,
        "refusal": refusal,
        "foretold": foretold,
        "day": day_of(lesson.starts_at),
        "over": lesson.state in {"cancelled", "running", "done"},
        "back": _back(request),
        "school": the_school(),
        "overrule": reason_of(request),
    }
    context |= more or {}
    template = PANEL if part else "scheduling/board_lesson.html"
    return render(request, template, context, status=409 if refusal else 200)


def _words(form: ChangeForm) -> str:
    """Say what is wrong with the fields."""
    said = [
        f"{form[name].label}: {' '.join(one['message'] for one in says)}"
        for name, says in form.errors.get_json_data().items()
    ]
    return f"Look at these fields again. {' '.join(said)}"


@require_POST
@allowed(is_manager)
def preview_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what a change would break and cost; nothing is written."""
    lesson = _lesson(pk)
    cancels = request.POST.get("do") == CANCELS
    form = ChangeForm(request.POST, lesson=lesson, cancels=cancels)
    if not form.is_valid():
        foretold = Foretold(broken=(_words(form),))
    else:
        change = form.change()
        if cancels and not change.reason:
            # Who would be told can be said before the reason is.
            change = Change(version=change.version, reason="to be said")
        foretold = _foretold(request, lesson, change)
    if request.headers.get("HX-Request") != "true":
        return _show(request, lesson, form, foretold=foretold)
    context = {
        "foretold": foretold,
        "key": request.POST.get("key", ""),
        "day": day_of(lesson.starts_at),
        "overrule": reason_of(request),
    }
    return render(request, SAID, context)


def _foretold(request: HttpRequest, lesson: Lesson, change: Change) -> Foretold:
    now = timezone.now()
    dates = [day_of(lesson.starts_at), day_of(change.starts_at or lesson.starts_at)]
    do = partial(
        change_lesson, lesson=lesson, change=change, by=account_of(request), now=now
    )
    broken = partial(broken_by, lesson=lesson, change=change)
    return foretell(do=do, dates=dates, now=now, lesson=lesson, broken=broken)


@require_POST
@allowed(is_manager)
def change(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(pk)
    cancels = request.POST.get("do") == CANCELS
    form = ChangeForm(request.POST, lesson=lesson, cancels=cancels)
    if not form.is_valid():
        return _show(request, lesson, form, refusal=_words(form))
    asked = form.change()
    if cancels and not asked.reason:
        return _show(request, lesson, form, refusal="Say why the lesson is cancelled.")
    now = timezone.now()
    try:
        changed = change_lesson(
            lesson=lesson, change=asked, by=account_of(request), now=now
        )
    except UnableToBook as error:
        if error.code == "changed-meanwhile":
            # What is there now, not what was typed over what is gone.
            fresh = _lesson(pk)
            form = ChangeForm(lesson=fresh)
            return _show(request, fresh, form, refusal=error.says)
        more = offer_to_overrule(request, error)
        return _show(request, lesson, form, refusal=error.says, more=more)
    if changed.version == asked.version:
        messages.success(request, f"{changed.title} stays as it was; no mail goes.")
    else:
        done = "cancelled" if cancels else "changed"
        mails = mails_in_words(changed, now)
        messages.success(request, f"{changed.title} is {done}. {mails}")
    return _to_board(request, day_of(changed.starts_at), None if cancels else changed)


def _back(request: HttpRequest) -> str:
    """Return which board somebody came from, the day's or the week's."""
    asked = request.POST.get("back") or request.GET.get("back")
    return "week" if asked == "week" else "day"


def _to_board(request: HttpRequest, day: date, lesson: Lesson | None) -> HttpResponse:
    address = reverse(_back(request), args=[day.isoformat()])
    return redirect(address if lesson is None else f"{address}#lesson-{lesson.pk}")


@require_POST
@allowed(is_manager)
def undo(request: HttpRequest) -> HttpResponse:
    """Take back the last action of who asks."""
    offered, now = request.POST.get("entry", ""), timezone.now()
    try:
        lesson = undo_last(
            by=account_of(request),
            now=now,
            entry_id=int(offered) if offered.isdecimal() else None,
        )
    except UnableToBook as error:
        messages.error(request, f"Not taken back. {error.says}")
        day = request.POST.get("day", "")
        board = reverse(_back(request), args=[day]) if _is_day(day) else "home"
        return redirect(board)
    is_now = "is as it was"
    if lesson.state == LessonState.CANCELLED:
        is_now = "is booked no more"
    mails = mails_in_words(lesson, now)
    messages.success(request, f"Taken back: {lesson.title} {is_now}. {mails}")
    return _to_board(request, day_of(lesson.starts_at), lesson)


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
