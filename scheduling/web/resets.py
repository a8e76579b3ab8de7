"""The reset list: what to do now, next, and for the rest of the day."""

from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.units import Units
from scheduling.models import Changeover, ChangeoverMove
from scheduling.queries import changeover_with_all, changeovers_of_day
from scheduling.services.changeovers import (
    UnableToReset,
    finish_changeover,
    report_trouble,
    start_changeover,
    tick_move,
)
from scheduling.sheets.reset_list import TEMPLATE, reset_sheet
from scheduling.web.days import read_day_or_404
from scheduling.wording import changeover_carry, move_words, piece_words
from school.convert import units_of
from school.permissions import is_staff_of_yard, may_work_resets
from school.queries.schools import the_school
from school.sheets.typeset import typeset
from school.web.access import account_of, allowed
from school.web.build_sheets import answer_pdf

TROUBLES = (
    "A piece is broken",
    "A piece is missing",
    "Not this way",
    "Needs two people",
    "The ground",
    "Something else",
)
"""What can be the trouble, to press with gloves on."""


@allowed(is_staff_of_yard)
def reset_list(request: HttpRequest, day: str) -> HttpResponse:
    when, units = read_day_or_404(day), units_of(the_school())
    changeovers = changeovers_of_day(when)
    open_ = [one for one in changeovers if one.done_at is None]
    context = {
        "day": when,
        "changeovers": [card_of(one, units) for one in changeovers],
        "now_pk": open_[0].pk if open_ else None,
        "next_pk": open_[1].pk if len(open_) > 1 else None,
        "done": len(changeovers) - len(open_),
        "may_work": may_work_resets(account_of(request)),
        "troubles": TROUBLES,
        "refusal": request.session.pop("reset_refusal", ""),
    }
    return render(request, "scheduling/resets.html", context)


@allowed(is_staff_of_yard)
def reset_list_pdf(request: HttpRequest, day: str) -> HttpResponse:
    """Answer with the day's list on paper."""
    when = read_day_or_404(day)
    sheet = reset_sheet(
        day=when,
        changeovers=changeovers_of_day(when),
        school=the_school(),
        address=settings.BASE_URL + reverse("resets", args=[day]),
        now=timezone.now(),
    )
    return answer_pdf(
        typeset(TEMPLATE, sheet.as_data(), now=timezone.now()), f"reset-list-{when}"
    )


def card_of(changeover: Changeover, units: Units) -> dict[str, Any]:
    """Return what the list shows of a changeover."""
    datum = changeover.line.datum
    moves = list(changeover.moves.all())
    carry = changeover_carry([_data(one) for one in moves])
    length = changeover.ends_at - changeover.starts_at
    return {
        "changeover": changeover,
        "minutes": int(length.total_seconds() // 60),
        "bring": piece_words(carry.bring),
        "take_back": piece_words(carry.take_back),
        "moves": [
            {
                "move": one,
                "words": move_words(_data(one), datum, units),
                "was": _element(one.was, units),
                "now": _element(one.now, units),
            }
            for one in moves
        ],
    }


def _data(move: ChangeoverMove) -> dict[str, Any]:
    return {"do": move.do, "was": move.was, "now": move.now}


def _element(data: dict[str, Any] | None, units: Units) -> str:
    if not data:
        return ""
    one = element_from_data(data)
    return f"{units.length(one.at_cm)} {element_words(one, units)}"


def _back(changeover: Changeover) -> HttpResponse:
    address = redirect("resets", day=changeover.plan.date.isoformat())
    address["Location"] += f"#changeover-{changeover.pk}"
    return address


@require_POST
@allowed(may_work_resets)
def start(request: HttpRequest, pk: int) -> HttpResponse:
    return _work(request, pk, start_changeover)


@require_POST
@allowed(may_work_resets)
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    return _work(request, pk, finish_changeover)


@require_POST
@allowed(may_work_resets)
def trouble(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what went otherwise; the instructor and the manager see it."""

    def report(**who: Any) -> None:
        report_trouble(
            what=request.POST.get("what", ""), says=request.POST.get("says", ""), **who
        )

    return _work(request, pk, report)


def _work(request: HttpRequest, pk: int, service: Any) -> HttpResponse:
    changeover = changeover_with_all(pk)
    if changeover is None:
        raise Http404
    try:
        service(changeover=changeover, by=account_of(request), now=timezone.now())
    except UnableToReset as error:
        request.session["reset_refusal"] = str(error)
    return _back(changeover)


@require_POST
@allowed(may_work_resets)
def tick(request: HttpRequest, pk: int) -> HttpResponse:
    """Tick or untick a move; htmx swaps the move alone, else the page comes back."""
    move = ChangeoverMove.objects.select_related("changeover__plan").filter(pk=pk)
    found = move.first()
    if found is None:
        raise Http404
    ticked = request.POST.get("ticked") == "1"
    try:
        tick_move(move=found, ticked=ticked, by=account_of(request), now=timezone.now())
    except UnableToReset as error:
        request.session["reset_refusal"] = str(error)
    changeover = changeover_with_all(found.changeover_id)
    if changeover is None:
        return redirect("resets", day=found.changeover.plan.date.isoformat())
    if getattr(request, "htmx", False) and "reset_refusal" not in request.session:
        card = card_of(changeover, units_of(the_school()))
        row = next(one for one in card["moves"] if one["move"].pk == pk)
        return render(request, "scheduling/_move.html", {"row": row, "may_work": True})
    return _back(changeover)
