"""The pages that bring tables in, try them first, and write them out."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from school.models import TableFile
from school.permissions import may_bring_tables
from school.queries.schools import school_zone
from school.queries.tables import table_of
from school.services.export import export_everything
from school.services.table_files import (
    UnableToBringIn,
    bring_in,
    counted,
    forget_file,
    map_columns,
    set_aside_file,
    take_file,
)
from school.tables.columns import TABLES, Kind, missing
from school.tables.files import MOST_BYTES, MOST_ROWS
from school.tables.writing import as_csv, as_workbook
from school.web.access import account_of, allowed

ROWS_A_PAGE = 100
KINDS = [
    (Kind.HORSES.value, "Horses"),
    (Kind.PEOPLE.value, "Riders, with who is written to"),
    (Kind.INSTRUCTORS.value, "Instructors, with hours and papers"),
    (Kind.LESSONS.value, "Lessons"),
]
WORDS = {
    "new": "New",
    "changed": "Changes",
    "same": "As it is",
    "refused": "To mend",
}
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class TableForm(forms.Form):
    kind = forms.ChoiceField(choices=KINDS, label="What the rows are")
    file = forms.FileField(label="CSV file or .xlsx workbook", allow_empty_file=True)
    day_first = forms.TypedChoiceField(
        choices=[("yes", "Day first: 31.12.2015"), ("no", "Month first: 12/31/2015")],
        coerce=lambda said: said == "yes",
        label="Dates that do not begin with the year",
    )
    tell = forms.BooleanField(
        required=False, label="Write to the clients of new and moved lessons"
    )


@allowed(may_bring_tables)
def tables_page(request: HttpRequest) -> HttpResponse:
    form = TableForm(request.POST or None, request.FILES or None)
    refusal = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        # One byte more than is allowed is enough to be refused.
        body = data["file"].read(MOST_BYTES + 1)
        try:
            file = take_file(
                kind=Kind(data["kind"]),
                name=data["file"].name,
                body=body,
                by=account_of(request),
                now=timezone.now(),
                day_first=data["day_first"],
                tell=data["tell"],
            )
        except UnableToBringIn as error:
            refusal = error.says
        else:
            return redirect("table-file", pk=file.pk)
    context = {
        "form": form,
        "refusal": refusal,
        "files": TableFile.objects.filter(
            sent_by=account_of(request), expires_at__gt=timezone.now()
        ).order_by("-sent_at", "-pk")[:20],
        "kinds": [
            {"value": value, "title": title, "columns": TABLES[Kind(value)]}
            for value, title in KINDS
        ],
        "most_rows": MOST_ROWS,
        "most_mb": MOST_BYTES // 1_000_000,
    }
    status = 409 if refusal else 200
    return _private(render(request, "school/tables.html", context, status=status))


def _private(response: HttpResponse) -> HttpResponse:
    """Keep what tables hold (weight, health, birth dates) out of every cache."""
    response["Cache-Control"] = "no-store"
    return response


def _file(request: HttpRequest, pk: int) -> TableFile:
    """Return a file of the reader's own whose time is not over."""
    found = TableFile.objects.filter(
        pk=pk, sent_by=account_of(request), expires_at__gt=timezone.now()
    ).first()
    if found is None:
        raise Http404
    return found


@require_safe
@allowed(may_bring_tables)
def table_file(request: HttpRequest, pk: int) -> HttpResponse:
    return _show(request, _file(request, pk))


def _show(request: HttpRequest, file: TableFile, refusal: str = "") -> HttpResponse:
    kind, counts = Kind(file.kind), counted(file)
    chosen = request.GET.get("only", "")
    if chosen not in counts:
        chosen = "refused" if counts["refused"] else ""
    if request.GET.get("only") == "all":
        chosen = ""
    cells = dict(zip(file.numbers, file.rows, strict=True))
    rows = [
        {
            "number": number,
            "what": what,
            "word": WORDS[what],
            "says": says,
            "cells": [one for one in cells[number] if one][:4],
        }
        for number, what, says in file.fates
        if not chosen or what == chosen
    ]
    context = {
        "file": file,
        "refusal": refusal,
        "kind": dict(KINDS)[file.kind],
        "counts": [
            {"what": what, "word": WORDS[what], "count": count}
            for what, count in counts.items()
        ],
        "refused": counts["refused"],
        "to_write": counts["new"] + counts["changed"],
        "only": chosen,
        "page": Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "missing": missing(kind, file.mapping),
        "columns": [
            {"header": header, "key": key, "n": n, "sample": _sample(file, n)}
            for n, (header, key) in enumerate(
                zip(file.headers, file.mapping, strict=True)
            )
        ],
        "choices": [(one.key, one.title) for one in TABLES[kind]],
    }
    status = 409 if refusal else 200
    return _private(render(request, "school/table_file.html", context, status=status))


def _sample(file: TableFile, n: int) -> str:
    return next((row[n] for row in file.rows if row[n]), "")[:40]


@require_POST
@allowed(may_bring_tables)
def map_table(request: HttpRequest, pk: int) -> HttpResponse:
    file = _file(request, pk)
    mapping = [request.POST.get(f"column-{n}", "") for n in range(len(file.headers))]
    return _done(
        request, file,
        lambda: map_columns(
            file=file, mapping=mapping, by=account_of(request), now=timezone.now()
        ),
        "The rows were tried anew with these columns.",
    )  # fmt: skip


@require_POST
@allowed(may_bring_tables)
def bring_table(request: HttpRequest, pk: int) -> HttpResponse:
    file = _file(request, pk)
    return _done(
        request, file,
        lambda: bring_in(
            file=file,
            set_aside=request.POST.get("set_aside") == "yes",
            by=account_of(request),
            now=timezone.now(),
        ),
        "Brought in.",
    )  # fmt: skip


def _done(request: HttpRequest, file: TableFile, verb: Any, says: str) -> HttpResponse:
    try:
        verb()
    except UnableToBringIn as error:
        file.refresh_from_db()
        return _show(request, file, refusal=error.says)
    messages.success(request, says)
    return redirect("table-file", pk=file.pk)


@require_POST
@allowed(may_bring_tables)
def forget_table(request: HttpRequest, pk: int) -> HttpResponse:
    found = TableFile.objects.filter(pk=pk, sent_by=account_of(request)).first()
    if found is not None:
        forget_file(file=found)
    messages.success(request, "The file is forgotten; what it brought in stays.")
    return redirect("tables")


@require_safe
@allowed(may_bring_tables)
def table_aside(request: HttpRequest, pk: int) -> HttpResponse:
    file = _file(request, pk)
    return _download(set_aside_file(file), f"{file.kind}-to-mend.csv", "text/csv")


@require_safe
@allowed(may_bring_tables)
def table_written(request: HttpRequest, kind: str, form: str) -> HttpResponse:
    if kind not in {one.value for one in Kind} or form not in {"csv", "xlsx"}:
        raise Http404
    titles, rows = table_of(Kind(kind), school_zone())
    if form == "csv":
        return _download(as_csv(titles, rows), f"{kind}.csv", "text/csv")
    return _download(as_workbook(kind, titles, rows), f"{kind}.xlsx", XLSX)


@require_POST
@allowed(may_bring_tables)
def everything_written(request: HttpRequest) -> HttpResponse:
    form = "xlsx" if request.POST.get("form") == "xlsx" else "zip"
    body = export_everything(form=form, by=account_of(request), now=timezone.now())
    name = f"everything-{timezone.localdate().isoformat()}.{form}"
    return _download(body, name, XLSX if form == "xlsx" else "application/zip")


def _download(body: bytes, name: str, kind: str) -> HttpResponse:
    response = HttpResponse(body, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return _private(response)
