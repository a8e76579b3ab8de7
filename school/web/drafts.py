"""Pages of grids in the making: list and drawing side by side, every step undoable."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.geometry.editing.edits import UnableToEdit
from exercises.models import Exercise
from school.convert import history_of, units_of
from school.models import GridDraft, Lesson
from school.permissions import may_attach_grid, may_change_draft, may_make_grids
from school.queries.schools import the_school
from school.services.drafts import (
    drop_draft,
    edit_draft,
    keep_draft,
    redo_draft,
    start_draft,
    undo_draft,
)
from school.services.grids import UnableToAttach
from school.web.access import account_of, allowed
from school.web.draft_forms import edits_of
from school.web.draft_page import USUAL_CM, page_of


def _draft(request: HttpRequest, pk: int) -> GridDraft:
    draft = (
        GridDraft.objects.select_related("exercise__current", "lesson__arena")
        .filter(pk=pk)
        .first()
    )
    if draft is None:
        raise Http404
    account = account_of(request)
    if not may_change_draft(account, draft) or (
        draft.lesson is not None and not may_attach_grid(account, draft.lesson)
    ):
        raise PermissionDenied
    return draft


@allowed(may_make_grids)
def grids(request: HttpRequest) -> HttpResponse:
    """Show what is in the making, to go on with."""
    drafts = GridDraft.objects.filter(account=account_of(request))
    found = drafts.select_related("exercise", "lesson").order_by("-changed_at", "-pk")
    return render(request, "school/grids.html", {"drafts": found})


@require_POST
@allowed(may_make_grids)
def start(request: HttpRequest) -> HttpResponse:
    slug, pk = request.POST.get("exercise", ""), request.POST.get("lesson", "")
    exercise = Exercise.objects.select_related("current").filter(slug=slug).first()
    if slug and (exercise is None or exercise.current is None):
        raise Http404
    lesson = Lesson.objects.filter(pk=pk).first() if pk.isdigit() else None
    if pk and lesson is None:
        raise Http404
    if lesson is not None and not may_attach_grid(account_of(request), lesson):
        raise PermissionDenied
    draft = start_draft(
        by=account_of(request), now=timezone.now(), exercise=exercise, lesson=lesson
    )
    return redirect("grid", pk=draft.pk)


@allowed(may_make_grids)
def grid(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, _draft(request, pk), _asked(request.GET))


def _asked(given: Any) -> dict[str, int]:
    """Return which stage and horse's height are looked at."""
    asked = {"stage": 0, "size_cm": USUAL_CM}
    for name, least, most in (("stage", 0, 20), ("size_cm", 80, 200)):
        text = str(given.get(name, ""))
        if text.isdigit() and least <= int(text) <= most:
            asked[name] = int(text)
    return asked


def _show(
    request: HttpRequest,
    draft: GridDraft,
    asked: dict[str, int],
    *,
    refused: UnableToEdit | None = None,
    said: str = "",
) -> HttpResponse:
    """Show the page, or for htmx its changing part."""
    part = getattr(request, "htmx", False)
    posted = request.POST
    context = page_of(draft, **asked) | {
        "refused": refused.says if refused else "",
        "said": said,
        "seen_revision": (refused.fields.get("revision") if refused else None) or "",
        "as_new": posted.get("as_new") == "on",
        "open_at": posted.get("at", "") if posted.get("do") == "element" else "",
    }
    status = 409 if refused and not part else 200
    template = "school/_draft.html" if part else "school/draft.html"
    return render(request, template, context, status=status)


def _back(draft: GridDraft, asked: dict[str, int]) -> HttpResponse:
    address = reverse("grid", args=[draft.pk])
    return HttpResponseRedirect(
        f"{address}?stage={asked['stage']}&size_cm={asked['size_cm']}#editor"
    )


Act = Callable[[HttpRequest, GridDraft, int], GridDraft]


def _act(request: HttpRequest, pk: int, act: Act) -> HttpResponse:
    """Do something to a draft, and show it as it is then, or why not."""
    draft, asked = _draft(request, pk), _asked(request.POST)
    text = request.POST.get("version", "")
    version = int(text) if text.isdigit() else 0
    try:
        done = act(request, draft, version)
    except UnableToEdit as refused:
        newest = GridDraft.objects.select_related("lesson__arena").filter(pk=pk).first()
        if newest is None:
            messages.success(request, refused.says)
            return redirect("grids")
        return _show(request, newest, asked, refused=refused)
    if not getattr(request, "htmx", False):
        return _back(done, asked)
    said = done.log[-1]["says"] if done.version != version else "Nothing to change."
    return _show(request, done, asked, said=said)


@require_POST
@allowed(may_make_grids)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    def act(request: HttpRequest, draft: GridDraft, version: int) -> GridDraft:
        units = units_of(the_school())
        newest = draft.version == version
        spec = history_of(draft).spec
        return edit_draft(
            draft=draft,
            # An older page speaks of a row that is no more: the service says so.
            edits=edits_of(spec, request.POST.dict(), units) if newest else [],
            version=version,
            by=account_of(request),
            now=timezone.now(),
            units=units,
        )

    return _act(request, pk, act)


@require_POST
@allowed(may_make_grids)
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(
        request,
        pk,
        lambda request, draft, version: undo_draft(
            draft=draft, version=version, by=account_of(request), now=timezone.now()
        ),
    )


@require_POST
@allowed(may_make_grids)
def redo(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(
        request,
        pk,
        lambda request, draft, version: redo_draft(
            draft=draft, version=version, by=account_of(request), now=timezone.now()
        ),
    )


@require_POST
@allowed(may_make_grids)
def keep(request: HttpRequest, pk: int) -> HttpResponse:
    draft, asked = _draft(request, pk), _asked(request.POST)
    version, seen = request.POST.get("version", ""), request.POST.get("seen", "")
    try:
        kept = keep_draft(
            draft=draft,
            version=int(version) if version.isdigit() else 0,
            by=account_of(request),
            now=timezone.now(),
            as_new=request.POST.get("as_new") == "on",
            seen_revision=int(seen) if seen.isdigit() else None,
            overrides={
                key.removeprefix("reason:"): str(value)
                for key, value in request.POST.items()
                if key.startswith("reason:")
            },
        )
    except UnableToEdit as refused:
        return _show(request, draft, asked, refused=refused)
    except UnableToAttach as error:
        unfit = UnableToEdit("does-not-fit", error.says)
        return _show(request, draft, asked, refused=unfit)
    if kept.grid is not None:
        messages.success(request, "The lesson's grid is changed.")
        return HttpResponseRedirect(
            reverse("lesson", args=[kept.grid.lesson_id]) + "#grid"
        )
    messages.success(
        request,
        f"{kept.exercise.name} is kept as the school's own, revision "
        f"{kept.revision.number}. Earlier ones stay.",
    )
    return redirect("exercise", slug=kept.exercise.slug)


@require_POST
@allowed(may_make_grids)
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    draft = _draft(request, pk)
    drop_draft(draft=draft, by=account_of(request), now=timezone.now())
    messages.success(request, f"{draft.name} is put away; nothing else has changed.")
    return redirect("grids")
