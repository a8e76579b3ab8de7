"""What goes on from one term into the next: tried and booked by the worker."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from scheduling.models import PlanRun
from scheduling.queries.plans import runs_of_term
from scheduling.services.runs import ask_run
from scheduling.web.runs import run_words
from school.models import Term
from school.permissions import may_keep_terms
from school.queries.terms import going_on_from, term_before
from school.web.access import account_of, allowed


@allowed(may_keep_terms)
def carry_over_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what was tried or booked, ask to try it, or to book what was chosen."""
    term = Term.objects.filter(pk=pk).first()
    if term is None:
        raise Http404
    before = term_before(term)
    if before is None:
        return _show(request, term, None, "There is no term before this one.")
    if request.method != "POST":
        return _show(request, term, before, "")
    kind, keep = PlanRun.Kind.TRY_TERM, list[int]()
    if "book" in request.POST:
        kind, keep = PlanRun.Kind.BOOK_TERM, _chosen(request)
        if not keep:
            says = "Nothing is ticked: tick what is to go on."
            return _show(request, term, before, says)
        if not {one.pk for one in going_on_from(before, term)} & set(keep):
            messages.success(request, "All that was ticked is in this term already.")
            return redirect("carry-over", pk=pk)
    ask_run(
        date=term.first_date,
        kind=kind,
        term=term,
        keep=keep,
        by=account_of(request),
        now=timezone.now(),
    )
    return redirect("carry-over", pk=pk)


def _chosen(request: HttpRequest) -> list[int]:
    every = request.POST.getlist("series")
    return [int(one) for one in every if one.isascii() and one.isdigit()]


def _show(
    request: HttpRequest, term: Term, before: Term | None, refusal: str
) -> HttpResponse:
    runs = runs_of_term(term)
    tried = runs.get(PlanRun.Kind.TRY_TERM)
    latest = max(runs.values(), key=lambda one: (one.asked_at, one.pk), default=None)
    going_on = going_on_from(before, term) if before else []
    left = {one.pk for one in going_on}
    found = tried.result["tried"] if tried and tried.result else []
    context = {
        "term": term,
        "before": before,
        "run": None if latest is None else run_words(latest),
        "under_way": latest is not None and latest.under_way,
        "going_on": going_on,
        # What is in the term by now is not offered again.
        "tried": [one for one in found if one["series"] in left],
        "tried_at": tried.ended_at if tried else None,
        "booked": latest.result.get("booked") if latest and latest.result else None,
        "refusal": refusal,
    }
    status = 409 if refusal and request.method == "POST" else 200
    return render(request, "scheduling/carry_over.html", context, status=status)
