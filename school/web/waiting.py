"""Who waits for which time, and which lessons have a place for them."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Lesson, WaitingWish
from school.permissions import is_manager
from school.queries.schools import school_zone
from school.queries.waiting import waiting_list
from school.services.offers import offer_place
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed


@require_safe
@allowed(is_manager)
def waiting(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(request: HttpRequest, refusal: str = "") -> HttpResponse:
    now = timezone.now()
    rows = [
        {
            "wish": one.wish,
            "fits": one.fits,
            "offered": {
                offer.lesson_id
                for offer in one.wish.offers.all()
                if offer.state == "open" and offer.ends_at > now
            },
        }
        for one in waiting_list(now, school_zone())
    ]
    status = 409 if refusal else 200
    context = {"rows": rows, "now": now, "refusal": refusal}
    return render(request, "school/waiting.html", context, status=status)


@require_POST
@allowed(is_manager)
def offer(request: HttpRequest, pk: int) -> HttpResponse:
    wish = WaitingWish.objects.select_related("rider__client__person").filter(pk=pk)
    chosen = request.POST.get("lesson", "")
    lesson = Lesson.objects.filter(pk=int(chosen) if chosen.isdecimal() else 0)
    found, place = wish.first(), lesson.first()
    if found is None or place is None:
        raise Http404
    try:
        offer_place(
            wish=found, lesson=place, by=account_of(request), now=timezone.now()
        )
    except UnableToBook as error:
        return _show(request, refusal=error.says)
    messages.success(request, "Offered; the client is written to.")
    return redirect("waiting")
