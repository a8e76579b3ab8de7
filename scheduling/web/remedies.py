"""What helps against a fault, on a lesson's grid or one in the making, to press."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.drawing.words import element_words
from exercises.geometry.editing.edits import UnableToEdit
from exercises.geometry.faults import Fault
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.holding import apply_held
from exercises.geometry.remedies import Offer, offers_for
from exercises.geometry.remedying.distances import STEP_CM
from exercises.geometry.spec import ExerciseSpec
from exercises.geometry.strides import HorseSize, Tradition
from scheduling.web.cures import (
    Standing,
    grid_to_change,
    reasons_of,
    standing_of,
    work_of,
)
from school.convert import history_of, spec_of_grid, units_of
from school.models import GridDraft
from school.permissions import may_change_draft, may_make_grids
from school.queries.schools import the_school
from school.services.drafts import edit_draft
from school.services.grid_changes import undo_grid_change
from school.services.grids import UnableToAttach, fit_lesson
from school.services.remedies import offer_of, take_remedy, the_faults
from school.web.access import account_of, allowed, in_hand
from school.web.lessons import anyone

USUAL_CM = 165
"""A grid in the making is fitted to a horse of this height."""

GRADES = {
    "a": "read in the source",
    "b": "common practice, no source",
    "c": "from memory",
    "own": "the school's own",
}

Data = dict[str, Any]
Fit = Callable[[ExerciseSpec], FittedRow]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked: the fault, the element it is seen at, the stage that stands."""

    fault: Fault | None
    at: int
    stage: int


def _asked(given: Any, spec: ExerciseSpec, row: FittedRow | None = None) -> Asked:
    """Read what is asked; a log names an element of the last stage, as ridden."""
    fault = the_faults().by_slug(str(given.get("fault", "")))
    ridden = _number(given.get("element"), 0)
    if row is not None and 0 < ridden <= len(row.stages[-1].slots):
        return Asked(fault, row.stages[-1].slots[ridden - 1], len(spec.stages))
    stage = min(_number(given.get("stage"), 0), len(spec.stages))
    standing = sorted(spec.played[stage])
    at = _number(given.get("at"), standing[-1])
    return Asked(
        fault,
        at if at in standing else standing[-1],
        stage,
    )


def _number(text: Any, default: int) -> int:
    return int(text) if isinstance(text, str) and text.isdigit() else default


def _page(
    spec: ExerciseSpec, row: FittedRow, fit: Fit, asked: Asked, standing: Standing
) -> Data:
    """Return what the page shows of a row and a fault seen in it."""
    stage, units = asked.stage, standing.units
    shown = row.stages[stage].elements
    where = f"stage={stage}&at={asked.at}"
    return {
        "spec": spec,
        "step": units.short(STEP_CM),
        "first": the_faults().first,
        "fault": asked.fault,
        "at": asked.at,
        "stage": stage,
        "stages": [
            {"n": n, "says": one.says, "here": n == stage}
            for n, one in enumerate(row.stages)
        ],
        "elements": [
            {
                "slot": slot,
                "words": element_words(one.element(0), units),
                "here": slot == asked.at,
            }
            for slot, one in sorted(spec.played[stage].items())
        ],
        "faults": [
            {"one": one, "where": f"{where}&fault={one.slug}"}
            for one in the_faults().faults
        ],
        "offers": _offers(spec, row, fit, asked, standing),
        "side": draw_side(shown, ident="side", title=spec.name, units=units),
        "plan": draw_plan(shown, ident="plan", title=spec.name, units=units),
    }


def _offers(
    spec: ExerciseSpec,
    row: FittedRow,
    fit: Fit,
    asked: Asked,
    standing: Standing,
) -> list[Data]:
    if asked.fault is None:
        return []
    offers = offers_for(
        spec, asked.fault, asked.at, stage=asked.stage, units=standing.units
    )
    return [
        {
            "n": n,
            "offer": one,
            "grade": GRADES[one.remedy.grade],
            "work": _work(spec, row, fit, one, asked.stage, standing),
        }
        for n, one in enumerate(offers)
    ]


def _work(
    spec: ExerciseSpec,
    row: FittedRow,
    fit: Fit,
    offer: Offer,
    stage: int,
    standing: Standing,
) -> Data | None:
    """Say what is carried and moved for a remedy, in the stage that stands."""
    if not offer.edits:
        return None
    held = apply_held(spec, row, offer.edits, fit)
    before = row.stages[stage].elements
    after = held.row.stages[min(stage, len(held.row.stages) - 1)].elements
    return work_of(before, after, standing, held.moved_cm)


@allowed(anyone)
def lesson_remedies(request: HttpRequest, pk: int) -> HttpResponse:
    return _show_lesson(request, pk, request.GET)


def _show_lesson(
    request: HttpRequest,
    pk: int,
    given: Any,
    *,
    refusal: str = "",
    verdicts: Sequence[Any] = (),
) -> HttpResponse:
    lesson, grid = grid_to_change(request, pk)
    spec = spec_of_grid(grid)
    context: Data = {
        "lesson": lesson,
        "in_hand": in_hand(request, lesson),
        "grid": grid,
        "back": reverse("lesson", args=[pk]) + "#grid",
        "back_to": lesson.title,
        "take": reverse("take-remedy", args=[pk]),
        "undo": grid.changes[-1]["says"] if grid.changes else "",
        "undo_at": reverse("undo-remedy", args=[pk]),
        "refusal": refusal,
        "verdicts": verdicts,
    }
    try:
        fitted = fit_lesson(lesson, grid, spec, riding=True)
    except UnableToAttach as error:
        context["refusal"] = error.says
        return render(request, "scheduling/remedies.html", context, status=409)
    asked = _asked(given, spec, fitted.row)
    context |= _page(spec, fitted.row, fitted.fit, asked, standing_of(lesson))
    status = 409 if refusal else 200
    return render(request, "scheduling/remedies.html", context, status=status)


def _again(request: HttpRequest, name: str, pk: int) -> HttpResponse:
    """Go back to the page as it was asked."""
    kept = [
        f"{key}={request.POST[key]}"
        for key in ("stage", "at", "fault")
        if request.POST.get(key, "").replace("-", "").isalnum()
    ]
    answer = redirect(name, pk=pk)
    answer["Location"] += f"?{'&'.join(kept)}"
    return answer


@require_POST
@allowed(anyone)
def take(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one remedy on a lesson's grid."""
    lesson, grid = grid_to_change(request, pk)
    asked = _asked(request.POST, spec_of_grid(grid))
    if asked.fault is None:
        raise Http404
    try:
        take_remedy(
            lesson=lesson,
            fault=asked.fault,
            n=_number(request.POST.get("n"), -1),
            at=asked.at,
            stage=asked.stage,
            units=units_of(the_school()),
            by=account_of(request),
            now=timezone.now(),
            overrides=reasons_of(request),
        )
    except UnableToAttach as error:
        return _show_lesson(
            request, pk, request.POST, refusal=error.says, verdicts=error.verdicts
        )
    return _again(request, "lesson-remedies", pk)


@require_POST
@allowed(anyone)
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the last change of a lesson's grid back."""
    lesson, _ = grid_to_change(request, pk)
    try:
        undo_grid_change(lesson=lesson, by=account_of(request), now=timezone.now())
    except UnableToAttach as error:
        return _show_lesson(request, pk, request.POST, refusal=error.says)
    return _again(request, "lesson-remedies", pk)


def _draft(request: HttpRequest, pk: int) -> GridDraft:
    draft = GridDraft.objects.filter(pk=pk).first()
    if draft is None:
        raise Http404
    if not may_change_draft(account_of(request), draft):
        raise PermissionDenied
    return draft


@allowed(may_make_grids)
def draft_remedies(request: HttpRequest, pk: int) -> HttpResponse:
    return _show_draft(request, _draft(request, pk), request.GET)


def _show_draft(
    request: HttpRequest, draft: GridDraft, given: Any, refusal: str = ""
) -> HttpResponse:
    history = history_of(draft)
    spec, school = history.spec, the_school()
    units = units_of(school)
    horse = HorseSize(f"a {units.horse(USUAL_CM)} horse", USUAL_CM)

    def fit(one: ExerciseSpec) -> FittedRow:
        return fit_row(one, [horse], Tradition(school.tradition))

    asked = _asked(given, spec)
    context: Data = {
        "draft": draft,
        "back": reverse("grid", args=[draft.pk]),
        "back_to": f"{spec.name}, in the making",
        "take": reverse("take-draft-remedy", args=[draft.pk]),
        "undo": history.undoes,
        "undo_at": reverse("undo-grid", args=[draft.pk]),
        "refusal": refusal,
    }
    context |= _page(spec, fit(spec), fit, asked, standing_of())
    status = 409 if refusal else 200
    return render(request, "scheduling/remedies.html", context, status=status)


@require_POST
@allowed(may_make_grids)
def take_on_draft(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one remedy on a grid in the making; its own undo takes it back."""
    draft = _draft(request, pk)
    spec = history_of(draft).spec
    asked = _asked(request.POST, spec)
    if asked.fault is None:
        raise Http404
    try:
        offer = offer_of(
            spec, asked.fault, _number(request.POST.get("n"), -1), asked.at,
            asked.stage, units_of(the_school()),
        )  # fmt: skip
        edit_draft(
            draft=draft,
            edits=offer.edits,
            version=_number(request.POST.get("version"), 0),
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToEdit as error:
        return _show_draft(request, draft, request.POST, refusal=error.says)
    return _again(request, "draft-remedies", pk)
