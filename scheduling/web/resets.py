"""The reset list: what to do now, next, and for the rest of the day."""

import json
from collections.abc import Mapping
from datetime import date, datetime
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

from exercises.geometry.units import Units
from scheduling.convert.changeovers import purpose_words, who_words, work_words
from scheduling.convert.fetching import fetched_before
from scheduling.models import Changeover, ChangeoverMove, Press
from scheduling.queries.carrying import Carrying, carrying_of_yard
from scheduling.queries.changeovers import (
    changeover_even_cancelled,
    changeovers_of_day,
    changeovers_of_plan,
)
from scheduling.queries.presses import photos_of_day
from scheduling.services.changeovers import UnableToReset, over_words
from scheduling.services.photos import KEPT, MOST_BYTES, photo_path
from scheduling.services.presses import Sent, take_press
from scheduling.sheets.listed import listed_work
from scheduling.sheets.reset_list import TEMPLATE, reset_sheet
from scheduling.web.days import read_day_or_404
from scheduling.web.reset_page import (
    busy_for_work,
    busy_times,
    changed_at,
    pocket,
)
from school.convert import units_of
from school.models import School, YardWork
from school.permissions import is_staff_of_yard, may_work_resets
from school.queries.daylight import daylight, light_words
from school.queries.schools import the_school
from school.queries.store import store_by_place
from school.queries.yard import yard_work_between, yard_work_of_day
from school.services.yard_done import off_words
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
    when, school = read_day_or_404(day), the_school()
    units, light = units_of(school), daylight(school, when)
    account, carrying = account_of(request), carrying_of_yard(school)
    rest = pocket(when, account)
    changeovers = changeovers_of_plan(rest["plan"]) if rest["plan"] else []
    over = {one.pk: over_words(one) for one in changeovers}
    changed, busy = changed_at(rest["news"]), busy_times(changeovers, when)
    photos = photos_of_day(when)
    fetched = fetched_before(changeovers, store_by_place())
    cards = [
        card_of(one, units, carrying)
        | {
            "key": str(one.pk),
            "over": over[one.pk],
            "fetch": fetched.get(one.pk, ""),
            "changed": changed.get(one.pk, ()),
            "light": light_words(light, one.line.arena, one.starts_at, one.ends_at),
            "busy": json.dumps(busy[one.pk]),
            "photos": photos.get(one.work, ()),
        }
        for one in changeovers
    ]
    cards = sorted([*cards, *yard_cards(when, photos, school)], key=_by_time)
    open_ = [
        card["key"]
        for card in cards
        if card["changeover"].done_at is None and not card["over"]
    ]
    for card in cards:
        at_hand = card["key"] in open_[:2]
        card["opened"] = at_hand or _under_way(card["changeover"])
    context = {
        "day": when,
        "changeovers": cards,
        "now_key": open_[0] if open_ else None,
        "next_key": open_[1] if len(open_) > 1 else None,
        "done": sum(card["changeover"].done_at is not None for card in cards),
        "may_work": may_work_resets(account),
        "troubles": TROUBLES,
        "photo_days": KEPT.days,
        "refusal": request.session.pop("reset_refusal", ""),
        **rest,
    }
    return render(request, "scheduling/resets.html", context)


def _under_way(one: Changeover | YardWork) -> bool:
    """Say whether somebody is at it: then it is not folded."""
    return one.started_at is not None and one.done_at is None


@allowed(is_staff_of_yard)
def reset_list_pdf(request: HttpRequest, day: str) -> HttpResponse:
    """Answer with the day's list on paper."""
    when, school = read_day_or_404(day), the_school()
    changeovers = changeovers_of_day(when)
    sheet = reset_sheet(
        day=when,
        changeovers=changeovers,
        fetched=fetched_before(changeovers, store_by_place()),
        works=yard_work_between(when, when),
        school=school,
        carrying=carrying_of_yard(school),
        address=settings.BASE_URL + reverse("resets", args=[day]),
        now=timezone.now(),
    )
    return answer_pdf(
        typeset(TEMPLATE, sheet.as_data(), now=timezone.now()), f"reset-list-{when}"
    )


def card_of(changeover: Changeover, units: Units, carrying: Carrying) -> dict[str, Any]:
    """Return what the list shows of a changeover."""
    return {
        "changeover": changeover,
        "aside": units.length(changeover.line.from_long_side_cm),
        "who": who_words(changeover, timezone.get_current_timezone()),
        "purpose": purpose_words(changeover, timezone.get_current_timezone()),
        "work": listed_work(changeover, units, carrying),
    }


def yard_cards(
    day: date, photos: Mapping[tuple[Any, Any], list[Press]], school: School
) -> list[dict[str, Any]]:
    """Return what the list shows of a day's work of the ground."""
    works, units = yard_work_of_day(day), units_of(school)
    busy = busy_for_work(works, day)
    return [
        {
            "yard": True,
            "changeover": one,
            "key": f"work-{one.pk}",
            "over": off_words(one),
            "minutes": int((one.ends_at - one.starts_at).total_seconds() // 60),
            "what": f"{one.what[0].lower()}{one.what[1:]}",
            "who": who_words(one, timezone.get_current_timezone()),
            "says": work_words(one, units, school.harrow_min),
            "busy": json.dumps(busy[one.pk]),
            "photos": photos.get(("work", one.pk), ()),
        }
        for one in works
    ]


def _by_time(card: Mapping[str, Any]) -> datetime:
    at: datetime = card["changeover"].starts_at
    return at


def _back(day: date, anchor: str) -> HttpResponse:
    address = redirect("resets", day=day.isoformat())
    address["Location"] += f"#{anchor}"
    return address


@require_POST
@allowed(may_work_resets)
def start(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.START, changeover=pk)


@require_POST
@allowed(may_work_resets)
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.DONE, changeover=pk)


@require_POST
@allowed(may_work_resets)
def trouble(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what went otherwise; the instructor and the manager see it."""
    return _troubled(request, changeover=pk)


@require_POST
@allowed(may_work_resets)
def start_yard_work(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.START, work=pk)


@require_POST
@allowed(may_work_resets)
def finish_yard_work(request: HttpRequest, pk: int) -> HttpResponse:
    return _pressed(request, Press.Does.DONE, work=pk)


@require_POST
@allowed(may_work_resets)
def yard_trouble(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what went otherwise with the ground; the manager sees it."""
    return _troubled(request, work=pk)


def _troubled(
    request: HttpRequest, changeover: int | None = None, work: int | None = None
) -> HttpResponse:
    answer = _pressed(request, Press.Does.TROUBLE, changeover, work)
    photo = request.FILES.get("photo")
    if photo is not None and "reset_refusal" not in request.session:
        answer = _pressed(
            request, Press.Does.PHOTO, changeover, work, photo=_read(photo)
        )
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
    return _pressed(request, does, changeover=move.changeover_id, move=pk)


def _pressed(
    request: HttpRequest,
    does: str,
    changeover: int | None = None,
    work: int | None = None,
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
        changeover=changeover,
        work=work,
        move=move,
        what=request.POST.get("what", ""),
        says=request.POST.get("says", ""),
        pressed_at=now,
        photo=photo,
    )
    back = _back_to(changeover, work)
    try:
        press = take_press(sent=sent, by=account_of(request), now=now)
    except UnableToReset as refused:
        request.session["reset_refusal"] = refused.says
    else:
        if press.outcome == Press.Outcome.KEPT:
            request.session["reset_refusal"] = press.says
        elif press.says:
            messages.warning(request, press.says)
    return back


def _back_to(changeover: int | None, work: int | None) -> HttpResponse:
    """Return to where it was pressed; what is unknown has no page."""
    if work is not None:
        found = YardWork.objects.filter(pk=work).first()
        if found is not None:
            return _back(found.date, f"changeover-work-{work}")
    one = changeover_even_cancelled(changeover or 0)
    if one is None:
        raise Http404
    return _back(one.plan.date, f"changeover-{changeover}")
