"""Terms: the list, each with its breaks and weekly lessons, and the next one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from school.models import Term, TermBreak
from school.permissions import may_keep_terms
from school.queries.holidays import holidays_of
from school.queries.schools import the_school
from school.queries.terms import (
    going_on_from,
    series_of_term,
    term_before,
    terms_by_date,
)
from school.services.refusals import UnableToBook
from school.services.terms import add_break, drop_break, set_term
from school.web.access import account_of, allowed
from school.web.series_forms import day_field


class TermForm(forms.Form):
    name = forms.CharField(max_length=80)
    first_date = day_field("First day")
    last_date = day_field("Last day")


class BreakForm(forms.Form):
    name = forms.CharField(max_length=80, label="What it is", initial="Half-term")
    first_date = day_field("First day without lessons")
    last_date = day_field("Last day without lessons")


def _term(pk: int) -> Term:
    found = Term.objects.filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


def _who(request: HttpRequest) -> dict[str, Any]:
    return {"by": account_of(request), "now": timezone.now()}


@allowed(may_keep_terms)
def terms(request: HttpRequest) -> HttpResponse:
    """List the terms, and make one."""
    form = TermForm(request.POST or None)
    refusal = ""
    if request.method == "POST" and form.is_valid():
        try:
            term = set_term(**form.cleaned_data, **_who(request))
        except UnableToBook as error:
            refusal = error.says
        else:
            messages.success(request, f"{term.name} is a term now.")
            return redirect("term", pk=term.pk)
    context = {"terms": terms_by_date(), "form": form, "refusal": refusal}
    status = 409 if refusal or form.is_bound else 200
    return render(request, "school/terms.html", context, status=status)


@allowed(may_keep_terms)
def term_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a term; a form sent here changes its name and days."""
    term = _term(pk)
    if request.method != "POST":
        return _show(request, term)
    form = TermForm(request.POST)
    if not form.is_valid():
        return _show(request, term, refusal="Look at the fields again.", form=form)
    try:
        set_term(term=term, **form.cleaned_data, **_who(request))
    except UnableToBook as error:
        return _show(request, term, refusal=error.says, form=form)
    messages.success(request, "The term is changed.")
    return redirect("term", pk=pk)


def _show(
    request: HttpRequest,
    term: Term,
    *,
    refusal: str = "",
    form: TermForm | None = None,
    break_form: BreakForm | None = None,
) -> HttpResponse:
    before = term_before(term)
    as_it_is = {
        name: getattr(term, name) for name in ("name", "first_date", "last_date")
    }
    context = {
        "term": term,
        "breaks": term.breaks.order_by("first_date"),
        "holidays": holidays_of(the_school(), term.first_date, term.last_date),
        "series": series_of_term(term),
        "before": before,
        "going_on": going_on_from(before, term) if before else [],
        "form": form or TermForm(initial=as_it_is),
        "break_form": break_form or BreakForm(prefix="break"),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "school/term.html", context, status=status)


@require_POST
@allowed(may_keep_terms)
def new_break(request: HttpRequest, pk: int) -> HttpResponse:
    term, form = _term(pk), BreakForm(request.POST, prefix="break")
    if not form.is_valid():
        return _show(request, term, refusal="Look at the break again.", break_form=form)
    try:
        one = add_break(term=term, **form.cleaned_data, **_who(request))
    except UnableToBook as error:
        return _show(request, term, refusal=error.says, break_form=form)
    messages.success(request, f"{one.name} is left out; booked lessons are not held.")
    return redirect("term", pk=pk)


@require_POST
@allowed(may_keep_terms)
def lift_break(request: HttpRequest, pk: int) -> HttpResponse:
    one = TermBreak.objects.filter(pk=pk).first()
    if one is None:
        raise Http404
    drop_break(term_break=one, **_who(request))
    messages.success(
        request, f"{one.name} is taken out. Lessons it left out stay cancelled."
    )
    return redirect("term", pk=one.term_id)
