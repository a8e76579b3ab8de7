"""A client's data: what is kept, handed out, or erased on their request."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import Client
from school.permissions import is_manager
from school.queries.personal_data import personal_data
from school.services.personal_data import UnableToErase, erase_client, export_client
from school.web.access import account_of, allowed
from school.web.clients import client_or_404


class EraseForm(forms.Form):
    name = forms.CharField(label="To be sure, type the first name of the client")


@require_safe
@allowed(is_manager)
def client_data(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, client_or_404(pk))


def _show(
    request: HttpRequest,
    client: Client,
    *,
    form: EraseForm | None = None,
    refusal: str = "",
) -> HttpResponse:
    context = {
        "client": client,
        "kinds": [(name, len(rows)) for name, rows in personal_data(client).items()],
        "form": form or EraseForm(),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    response = render(request, "school/client_data.html", context, status=status)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@allowed(is_manager)
def client_export(request: HttpRequest, pk: int) -> HttpResponse:
    body = export_client(
        client=client_or_404(pk), by=account_of(request), now=timezone.now()
    )
    response = HttpResponse(body, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="client-{pk}.zip"'
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@allowed(is_manager)
def client_erase(request: HttpRequest, pk: int) -> HttpResponse:
    client, form = client_or_404(pk), EraseForm(request.POST)
    typed = form.cleaned_data["name"].strip() if form.is_valid() else ""
    if typed.lower() != client.person.first_name.lower():
        says = "The name typed is not the client's first name."
        return _show(request, client, form=form, refusal=says)
    try:
        erase_client(client=client, by=account_of(request), now=timezone.now())
    except UnableToErase as error:
        return _show(request, client, form=form, refusal=error.says)
    messages.success(request, "Erased. What was ridden stays, without the person.")
    return redirect("client-data", pk=pk)
