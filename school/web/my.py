"""A client's pages by signed link: no account, no cookie; opening changes nothing.

Programs that look through mails open every link in them, so only a button does
something. The link itself is the permission, so there is nothing for a forged
form to borrow, and no token against it is needed.
"""

from collections.abc import Callable
from datetime import date, timedelta
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from school.enums import Answer
from school.models import Client, Rider, School
from school.queries.clients import (
    ClientLesson,
    called_off,
    client_feeds,
    client_lesson,
    consents_of,
    credits_of,
    ended_in_words,
    entries_by_invite,
    next_lessons,
    open_offers,
    open_wishes,
    packs_of,
    past_rides,
    without_consent,
)
from school.queries.consents import wanted_again
from school.queries.links import InvalidLink, Link, find_link
from school.queries.outcomes import costs_of_giving_back, outcomes_of
from school.queries.riders import ENDS_SOON
from school.queries.schools import the_school
from school.services.answers import (
    UnableToAnswer,
    give_back,
    make_wish,
    note_answer,
    withdraw_wish,
)
from school.services.refusals import UnableToBook
from school.web.forms import WishForm

View = Callable[..., HttpResponse]

SOON = timedelta(days=14)
"""What ends within this time is said to end soon."""

SAID = {
    "accepted": "Thank you: the school knows that you come.",
    "kept": "Good: the lesson stays booked.",
    "given-back": "The place is given back. The lesson goes from your calendar.",
    "wished": "Your wish is on the waiting list.",
    "wish-withdrawn": "The wish is off the waiting list.",
    "taken": "The place is yours; it is among your lessons now.",
    "declined": "The offer is declined; you stay on the waiting list.",
    "renewed": "Thank you: the consent holds for a year.",
    "all-in-feed": "Your calendar subscription shows every lesson now.",
    "withdrawn": "That calendar address is closed.",
}


def linked(view: View) -> View:
    """Let a view be used by whoever has a good link; else say what is wrong with it."""

    @csrf_exempt
    @wraps(view)
    def guarded(request: HttpRequest, token: str, **kwargs: Any) -> HttpResponse:
        try:
            link = find_link(token, now=timezone.now())
            _within(link, kwargs)
        except InvalidLink as error:
            context = {"says": error.says, "school": the_school()}
            response = render(request, "school/my/ended.html", context, status=404)
        else:
            response = view(request, link, **kwargs)
        # The address is a secret: in no cache, no search engine, no referrer.
        response["Cache-Control"] = "no-store"
        response["Referrer-Policy"] = "no-referrer"
        response["X-Robots-Tag"] = "noindex"
        return response

    return guarded


def _within(link: Link, asked: dict[str, Any]) -> None:
    """Refuse a lesson's link for anything but its lesson."""
    if link.lesson_id is not None and asked.get("pk") != link.lesson_id:
        raise InvalidLink(
            "other-lesson", "This link is for one lesson only, and not for this page."
        )


def _lesson(link: Link, pk: int) -> ClientLesson:
    seen = client_lesson(link.client, the_school(), pk, timezone.now())
    if seen is None:
        raise Http404
    return seen


def _said(request: HttpRequest) -> dict[str, str]:
    return {"said": SAID.get(request.GET.get("said", ""), "")}


@linked
@require_safe
def my_page(request: HttpRequest, link: Link) -> HttpResponse:
    return show_page(request, link)


def show_page(request: HttpRequest, link: Link, **more: Any) -> HttpResponse:
    """Answer with a client's page; a refusal is said on it."""
    now, client, school = timezone.now(), link.client, the_school()
    today = timezone.localdate(now)
    riders = list(client.riders.select_related("person").order_by("pk"))
    context = {
        "link": link,
        "school": school,
        "now": now,
        "lessons": next_lessons(client, school, now),
        "called_off": called_off(client, now),
        "offers": open_offers(client, now),
        "wishes": open_wishes(client),
        "past": [(one, ended_in_words(one)) for one in past_rides(client, now)],
        "packs": packs_of(client, today),
        "credits": credits_of(client, today),
        **_consents(client, school, today),
        "without_consent": without_consent(client, school, today),
        "feeds": client_feeds(client),
        "by_invite": entries_by_invite(client, now),
        "today": today,
        "riders": riders,
        "wish_form": WishForm(riders=riders),
        "soon": today + SOON,
    }
    status = 409 if more.get("refusal") else 200
    return render(
        request, "school/my/page.html", context | _said(request) | more, status=status
    )


def _consents(client: Client, school: School, today: date) -> dict[str, Any]:
    """Part what is to be signed again from what holds a good while, or is given up."""
    found = consents_of(client)
    ends = [
        one
        for one in found
        if one.withdrawn_date is None
        and one.expires_date <= today + ENDS_SOON
        and wanted_again(one, school.of_age_years)
    ]
    return {"to_sign": ends, "consents": [one for one in found if one not in ends]}


@linked
@require_safe
def my_lesson(request: HttpRequest, link: Link, pk: int) -> HttpResponse:
    return _show_lesson(request, link, _lesson(link, pk))


def _show_lesson(
    request: HttpRequest, link: Link, seen: ClientLesson, **more: Any
) -> HttpResponse:
    context = {
        "link": link,
        "one": seen,
        "school": the_school(),
        "now": timezone.now(),
        "whole": link.lesson_id is None,
        "noted": [
            (one.ride.rider.person.first_name, ended_in_words(one.ride))
            for one in outcomes_of(link.client, timezone.now(), seen.lesson)
        ],
    }
    if more.get("asks") == "cancel":
        costs = costs_of_giving_back(
            the_school(), seen.lesson, seen.rides, timezone.now()
        )
        context["costs"] = [(one, costs[one.pk]) for one in seen.rides]
    status = 409 if more.get("refusal") else 200
    return render(
        request, "school/my/lesson.html", context | _said(request) | more, status=status
    )


def to_page(link: Link, said: str) -> HttpResponse:
    """Lead back to a client's page, which says what was done."""
    return _with_said(redirect("my-page", token=link.token), said)


def _to_lesson(link: Link, pk: int, said: str) -> HttpResponse:
    return _with_said(redirect("my-lesson", token=link.token, pk=pk), said)


def _with_said(response: HttpResponse, said: str) -> HttpResponse:
    response["Location"] += f"?said={said}"
    return response


@linked
@require_http_methods(["GET", "HEAD", "POST"])
def my_accept(request: HttpRequest, link: Link, pk: int) -> HttpResponse:
    seen = _lesson(link, pk)
    if request.method != "POST":
        return _show_lesson(request, link, seen, asks="accept")
    try:
        note_answer(
            client=link.client,
            lesson=seen.lesson,
            answer=Answer.ACCEPTED,
            now=timezone.now(),
        )
    except UnableToAnswer as error:
        return _show_lesson(request, link, seen, refusal=error.says)
    return _to_lesson(link, pk, "kept" if seen.declined else "accepted")


@linked
@require_http_methods(["GET", "HEAD", "POST"])
def my_cancel(request: HttpRequest, link: Link, pk: int) -> HttpResponse:
    seen = _lesson(link, pk)
    if request.method != "POST":
        return _show_lesson(request, link, seen, asks="cancel")
    own = {ride.pk for ride in seen.rides}
    chosen = [
        int(one)
        for one in request.POST.getlist("ride")
        if one.isascii() and one.isdigit()
    ]
    if not own & set(chosen) and seen.rides:
        return _show_lesson(
            request, link, seen, asks="cancel", refusal="Choose who can't come."
        )
    try:
        give_back(
            client=link.client,
            lesson=seen.lesson,
            rides=chosen,
            late_is_known=request.POST.get("late") == "known",
            now=timezone.now(),
        )
    except UnableToBook as error:
        # The free time may have ended while the page was open: it is asked again.
        fresh = _lesson(link, pk)
        return _show_lesson(
            request,
            link,
            fresh,
            asks="cancel" if fresh.open else "",
            refusal=error.says,
        )
    return _to_lesson(link, pk, "given-back")


@linked
@require_http_methods(["GET", "HEAD", "POST"])
def my_other_time(request: HttpRequest, link: Link, pk: int) -> HttpResponse:
    seen = _lesson(link, pk)
    riders = [ride.rider for ride in seen.rides]
    form = WishForm(
        request.POST if request.method == "POST" else None,
        riders=riders,
        initial={"work": seen.lesson.work},
    )
    if request.method != "POST":
        return _show_lesson(request, link, seen, asks="other-time", wish_form=form)
    refusal = "Look at the fields again." if not form.is_valid() else ""
    if not refusal:
        try:
            _wish(form, riders, instead_of=seen)
        except UnableToAnswer as error:
            refusal = error.says
    if refusal:
        return _show_lesson(
            request, link, seen, asks="other-time", wish_form=form, refusal=refusal
        )
    return _to_lesson(link, pk, "wished")


@linked
@require_POST
def my_wish(request: HttpRequest, link: Link) -> HttpResponse:
    riders = list(link.client.riders.select_related("person").order_by("pk"))
    form = WishForm(request.POST, riders=riders)
    if not form.is_valid():
        return show_page(
            request, link, wish_form=form, refusal="Look at the fields again."
        )
    try:
        _wish(form, riders)
    except UnableToAnswer as error:
        return show_page(request, link, wish_form=form, refusal=error.says)
    return to_page(link, "wished")


def _wish(
    form: WishForm, riders: list[Rider], instead_of: ClientLesson | None = None
) -> None:
    data = form.cleaned_data
    (rider,) = (one for one in riders if one.pk == data["rider"])
    make_wish(
        rider=rider,
        work=data["work"],
        weekday=data["weekday"],
        from_at=data["from_at"],
        to_at=data["to_at"],
        note=data["note"],
        instead_of=instead_of.lesson if instead_of else None,
        now=timezone.now(),
    )


@linked
@require_POST
def my_wish_withdraw(request: HttpRequest, link: Link, wish: int) -> HttpResponse:
    found = next((one for one in open_wishes(link.client) if one.pk == wish), None)
    if found is not None:
        withdraw_wish(wish=found, now=timezone.now())
    return to_page(link, "wish-withdrawn")
