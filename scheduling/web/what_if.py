"""What would save resets: one table and one picture."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from exercises.drawing import svg
from scheduling.models import PlanRun
from scheduling.queries.keys import key_of
from scheduling.queries.plans import latest_runs
from scheduling.web.days import read_day_or_404
from scheduling.web.runs import run_words
from school.models import Lesson
from school.permissions import is_manager
from school.web.access import allowed

NAMES = {
    "crew": "One more groundsperson",
    "wings": "Ten more wings",
    "line": "A second line in each arena with one",
    "gap": "Ten free minutes after each lesson",
    "distances": "Like grids at like distances, within every horse's band",
}
SAVES, COSTS = "#1f5a43", "#9b1c1c"
WIDTH, ROW, LEFT = 900, 52, 420


@allowed(is_manager)
def what_if_page(request: HttpRequest, day: str) -> HttpResponse:
    when = read_day_or_404(day)
    run = latest_runs(when).get(PlanRun.Kind.WHAT_IF)
    result = (run.result if run is not None else None) or {}
    names = {key_of(x) for one in result.get("answers", []) for x in one["changed"]}
    titles = {one.pk: one.title for one in Lesson.objects.filter(pk__in=names)}
    rows = [_row(one, titles) for one in result.get("answers", [])]
    rows.sort(key=lambda one: -(one["saved_s"] or -(10**9)))
    context = {
        "day": when,
        "run": None if run is None else run_words(run),
        "under_way": run is not None and run.under_way,
        "rows": rows,
        "base_min": _minutes(result["reset_s"]) if result else None,
        "impossible": result.get("status") == "impossible",
        "picture": draw_savings(rows) if rows else "",
    }
    return render(request, "scheduling/what_if.html", context)


def _minutes(seconds: int) -> int:
    return -(-seconds // 60)


def _row(one: Mapping[str, Any], titles: Mapping[int, str]) -> dict[str, Any]:
    saved = one["saved_s"]
    return {
        "name": NAMES[one["name"]],
        "saved_s": saved,
        "saved_min": None if saved is None else f"{saved / 60:.1f}",
        "reset_min": None if one["reset_s"] is None else _minutes(one["reset_s"]),
        "proved": one["proved"],
        "changed": [titles.get(key_of(x), "a lesson") for x in one["changed"]],
    }


def draw_savings(rows: list[dict[str, Any]]) -> str:
    """Draw a bar for each change, true to its minutes; the table says the same."""
    most = max([60, *(abs(one["saved_s"] or 0) for one in rows)])
    some_cost = any((one["saved_s"] or 0) < 0 for one in rows)
    zero = LEFT + (180 if some_cost else 0)
    room = WIDTH - zero - 110
    root = svg.drawing(
        WIDTH, 20 + ROW * len(rows), ident="savings",
        title="Minutes saved by each change", kind="savings",
        says="The table beside it says the same.",
    )  # fmt: skip
    svg.line(root, zero, 8, zero, 12 + ROW * len(rows), stroke=svg.FAINT, width=2)
    for n, one in enumerate(rows):
        top = 14 + ROW * n
        words = one["name"].partition(",")[0]
        svg.text(root, 8, top + 25, words, size=18, anchor="start")
        saved = one["saved_s"]
        if saved is None:
            svg.text(
                root, zero + 8, top + 25, "not possible", size=18, anchor="start",
                fill=COSTS,
            )  # fmt: skip
            continue
        length = (room if saved > 0 else 170) * abs(saved) / most
        left = zero if saved >= 0 else zero - length
        svg.rect(
            root, left, top + 6, max(length, 2), ROW - 22,
            fill=SAVES if saved >= 0 else COSTS,
        )  # fmt: skip
        svg.text(
            root, max(zero, left + length) + 10, top + 25,
            f"{one['saved_min']} min", size=18, anchor="start", bold=True,
        )  # fmt: skip
    return svg.written(root)
