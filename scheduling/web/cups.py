"""The page on which the cups in the pail are counted."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from scheduling.services.cups import MOST, UnableToCount, count_cups, cups_now
from school.permissions import may_work_resets
from school.queries.audit import latest_of
from school.web.access import account_of, allowed


class CountForm(forms.Form):
    expected = forms.IntegerField(widget=forms.HiddenInput())
    counted = forms.IntegerField(
        label="Cups in the pail",
        min_value=0,
        max_value=MOST,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


@allowed(may_work_resets)
def cups_page(request: HttpRequest) -> HttpResponse:
    cups, status = cups_now(), 200
    form = CountForm(request.POST or None, initial={"expected": cups.pail})
    if request.method == "POST" and form.is_valid():
        counted = form.cleaned_data["counted"]
        try:
            missing = count_cups(
                counted=counted,
                expected=form.cleaned_data["expected"],
                by=account_of(request),
                now=timezone.now(),
            )
        except UnableToCount as refused:
            form = CountForm(initial={"expected": cups.pail})
            messages.error(request, refused.says)
            status = 409
        else:
            messages.success(request, said(counted, missing))
            return redirect("cups")
    return render(
        request,
        "scheduling/cups.html",
        {"cups": cups, "form": form, "counts": latest_of("count cups")},
        status=status,
    )


def said(counted: int, missing: int) -> str:
    """Say what a count came to."""
    if missing > 0:
        return (
            f"Cups counted: {counted} of {counted + missing}. {missing} are missing "
            "and no longer planned with. Look for them in the sand: a horse treads "
            "on them."
        )
    if missing < 0:
        return f"Cups counted: {counted}, {-missing} more than in the book."
    return f"Cups counted: {counted} of {counted}."
