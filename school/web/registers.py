"""The registers an inspector asks for: shown, printed, added to, taken as CSV."""

from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.enums import LessonState
from school.models import (
    Account,
    AuditEntry,
    Horse,
    Incident,
    Instructor,
    InstructorPaper,
)
from school.permissions import is_manager
from school.queries.registers import (
    TAKEN_OFF,
    earlier_ends,
    horses_with_papers,
    incidents,
    instructors_with_papers,
    overruled,
    paper_state,
    papers_taken_off,
)
from school.queries.schools import the_school
from school.services.registers import (
    UnableToNote,
    note_horse,
    note_incident,
    note_paper,
    take_paper_off,
)
from school.tables.writing import as_csv
from school.web.access import account_of, allowed


class HorseForm(forms.Form):
    horse = forms.ModelChoiceField(Horse.objects.order_by("name"))
    passport = forms.CharField(max_length=40, required=False, label="Passport number")
    microchip = forms.CharField(max_length=40, required=False)


class PaperForm(forms.Form):
    instructor = forms.ModelChoiceField(
        Instructor.objects.select_related("person").order_by("person__first_name", "pk")
    )
    name = forms.CharField(
        max_length=80, label="Paper (first aid, licence, safeguarding)"
    )
    expires_date = forms.DateField(
        label="Valid until", widget=forms.DateInput(attrs={"type": "date"})
    )


class IncidentForm(forms.Form):
    happened_at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )
    who = forms.CharField(max_length=120, label="Who: rider and coach")
    horse = forms.ModelChoiceField(Horse.objects.order_by("name"), required=False)
    where = forms.CharField(max_length=120, label="Where: arena, surface, weather")
    what = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 4}),
        label="What happened, with the grid as it was built and measured",
    )
    done = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 2}),
        required=False,
        label="What was done at once",
    )
    witness = forms.CharField(max_length=120, required=False)
    adds_to = forms.ModelChoiceField(
        Incident.objects.filter(adds_to=None), required=False, widget=forms.HiddenInput
    )


def _note_horse(data: dict[str, Any], by: Account, now: datetime) -> str:
    note_horse(**data, by=by, now=now)
    return f"Noted for {data['horse']}."


def _note_paper(data: dict[str, Any], by: Account, now: datetime) -> str:
    return f"Noted: {note_paper(**data, by=by, now=now)}."


def _note_incident(data: dict[str, Any], by: Account, now: datetime) -> str:
    note_incident(**data, by=by, now=now)
    return "Noted. It stays as it is; what comes later can be added to it."


KINDS: dict[str, Any] = {
    "horses": (HorseForm, _note_horse, "Register of horses"),
    "papers": (PaperForm, _note_paper, "Instructors' papers"),
    "incidents": (IncidentForm, _note_incident, "Incidents"),
    # Written where a lesson is booked or changed, with the reason asked for there.
    "overruled": (None, None, "Limits overruled"),
}


@allowed(is_manager)
def register_page(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in KINDS:
        raise Http404
    form_class, note, title = KINDS[kind]
    if form_class is None and request.method == "POST":
        return HttpResponseNotAllowed(["GET"])
    form = form_class and form_class(request.POST or None, initial=_initial(request))
    refused = request.method == "POST" and not form.is_valid()
    if request.method == "POST" and form.is_valid():
        try:
            says = note(form.cleaned_data, account_of(request), timezone.now())
        except UnableToNote as error:
            form.add_error(error.field, error.says)
            refused = True
        else:
            messages.success(request, says)
            return redirect("inspector-register", kind=kind)
    context = {
        "kind": kind,
        "title": title,
        "form": form,
        "school": the_school(),
        "now": timezone.now(),
        "table": table_of(kind),
    }
    return render(
        request, "school/register.html", context, status=409 if refused else 200
    )


def _initial(request: HttpRequest) -> dict[str, Any]:
    """Return what an entry begins with: an addition knows what it adds to."""
    asked = request.GET.get("adds_to", "")
    known = (
        Incident.objects.filter(pk=int(asked), adds_to=None).first()
        if asked.isascii() and asked.isdigit() and len(asked) < 10
        else None
    )
    initial: dict[str, Any] = {"happened_at": timezone.localtime()}
    if known is not None:
        initial |= {
            "adds_to": known.pk,
            "happened_at": timezone.localtime(known.happened_at),
            "who": known.who,
            "horse": known.horse_id,
            "where": known.where,
        }
    return initial


@require_POST
@allowed(is_manager)
def paper_off(request: HttpRequest, pk: int) -> HttpResponse:
    paper = InstructorPaper.objects.filter(pk=pk).first()
    if paper is None:
        # Pressed twice: it is off already. What never was is not found.
        get_object_or_404(AuditEntry, action=TAKEN_OFF, subject_id=str(pk))
        return redirect("inspector-register", kind="papers")
    try:
        take_paper_off(
            paper=paper,
            reason=request.POST.get("reason", ""),
            by=account_of(request),
            now=timezone.now(),
        )
    except UnableToNote as error:
        messages.error(request, error.says)
    else:
        messages.success(request, f"{paper} is taken off. The register still says so.")
    return redirect("inspector-register", kind="papers")


@require_safe
@allowed(is_manager)
def register_csv(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in KINDS:
        raise Http404
    table = table_of(kind)
    rows = [one["cells"] for one in table["rows"]]
    response = HttpResponse(as_csv(table["titles"], rows), content_type="text/csv")
    response["Content-Disposition"] = f'attachment; filename="{kind}.csv"'
    response["Cache-Control"] = "no-store"
    return response


def table_of(kind: str) -> dict[str, Any]:
    """Return a register as titles and rows; `state` marks what needs a look."""
    if kind == "horses":
        return _horses()
    if kind == "overruled":
        return _overruled()
    return _papers() if kind == "papers" else _incidents()


def _horses() -> dict[str, Any]:
    rows = []
    for one in horses_with_papers():
        papers = getattr(one, "papers", None)
        cells = [
            one.name,
            one.born_date.isoformat(),
            str(one.height_cm),
            papers.passport if papers else "",
            papers.microchip if papers else "",
        ]
        missing = papers is None or not papers.passport
        rows.append({"cells": cells, "state": "no passport" if missing else ""})
    titles = ["Horse", "Born", "Height (cm)", "Passport", "Microchip"]
    return {"titles": titles, "rows": rows}


def _papers() -> dict[str, Any]:
    today, earlier = timezone.localdate(), earlier_ends()
    words = {"over": "out of date", "soon": "ends soon", "": ""}
    rows: list[dict[str, Any]] = []
    instructors = instructors_with_papers()
    for one in instructors:
        papers = list(one.papers.all())
        if not papers:
            cells = [str(one.person), "", "", ""]
            rows.append({"cells": cells, "state": "no paper noted"})
        rows += [
            {
                "cells": [
                    str(one.person),
                    paper.name,
                    paper.expires_date.isoformat(),
                    ", ".join(earlier.get(paper.pk, [])),
                ],
                "state": words[paper_state(paper, today)],
                "off": paper.pk,
            }
            for paper in papers
        ]
    names = {str(one.pk): str(one.person) for one in instructors}
    rows += [_taken_off(one, names) for one in papers_taken_off()]
    titles = ["Instructor", "Paper", "Valid until", "Before that until"]
    return {"titles": titles, "rows": rows}


def _taken_off(entry: AuditEntry, names: dict[str, str]) -> dict[str, Any]:
    was, why = entry.before or {}, entry.after or {}
    by = "" if entry.by is None else f" by {entry.by.person or entry.by.username}"
    day = timezone.localtime(entry.at).date().isoformat()
    return {
        "cells": [
            names.get(str(was["instructor"]), ""),
            was["name"],
            str(was["expires_date"]),
            f"Taken off on {day}{by}: {why['reason']}",
        ],
        "state": "taken off",
    }


def _overruled() -> dict[str, Any]:
    rows = [
        {
            "cells": [
                f"{timezone.localtime(one.at):%Y-%m-%d %H:%M}",
                one.by,
                f"{timezone.localtime(one.lesson.starts_at):%Y-%m-%d %H:%M}, "
                f"{one.lesson.title}",
                one.who,
                one.rule,
                one.figure,
                one.limit,
                one.reason,
            ],
            "state": "lesson cancelled"
            if one.lesson.state == LessonState.CANCELLED
            else "",
        }
        for one in overruled()
    ]
    titles = ["Overruled", "By", "Lesson", "Horse or instructor", "Rule", "Figure",
              "Limit", "Reason"]  # fmt: skip
    return {"titles": titles, "rows": rows}


def _incidents() -> dict[str, Any]:
    rows = []
    for one in incidents():
        rows.append({"cells": _told(one), "state": "", "add": one.pk})
        rows += [
            {"cells": _told(each), "state": "added later"}
            for each in one.additions.all()
        ]
    titles = ["When", "Who", "Horse", "Where", "What", "Done", "Witness", "Noted"]
    return {"titles": titles, "rows": rows}


def _told(one: Incident) -> list[str]:
    by = one.noted_by
    name = "" if by is None else str(by.person or by.username)
    return [
        f"{timezone.localtime(one.happened_at):%Y-%m-%d %H:%M}",
        one.who,
        one.horse.name if one.horse else "",
        one.where,
        one.what,
        one.done,
        one.witness,
        f"{timezone.localtime(one.noted_at):%Y-%m-%d %H:%M}, {name}",
    ]
