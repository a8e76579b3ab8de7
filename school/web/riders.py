"""Riders: whom to call, what they may ride, and what keeps them from it."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.convert import units_of
from school.enums import ConsentKind
from school.models import OutboxMessage, Rider, SecondGuardian
from school.permissions import (
    is_manager,
    may_see_rider_sensitive,
    may_see_riders,
    may_sign_levels,
    may_stop_riders,
)
from school.queries.consents import written_to
from school.queries.guardians import second_guardian_of
from school.queries.riders import (
    ENDS_SOON,
    RiderFile,
    find_rider,
    is_minor,
    lessons_to_come,
    rider_file,
    rider_files,
    signings_of,
    stops_of,
    uncovered_rides,
    years_between,
)
from school.queries.schools import the_school
from school.services.consents import LASTS, give_consent, withdraw_consent
from school.services.guardians import end_second_guardian, set_second_guardian
from school.services.refusals import UnableToBook
from school.services.riders import lift_stop, set_facts, sign_level, stop_rider
from school.web.access import account_of, allowed
from school.web.rider_forms import (
    ConsentForm,
    FactsForm,
    GuardianForm,
    LevelForm,
    LiftForm,
    StopForm,
    WithdrawForm,
)

USUAL_STOP = timedelta(days=21)
"""Proposed for a stop: UK bodies' least time off after a suspected concussion."""


@require_safe
@allowed(may_see_riders)
def riders_page(request: HttpRequest) -> HttpResponse:
    files = rider_files(timezone.localdate())
    context = {
        "files": files,
        "to_look_at": sorted(
            (one for one in files if one.notes),
            key=lambda one: not one.blocked,
        ),
    }
    return render(request, "school/riders.html", context)


def _rider(pk: int) -> Rider:
    rider = find_rider(pk)
    if rider is None:
        raise Http404
    return rider


@require_safe
@allowed(may_see_riders)
def rider_page(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, _rider(pk))


def _show(
    request: HttpRequest,
    rider: Rider,
    *,
    refusal: str = "",
    form: tuple[str, forms.Form] | None = None,
) -> HttpResponse:
    account, now = account_of(request), timezone.now()
    today, school = timezone.localdate(now), the_school()
    uncovered = uncovered_rides(today, rider).get(rider.pk, ())
    file = rider_file(rider, today, school.of_age_years, uncovered)
    shown = _forms(rider, file.minor)
    if form is not None:
        shown[form[0]] = form[1]
    context: dict[str, Any] = shown | {
        "rider": rider,
        "file": file,
        "units": units_of(school),
        "age": years_between(rider.born_date, today),
        "today": today,
        "held": {one.pk for one in file.consents if one.holds_on(today)},
        "sensitive": may_see_rider_sensitive(account, rider, now),
        "manager": is_manager(account),
        "signs": may_sign_levels(account),
        "signings": signings_of(rider),
        "stops": stops_of(rider),
        "lessons": lessons_to_come(rider, now),
        "second": second_guardian_of(rider) if file.minor else None,
        "told": _told(file, today),
        "refusal": refusal,
        "school": school,
    }
    status = 409 if refusal else 200
    response = render(request, "school/rider.html", context, status=status)
    response["Cache-Control"] = "no-store"
    return response


def _told(file: RiderFile, today: date) -> OutboxMessage | None:
    """Return the mail that asked to sign the consent to riding again, if it ends."""
    riding = file.riding
    if not file.minor or riding is None or riding.expires_date > today + ENDS_SOON:
        return None
    return written_to(file.rider.client_id, riding.expires_date)


def _forms(rider: Rider, minor: bool) -> dict[str, forms.Form]:
    today = timezone.localdate()
    facts = {name: getattr(rider, name) for name in FactsForm.base_fields}
    second = second_guardian_of(rider)
    return {
        "facts_form": FactsForm(initial=facts, prefix="facts"),
        "guardian_form": GuardianForm(prefix="second", initial=_guardian_facts(second)),
        "consent_form": ConsentForm(
            rider=rider,
            minor=minor,
            prefix="consent",
            initial={"given_date": today, "expires_date": today + LASTS},
        ),
        "withdraw_form": WithdrawForm(auto_id=False),
        "stop_form": StopForm(
            prefix="stop", initial={"not_before_date": today + USUAL_STOP}
        ),
        "lift_form": LiftForm(prefix="lift"),
        "level_form": LevelForm(
            prefix="level",
            initial={
                "level": rider.level,
                "highest_fence_cm": rider.highest_fence_cm,
            },
        ),
    }


def _guardian_facts(second: SecondGuardian | None) -> dict[str, Any]:
    if second is None:
        return {}
    person = second.person
    return {
        name: getattr(person if hasattr(person, name) else second, name)
        for name in GuardianForm.base_fields
    }


def _do(
    request: HttpRequest,
    rider: Rider,
    name: str,
    form: forms.Form,
    said: str,
    verb: Callable[[dict[str, Any]], object],
) -> HttpResponse:
    """Do what a form of the page asks, or show the page with why not."""
    if not form.is_valid():
        words = "Look at these fields again."
        return _show(request, rider, refusal=words, form=(name, form))
    try:
        verb(form.cleaned_data)
    except UnableToBook as error:
        return _show(request, rider, refusal=error.says, form=(name, form))
    messages.success(request, said)
    return redirect("rider", pk=rider.pk)


@require_POST
@allowed(is_manager)
def facts(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        return set_facts(rider=rider, facts=data, by=by, now=now)  # type: ignore[arg-type]

    form = FactsForm(request.POST, prefix="facts")
    return _do(request, rider, "facts_form", form, "Noted.", verb)


@require_POST
@allowed(is_manager)
def second_guardian(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        return set_second_guardian(rider=rider, guardian=data, by=by, now=now)  # type: ignore[arg-type]

    form = GuardianForm(request.POST, prefix="second")
    return _do(request, rider, "guardian_form", form, "Noted.", verb)


@require_POST
@allowed(is_manager)
def no_second_guardian(request: HttpRequest, pk: int) -> HttpResponse:
    rider = _rider(pk)
    end_second_guardian(rider=rider, by=account_of(request), now=timezone.now())
    messages.success(request, "Taken off. What they signed stays.")
    return redirect("rider", pk=pk)


@require_POST
@allowed(is_manager)
def consent(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()
    of_age = the_school().of_age_years
    minor = is_minor(rider.born_date, timezone.localdate(now), of_age)

    def verb(data: dict[str, Any]) -> object:
        data["kind"] = ConsentKind(data["kind"])
        return give_consent(rider=rider, by=by, now=now, **data)

    form = ConsentForm(request.POST, prefix="consent", rider=rider, minor=minor)
    return _do(request, rider, "consent_form", form, "The consent is noted.", verb)


@require_POST
@allowed(is_manager)
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        found = rider.consents.filter(pk=data["consent"]).first()
        if found is None:
            raise UnableToBook("gone", "There is no such consent here.")
        return withdraw_consent(consent=found, reason=data["reason"], by=by, now=now)

    said = "Withdrawn from today on. What is booked stays until you cancel it."
    form = WithdrawForm(request.POST, auto_id=False)
    return _do(request, rider, "withdraw_form", form, said, verb)


@require_POST
@allowed(may_stop_riders)
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        return stop_rider(rider=rider, by=by, now=now, **data)

    said = "Stopped: no booking is taken until a manager lifts it."
    form = StopForm(request.POST, prefix="stop")
    return _do(request, rider, "stop_form", form, said, verb)


@require_POST
@allowed(is_manager)
def lift(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        latest = stops_of(rider)
        if not latest:
            raise UnableToBook("gone", "There is nothing to lift.")
        return lift_stop(stop=latest[0], by=by, now=now, **data)

    form = LiftForm(request.POST, prefix="lift")
    return _do(request, rider, "lift_form", form, "They may be booked again.", verb)


@require_POST
@allowed(may_sign_levels)
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    rider, by, now = _rider(pk), account_of(request), timezone.now()

    def verb(data: dict[str, Any]) -> object:
        return sign_level(rider=rider, by=by, now=now, **data)

    form = LevelForm(request.POST, prefix="level")
    return _do(request, rider, "level_form", form, "The level is signed.", verb)
