"""The reset list: what to do now, next, and for the rest of the day."""

import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.geometry.elements import Piece
from exercises.geometry.units import Units
from scheduling.models import Changeover, ChangeoverMove, Press
from scheduling.queries import (
    changeover_even_cancelled,
    changeovers_of_day,
    changeovers_of_plan,
    photos_of_day,
    piece_weights,
)
from scheduling.services.changeovers import UnableToReset
from scheduling.services.photos import MOST_BYTES, photo_path
from scheduling.services.presses import Sent, take_press
from scheduling.sheets.listed import listed_work
from scheduling.sheets.reset_list import TEMPLATE, reset_sheet
from scheduling.web.days import read_day_or_404
from scheduling.web.reset_page import busy_times, changed_at, over_words, pocket
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
    account, weights_g = account_of(request), piece_weights()
    rest = pocket(when, account)
    changeovers = changeovers_of_plan(rest["plan"]) if rest["plan"] else []
    over = {one.pk: over_words(one) for one in changeovers}
    changed, busy = changed_at(rest["news"]), busy_times(changeovers, when)
    photos = photos_of_day(when)
    open_ = [one for one in changeovers if one.done_at is None and not over[one.pk]]
    context = {
        "day": when,
        "changeovers": [
            card_of(one, units, weights_g)
            | {
                "over": over[one.pk],
                "changed": changed.get(one.pk, ()),
                "busy": json.dumps(busy[one.pk]),
                "opened": one in open_[:2] or _under_way(one),
                "photos": photos.get((one.line_id, one.lesson_id), ()),
            }
            for one in changeovers
        ],
        "now_pk": open_[0].pk if open_ else None,
        "next_pk": open_[1].pk if len(open_) > 1 else None,
        "done": sum(one.done_at is not None for one in changeovers),
        "may_work": may_work_resets(account),
        "troubles": TROUBLES,
        "refusal": request.session.pop("reset_refusal", ""),
        **rest,
    }
    return render(request, "scheduling/resets.html", context)


def _under_way(one: Changeover) -> bool:
    """Say whether somebody is at it: then it is not folded."""
    return one.started_at is not None and one.done_at is None


@allowed(is_staff_of_yard)
def reset_list_pdf(request: HttpRequest, day: str) -> HttpResponse:
    """Answer with the day's list on paper."""
    when = read_day_or_404(day)
    sheet = reset_sheet(
        day=when,
        changeovers=changeovers_of_day(when),
        school=the_school(),
        weights_g=piece_weights(),
        address=settings.BASE_URL + reverse("resets", args=[day]),
        now=timezone.now(),
    )
    return answer_pdf(
        typeset(TEMPLATE, sheet.as_data(), now=timezone.now()), f"reset-list-{when}"
    )


def card_of(
    changeover: Changeover, units: Units, weights_g: Mapping[Piece, int]
) -> dict[str, Any]:
    """Return what the list shows of a changeover."""
    return {
        "changeover": changeover,
        "work": listed_work(changeover, units, weights_g),
    }


def _back(changeover: Changeover) -> HttpResponse:
    address = redirect("resets", day=changeover.plan.date.isoformat())
    address["Location"] += f"#changeover-{changeover.pk}"
    return address


@require_POST
@allowed(may_work_resets)
def start(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.START, pk)


@require_POST
@allowed(may_work_resets)
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.DONE, pk)


@require_POST
@allowed(may_work_resets)
def trouble(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what went otherwise; the instructor and the manager see it."""
    answer = _pressed(request, Press.Does.TROUBLE, pk)
    photo = request.FILES.get("photo")
    if photo is not None and "reset_refusal" not in request.session:
        answer = _pressed(request, Press.Does.PHOTO, pk, photo=_read(photo))
    return answer


def _read(photo: UploadedFile) -> bytes:
    """Read an upload, but never much more than is taken."""
    return bytes(photo.read(MOST_BYTES + 1))


@allowed(is_staff_of_yard)
def photo(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Show a photo of trouble to the yard's staff, and nobody else."""
    path = photo_path(uid)
    if not path.exists():
        raise Http404
    response = HttpResponse(path.read_bytes(), content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=86400"
    return response


@require_POST
@allowed(may_work_resets)
def tick(request: HttpRequest, pk: int) -> HttpResponse:
    """Tick or untick a move."""
    move = ChangeoverMove.objects.filter(pk=pk).first()
    if move is None:
        raise Http404
    ticked = request.POST.get("ticked") == "1"
    does = Press.Does.TICK if ticked else Press.Does.UNTICK
    return _pressed(request, does, move.changeover_id, move=pk)


def _pressed(
    request: HttpRequest,
    does: str,
    pk: int,
    move: int | None = None,
    photo: bytes = b"",
) -> HttpResponse:
    """Take a press of a form, as a phone's are taken, and say what became of it."""
    now = timezone.now()
    sent = Sent(
        uid=uuid4(),
        phone=None,
        number=int(now.timestamp() * 1000),
        does=does,
        changeover=pk,
        move=move,
        what=request.POST.get("what", ""),
        says=request.POST.get("says", ""),
        pressed_at=now,
        photo=photo,
    )
    changeover = changeover_even_cancelled(pk)
    if changeover is None:
        raise Http404
    try:
        press = take_press(sent=sent, by=account_of(request), now=now)
    except UnableToReset as refused:
        request.session["reset_refusal"] = refused.says
    else:
        if press.outcome == Press.Outcome.KEPT:
            request.session["reset_refusal"] = press.says
        elif press.says:
            messages.warning(request, press.says)
    return _back(changeover)
