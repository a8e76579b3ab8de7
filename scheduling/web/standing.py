"""What really stands on each line: corrected by a press, and the rest planned anew."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.lengths import InvalidLength
from exercises.geometry.units import Units
from scheduling.models import Changeover, PlanRun
from scheduling.queries.changeovers import changeovers_left_on
from scheduling.queries.standing import lines_with_standing
from scheduling.services.changeovers import UnableToCorrect, correct_standing
from scheduling.services.runs import ask_run
from school.convert import units_of
from school.models import Line
from school.permissions import is_staff_of_yard, may_work_resets
from school.queries.schools import the_school
from school.web.access import account_of, allowed

Elements = list[dict[str, Any]]


@allowed(is_staff_of_yard)
def standing_page(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(request: HttpRequest, refusal: str = "") -> HttpResponse:
    units = units_of(the_school())
    context = {
        "lines": [_line(one, units) for one in lines_with_standing()],
        "may_work": may_work_resets(account_of(request)),
        "refusal": refusal,
    }
    return render(
        request, "scheduling/standing.html", context, status=409 if refusal else 200
    )


def _line(line: Line, units: Units) -> dict[str, Any]:
    standing = getattr(line, "standing", None)
    elements: Elements = standing.elements if standing else []
    return {
        "line": line,
        "standing": standing,
        "seen": _seen(line),
        "elements": [
            {
                "n": n,
                "words": element_words(element_from_data(one), units),
                "at": units.length(one["at_cm"]),
                "high": bool(one.get("height_cm")),
            }
            for n, one in enumerate(elements)
        ],
    }


def _seen(line: Line) -> str:
    """Return which state of a line was looked at."""
    standing = getattr(line, "standing", None)
    return standing.as_of_at.isoformat() if standing else ""


@require_POST
@allowed(may_work_resets)
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one correction, and plan what is left of the day anew."""
    line = Line.objects.select_related("standing", "arena").filter(pk=pk).first()
    if line is None:
        raise Http404
    if request.POST.get("seen", "") != _seen(line):
        return _show(
            request,
            f"{line.name} was corrected, or a changeover done there, while you looked: "
            "it is shown as it is now.",
        )
    units, by, now = units_of(the_school()), account_of(request), timezone.now()
    try:
        elements = _corrected(request, line, units)
        correct_standing(line=line, elements=elements, by=by, now=now)
    except (UnableToCorrect, InvalidLength) as error:
        return _show(request, f"{line.name}: {error}")
    today = timezone.localdate()
    left = changeovers_left_on(line, today)
    if left:
        ask_run(date=today, kind=PlanRun.Kind.REPLAN, by=by, now=now)
    messages.success(request, _said(line, left))
    return redirect("standing")


def _said(line: Line, left: list[Changeover]) -> str:
    if not left:
        return f"{line.name} is kept as it stands. No changeover of today is touched."
    touched = ", ".join(_touched(one) for one in left)
    return (
        f"{line.name} is kept as it stands. Touched: {touched}. A new plan of what is "
        "left of today is being made; the manager publishes it."
    )


def _touched(one: Changeover) -> str:
    if one.lesson is None:
        return one.heading
    return (
        f"{one.title} at {timezone.localtime(one.lesson.starts_at):%H:%M} "
        f"({one.lesson.instructor.person.first_name})"
    )


@dataclass(frozen=True, slots=True)
class _Press:
    """What was pressed, at which element."""

    do: str
    n: int


def _corrected(request: HttpRequest, line: Line, units: Units) -> Elements:
    """Return what stands after a press.

    Raises
    ------
    UnableToCorrect
        For a press that is none.
    InvalidLength
        For a place that is none.
    """
    standing = getattr(line, "standing", None)
    elements: Elements = [dict(one) for one in (standing.elements if standing else [])]
    at = request.POST.get("n", "")
    press = _Press(request.POST.get("do", ""), int(at) if at.isdecimal() else -1)
    if press.do == "nothing":
        return []
    if not 0 <= press.n < len(elements):
        raise UnableToCorrect("choose one of the elements that stand there.")
    one = elements[press.n]
    match press.do:
        case "gone":
            elements.pop(press.n)
        case "lower" | "higher":
            by_cm = units.step_cm if press.do == "higher" else -units.step_cm
            one["height_cm"] = one.get("height_cm", 0) + by_cm
        case "moved":
            one["at_cm"] = units.read_length(request.POST.get("to", ""))
        case _:
            raise UnableToCorrect("choose one of the corrections shown.")
    return elements
