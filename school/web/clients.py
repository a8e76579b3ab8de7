"""Clients as the manager sees them: their link, and what they paid in advance."""

from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Client, LessonPack
from school.permissions import is_manager
from school.queries.clients import (
    all_clients,
    credits_of,
    packs_of,
    packs_over,
    riders_of,
)
from school.queries.links import page_url
from school.queries.outcomes import outcome_costs, outcome_in_words, outcomes_of
from school.services.links import withdraw_links
from school.services.packs import change_pack, give_credit, sell_pack
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed


def token_field() -> forms.UUIDField:
    """Return the hidden field by which two presses of a form are known as one."""
    return forms.UUIDField(required=False, initial=uuid4, widget=forms.HiddenInput)


class PackForm(forms.Form):
    token = token_field()
    name = forms.CharField(max_length=80, initial="Ten lessons")
    lessons = forms.IntegerField(min_value=1, max_value=100, initial=10)
    expires_date = forms.DateField(
        label="Last day", widget=forms.DateInput(attrs={"type": "date"})
    )


class CreditForm(forms.Form):
    token = token_field()
    reason = forms.CharField(max_length=120, label="For what")
    expires_date = forms.DateField(
        label="Last day", widget=forms.DateInput(attrs={"type": "date"})
    )


@require_safe
@allowed(is_manager)
def clients(request: HttpRequest) -> HttpResponse:
    return render(request, "school/clients.html", {"clients": all_clients()})


def client_or_404(pk: int) -> Client:
    found = Client.objects.select_related("person").filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


@require_safe
@allowed(is_manager)
def client_file(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, client_or_404(pk))


def _show(
    request: HttpRequest,
    client: Client,
    *,
    refusal: str = "",
    pack: PackForm | None = None,
    credit: CreditForm | None = None,
) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    context = {
        "client": client,
        "link": page_url(client, now=now),
        "riders": riders_of(client),
        "packs": packs_of(client, today),
        "packs_over": packs_over(client, today),
        "credits": credits_of(client, today),
        "missed": [
            (one, outcome_in_words(one), outcome_costs(one))
            for one in outcomes_of(client, now)
        ],
        "pack_form": pack or PackForm(),
        "credit_form": credit or CreditForm(prefix="credit"),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    response = render(request, "school/client_file.html", context, status=status)
    # The client's link is a secret.
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@allowed(is_manager)
def add_pack(request: HttpRequest, pk: int) -> HttpResponse:
    client, form, now = client_or_404(pk), PackForm(request.POST), timezone.now()
    if not form.is_valid():
        return _show(request, client, refusal="Look at the pack again.", pack=form)
    try:
        sell_pack(
            client=client,
            name=form.cleaned_data["name"],
            lessons=form.cleaned_data["lessons"],
            bought_date=timezone.localdate(now),
            expires_date=form.cleaned_data["expires_date"],
            token=form.cleaned_data["token"],
            by=account_of(request),
            now=now,
        )
    except UnableToBook as error:
        return _show(request, client, refusal=error.says, pack=form)
    messages.success(request, "The pack is noted.")
    return redirect("client-file", pk=pk)


class ChangePackForm(forms.Form):
    name = forms.CharField(max_length=80)
    lessons = forms.IntegerField(min_value=1, max_value=100)
    expires_date = forms.DateField(
        label="Last day",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


@allowed(is_manager)
def edit_pack(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a pack with what it paid for, and set it right or end it."""
    pack = LessonPack.objects.select_related("client__person").filter(pk=pk).first()
    if pack is None:
        raise Http404
    as_it_is = {name: getattr(pack, name) for name in ChangePackForm.base_fields}
    form, refusal = ChangePackForm(request.POST or None, initial=as_it_is), ""
    if request.method == "POST" and form.is_valid():
        try:
            change_pack(
                pack=pack,
                **form.cleaned_data,
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToBook as error:
            refusal = error.says
        else:
            messages.success(request, "The pack is set right.")
            return redirect("client-file", pk=pack.client_id)
    uses = pack.uses.select_related("ride__lesson", "ride__rider__person")
    context = {
        "pack": pack,
        "uses": uses.order_by("ride__lesson__starts_at", "pk"),
        "form": form,
        "refusal": refusal,
    }
    status = 409 if form.is_bound else 200
    return render(request, "school/pack.html", context, status=status)


@require_POST
@allowed(is_manager)
def add_credit(request: HttpRequest, pk: int) -> HttpResponse:
    client, form = client_or_404(pk), CreditForm(request.POST, prefix="credit")
    if not form.is_valid():
        return _show(request, client, refusal="Look at the credit again.", credit=form)
    give_credit(
        client=client,
        reason=form.cleaned_data["reason"],
        expires_date=form.cleaned_data["expires_date"],
        token=form.cleaned_data["token"],
        by=account_of(request),
        now=timezone.now(),
    )
    messages.success(request, "One lesson to make up is noted.")
    return redirect("client-file", pk=pk)


@require_POST
@allowed(is_manager)
def close_links(request: HttpRequest, pk: int) -> HttpResponse:
    withdraw_links(client=client_or_404(pk), by=account_of(request), now=timezone.now())
    messages.success(request, "Every link given so far is closed; this one works.")
    return redirect("client-file", pk=pk)
