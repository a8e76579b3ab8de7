"""Asking for a search, watching it, and stopping it."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.models import PlanRun
from scheduling.services.runs import SECONDS, ask_run, stop_run
from scheduling.services.works import WORKS, how_far
from scheduling.web.days import read_day_or_404
from school.permissions import is_manager
from school.web.access import account_of, allowed

PAGES: dict[str, str] = {
    PlanRun.Kind.WHAT_IF: "what-if",
    PlanRun.Kind.MATCH: "match-day",
    PlanRun.Kind.TRY_TERM: "carry-over",
    PlanRun.Kind.BOOK_TERM: "carry-over",
}
"""Where a run is shown that is none of the plan."""

TRIED: dict[str, str] = {
    PlanRun.Kind.MATCH: "riders looked at",
    PlanRun.Kind.TRY_TERM: "weekly lessons tried",
    PlanRun.Kind.BOOK_TERM: "weekly lessons booked",
}

SECONDS_EACH = 10
"""How long each day of a what-if is searched at most."""


@require_POST
@allowed(is_manager)
def ask(request: HttpRequest, day: str, kind: str) -> HttpResponse:
    when = read_day_or_404(day)
    if kind not in PlanRun.Kind.values or kind in WORKS:
        raise Http404
    run = ask_run(
        date=when,
        kind=kind,
        by=account_of(request),
        now=timezone.now(),
        seconds=SECONDS_EACH if kind == PlanRun.Kind.WHAT_IF else SECONDS,
        keep=[int(pk) for pk in request.POST.getlist("keep") if pk.isdecimal()],
    )
    return _back(run)


@require_POST
@allowed(is_manager)
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    run = _run_or_404(pk)
    stop_run(run=run, by=account_of(request), now=timezone.now())
    messages.success(
        request,
        "It is told to stop; nothing is booked."
        if run.kind in WORKS
        else "The search is told to stop; the best it has is kept.",
    )
    return _back(run)


@allowed(is_manager)
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how far a run is; htmx asks for the card alone, again and again."""
    run = _run_or_404(pk)
    if not getattr(request, "htmx", False):
        return _back(run)
    response = render(request, "scheduling/_run.html", {"run": run_words(run)})
    if not run.under_way:
        # What it found stands on the rest of the page.
        response["HX-Refresh"] = "true"
    return response


def run_words(run: PlanRun) -> dict[str, Any]:
    """Return what a page shows of a run."""
    gap = None
    if run.best_s and run.bound_s is not None:
        gap = round(100 * (run.best_s - run.bound_s) / run.best_s)
    tried, to_try = how_far(run) if run.under_way else (run.tried, run.to_try)
    return {
        "run": run,
        "tried": tried,
        "to_try": to_try,
        "works": run.kind in WORKS,
        "best_min": None if run.best_s is None else -(-run.best_s // 60),
        "bound_min": None if run.bound_s is None else -(-run.bound_s // 60),
        "tries": TRIED.get(run.kind, "days tried"),
        "gap": gap,
    }


def _back(run: PlanRun) -> HttpResponse:
    page = PAGES.get(run.kind, "planner")
    if run.term_id is not None:
        return redirect(page, pk=run.term_id)
    return redirect(page, day=run.date.isoformat())


def _run_or_404(pk: int) -> PlanRun:
    run = PlanRun.objects.filter(pk=pk).first()
    if run is None:
        raise Http404
    return run
