"""Who waits for which time, which places fit them, and who fits a place."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Lesson, WaitingWish
from school.permissions import is_manager
from school.queries.waiting import SEVERAL, TO_BE_HAD, lesson_with_place
from school.services.offers import OPEN_HOURS, offer_place, offer_places
from school.services.refusals import UnableToBook
from school.services.who_fits import waiting_list, who_fits
from school.web.access import account_of, allowed
from school.web.overruling import mended_at

HOURS = ((2, "2 hours"), (6, "6 hours"), (24, "a day"), (48, "two days"))


@require_safe
@allowed(is_manager)
def waiting(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(
    request: HttpRequest, refusal: str = "", more: dict[str, Any] | None = None
) -> HttpResponse:
    now = timezone.now()
    context = {"rows": waiting_list(now), "now": now, "refusal": refusal}
    status = 409 if refusal else 200
    return render(request, "school/waiting.html", context | (more or {}), status=status)


@require_POST
@allowed(is_manager)
def offer(request: HttpRequest, pk: int) -> HttpResponse:
    wish = WaitingWish.objects.select_related("rider__person", "rider__client__person")
    chosen = request.POST.get("lesson", "")
    lesson = Lesson.objects.filter(pk=int(chosen) if chosen.isdecimal() else 0)
    found, place = wish.filter(pk=pk).first(), lesson.first()
    if found is None or place is None:
        raise Http404
    try:
        offer_place(
            wish=found, lesson=place, by=account_of(request), now=timezone.now()
        )
    except UnableToBook as error:
        return _show(request, refusal=error.says, more=mended_at(error))
    messages.success(request, "Offered; the client is written to.")
    return redirect("waiting")


def _lesson(pk: int) -> Lesson:
    lesson = lesson_with_place(pk)
    if lesson is None:
        raise Http404
    return lesson


@require_safe
@allowed(is_manager)
def who_fits_page(request: HttpRequest, pk: int) -> HttpResponse:
    return _show_place(request, _lesson(pk))


def _show_place(
    request: HttpRequest,
    lesson: Lesson,
    refusal: str = "",
    more: dict[str, Any] | None = None,
) -> HttpResponse:
    now = timezone.now()
    pairs = who_fits(lesson, now)
    taken: int = getattr(lesson, "taken", 0)
    context = {
        "lesson": lesson,
        "left": max(lesson.places - taken, 0),
        "open": lesson.state in TO_BE_HAD
        and lesson.kind in SEVERAL
        and lesson.starts_at > now,
        "fitting": [one for one in pairs if one.fits],
        "others": [one for one in pairs if not one.fits],
        "hours": HOURS,
        "usual": OPEN_HOURS,
        "now": now,
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(
        request, "school/who_fits.html", context | (more or {}), status=status
    )


@require_POST
@allowed(is_manager)
def offer_to(request: HttpRequest, pk: int) -> HttpResponse:
    """Offer a lesson's place to those who are ticked, until a time."""
    lesson = _lesson(pk)
    keys = [int(one) for one in request.POST.getlist("wish") if one.isdecimal()]
    hours = request.POST.get("hours", "")
    wishes = WaitingWish.objects.select_related(
        "rider__person", "rider__client__person"
    )
    try:
        made = offer_places(
            wishes=list(wishes.filter(pk__in=keys).order_by("made_at", "pk")),
            lesson=lesson,
            by=account_of(request),
            now=timezone.now(),
            hours=int(hours) if hours.isdecimal() else 0,
        )
    except UnableToBook as error:
        return _show_place(request, lesson, error.says, mended_at(error))
    names = ", ".join(one.wish.rider.person.first_name for one in made)
    messages.success(request, f"Offered to {names}; their clients are written to.")
    return redirect("who-fits", pk=pk)
