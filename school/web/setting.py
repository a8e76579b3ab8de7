"""How a page of settings goes: shown as they are, set, or refused beside a field."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from school.services.units import UnableToSet

Set = Callable[[dict[str, Any]], object]


def settings_page(
    request: HttpRequest, form: forms.Form, set_: Set, *, page: str, says: str
) -> HttpResponse:
    """Show a form of settings, or set what was sent and say so.

    `page` names the URL, and the template under `school/`.
    """
    refused = False
    if request.method == "POST" and form.is_valid():
        try:
            set_(form.cleaned_data)
        except UnableToSet as error:
            form.add_error(
                error.field if error.field in form.fields else None, error.says
            )
            refused = True
        else:
            messages.success(request, says)
            return redirect(page)
    status = 409 if refused else 200
    return render(request, f"school/{page}.html", {"form": form}, status=status)


def as_set(record: object, form: type[forms.Form]) -> dict[str, Any]:
    """Return what is set now, by the names of a form's fields."""
    return {name: getattr(record, name) for name in form.base_fields}
