"""Somebody or something is out: until when, what is touched, and all of it done."""

from datetime import timedelta
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.services.touched import Settled, done_before, foretell_out, settle
from scheduling.web.out_forms import OutForm
from school.enums import OutKind
from school.permissions import may_settle_outs
from school.queries.touched import out_from
from school.services.out import Out, come_back
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed


@allowed(may_settle_outs)
def out_page(request: HttpRequest) -> HttpResponse:
    """Ask who or what is out, and show what is out already."""
    initial = {"day": timezone.localdate()} | {
        name: request.GET[name] for name in ("what", "day") if request.GET.get(name)
    }
    return _ask(request, OutForm(initial=initial))


def _ask(request: HttpRequest, form: OutForm, refusal: str = "") -> HttpResponse:
    context = {"form": form, "rows": out_from(timezone.now()), "refusal": refusal}
    status = 409 if refusal else 200
    return render(request, "scheduling/out.html", context, status=status)


@allowed(may_settle_outs)
def touched_page(request: HttpRequest) -> HttpResponse:
    """Show all that is touched with what is proposed, and do it when pressed."""
    form = OutForm(request.GET)
    if not form.is_valid():
        names = [form.fields[one].label for one in form.errors if one in form.fields]
        return _ask(
            request, form, f"Look at these again: {'; '.join(map(str, names))}."
        )
    try:
        out = form.out()
        out.thing()
    except UnableToBook as error:
        return _ask(request, form, error.says)
    chosen, refusal = _chosen(request), ""
    presses = request.POST.get("do") == "settle"
    again = done_before(request.POST.get("uid", "")) if presses else None
    if again is not None:
        return _done(request, out, again)
    if presses and not _changed(request, chosen):
        try:
            done = _settle(request, form, out, chosen)
        except UnableToBook as error:
            if error.code in {"reason", "order", "past", "long"}:
                return _ask(request, form, error.says)
            refusal = error.says
        else:
            return _done(request, out, done)
    elif presses:
        refusal = (
            "You have chosen otherwise since this page was made. Here is what comes of "
            "it now: look at it, and press once more."
        )
    return _touched(request, form, out, chosen, refusal)


def _done(request: HttpRequest, out: Out, done: Settled) -> HttpResponse:
    """Say what was done; of a page that was gone back to, that it was done before."""
    if done.again:
        messages.info(
            request,
            f"That was done already; pressing again changed nothing. {_said(out, done)}"
            " To change what became of a lesson, open the lesson.",
        )
    else:
        messages.success(request, _said(out, done))
    return redirect("out")


def _touched(
    request: HttpRequest,
    form: OutForm,
    out: Out,
    chosen: dict[str, str],
    refusal: str,
) -> HttpResponse:
    by, now = account_of(request), timezone.now()
    try:
        foretold = foretell_out(
            out=out, told=form.told(), chosen=chosen, by=by, now=now
        )
    except UnableToBook as error:
        if not chosen:
            return _ask(request, form, error.says)
        # What was chosen can't be: shown as proposed, with the reason on top.
        refusal = " ".join(one for one in (refusal, error.says) if one)
        return _touched(request, form, out, {}, refusal)
    context = {
        "out": out,
        "thing": out.thing(),
        "horse": out.kind == OutKind.HORSE,
        "last_moment": out.last - timedelta(seconds=1),
        "foretold": foretold,
        "proposal": foretold.proposal,
        "cancelled": sum(one.cancels for one in foretold.proposal.items),
        "waits": sum(one.waits for one in foretold.proposal.items),
        "uid": uuid4(),
        "told": form.told(),
        "refusal": refusal,
    }
    status = 409 if refusal else 200
    return render(request, "scheduling/touched.html", context, status=status)


def _chosen(request: HttpRequest) -> dict[str, str]:
    """Return what was chosen by hand, by item."""
    return {
        key.removeprefix("choose-"): str(value)
        for key, value in request.POST.items()
        if key.startswith("choose-") and value
    }


def _changed(request: HttpRequest, chosen: dict[str, str]) -> bool:
    """Say whether something was chosen since the page foretold what comes of it."""
    shown = {
        key.removeprefix("shown-"): str(value)
        for key, value in request.POST.items()
        if key.startswith("shown-") and value
    }
    return shown != chosen


def _settle(
    request: HttpRequest, form: OutForm, out: Out, chosen: dict[str, str]
) -> Settled:
    versions = {
        int(key.removeprefix("version-")): int(str(value))
        for key, value in request.POST.items()
        if key.startswith("version-")
        and key.removeprefix("version-").isdecimal()
        and str(value).isdecimal()
    }
    return settle(
        out=out,
        told=form.told(),
        chosen=chosen,
        seen=request.POST.get("seen", ""),
        versions=versions,
        uid=request.POST.get("uid", ""),
        by=account_of(request),
        now=timezone.now(),
    )


def _said(out: Out, done: Settled) -> str:
    """Say what was done."""
    if not done.changed and not done.cancelled:
        return f"{out.thing()} is out as you said; no lesson was touched."
    what = "Rides" if out.kind == OutKind.HORSE else "Lessons"
    lessons = f"{done.changed} changed, {done.cancelled} cancelled"
    mails = f"{done.mails} mail{'' if done.mails == 1 else 's'} to go"
    return f"{out.thing()} is out as you said. {what}: {lessons}; {mails}."


@require_POST
@allowed(may_settle_outs)
def back(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Somebody or something is back before the end that was written down."""
    if kind not in OutKind.values:
        raise Http404
    try:
        says = come_back(kind=kind, pk=pk, by=account_of(request), now=timezone.now())
    except UnableToBook as error:
        messages.error(request, error.says)
    else:
        messages.success(request, says)
    return redirect("out")
