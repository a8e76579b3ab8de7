"""What would make a lesson's grid fit, with what each cure costs, to press."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.geometry.cures import Change, Half, built_for
from exercises.geometry.elements import Element
from exercises.geometry.fit import Fit
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.strides import Tradition
from exercises.geometry.units import Units
from scheduling.changeover.effort import Handling, handling_from
from scheduling.changeover.setups import Place
from scheduling.changeover.stages import stage_changeovers
from scheduling.dayplan.plan import move_as_data
from scheduling.queries.plans import published_place
from scheduling.wording import changeover_carry, duration_words, move_words
from school.convert import ground_of, horse_size, units_of
from school.models import Horse, Lesson, LessonGrid, Ride
from school.permissions import may_attach_grid
from school.queries.lessons import lesson_with_all
from school.queries.schools import the_school
from school.services.cures import (
    Cures,
    HorseCures,
    cures_of,
    take_distance,
    take_lower,
    take_part,
    take_square,
    take_swap,
)
from school.services.grid_changes import refit_grid, undo_grid_change
from school.services.grids import UnableToAttach
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed, in_hand
from school.web.lessons import anyone

FIRST_FOOT = "the row's first foot"

Data = dict[str, Any]

READY_REASONS = (
    "I have watched them ride it.",
    "They ride it in trot only.",
    "It is measured again and suits them today.",
)
"""Reasons to overrule that can be chosen with a glove on; any other is written."""


def grid_to_change(request: HttpRequest, pk: int) -> tuple[Lesson, LessonGrid]:
    """Return a lesson and its grid, for who may change it."""
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    if not may_attach_grid(account_of(request), lesson):
        raise PermissionDenied
    grid = LessonGrid.objects.select_related("revision__exercise").filter(lesson=pk)
    found = grid.first()
    if found is None:
        raise Http404
    return lesson, found


@dataclass(frozen=True, slots=True)
class Standing:
    """How a row stands and is spoken of: the school's times and units, its place."""

    handling: Handling
    units: Units
    place: Place
    datum: str


def standing_of(lesson: Lesson | None = None) -> Standing:
    """Return how a lesson's row stands by the published plan, if it says so."""
    school = the_school()
    handling, units = handling_from(school.handling), units_of(school)
    stands = published_place(lesson) if lesson else None
    if stands is None:
        return Standing(handling, units, Place(0, False), FIRST_FOOT)
    line, place = stands
    return Standing(handling, units, place, line.datum)


def work_of(
    before: Sequence[Element],
    after: Sequence[Element],
    standing: Standing,
    moved_cm: int = 0,
) -> Data:
    """Say what it takes to make one row of another: moves, pieces, minutes.

    Each is counted from its own zero; `moved_cm` is where the zero of the first
    lies, counted from the second's.
    """
    row_cm = max(one.landing_cm for one in before)
    place = standing.place
    if standing.datum != FIRST_FOOT:
        by_cm = moved_cm if place.mirrored else -moved_cm
        place = Place(place.offset_cm + by_cm, place.mirrored)
    stood = [replace(one, at_cm=one.at_cm + moved_cm) for one in before]
    (made,) = stage_changeovers((stood, after), row_cm, place, standing.handling)
    moves = [move_as_data(one) for one in made.moves]
    return {
        "minutes": duration_words(made.seconds),
        "carry": changeover_carry(moves).words(),
        "moves": [
            move_words(one, standing.datum, standing.units)
            for one in moves
            if one["do"] != "keep"
        ],
    }


@allowed(anyone)
def cures_page(request: HttpRequest, pk: int) -> HttpResponse:
    lesson, grid = grid_to_change(request, pk)
    return _show(request, lesson, grid)


def _show(
    request: HttpRequest,
    lesson: Lesson,
    grid: LessonGrid,
    *,
    refusal: str = "",
    verdicts: Sequence[Any] = (),
) -> HttpResponse:
    try:
        cures = cures_of(lesson, grid)
    except UnableToAttach as error:
        context: Data = {
            "lesson": lesson,
            "in_hand": in_hand(request, lesson),
            "refusal": refusal or error.says,
        }
        return render(request, "scheduling/cures.html", context, status=409)
    standing = standing_of(lesson)
    context = {
        "lesson": lesson,
        "in_hand": in_hand(request, lesson),
        "ready": READY_REASONS,
        "grid": grid,
        "refusal": refusal,
        "asked": request.POST,
        "overrule": [
            one for one in verdicts if one.fit is Fit.DOES_NOT and not one.firm
        ],
        "verdicts": [one for one in cures.fitted.verdicts if one.fit is not Fit.FITS],
        "horses": [_horse(cures, grid, one, standing) for one in cures.horses],
        "split": _split(cures, standing),
        "lower_to_cm": cures.lower_to_cm,
        "units": standing.units,
        "square": cures.square,
    }
    status = 409 if refusal else 200
    return render(request, "scheduling/cures.html", context, status=status)


def _horse(cures: Cures, grid: LessonGrid, one: HorseCures, standing: Standing) -> Data:
    fitted = cures.fitted
    name = one.ride.horse.name if one.ride.horse else ""
    sizes = [horse_size(ride.horse) for ride in fitted.rides if ride.horse]
    changed = fit_row(
        built_for(fitted.spec, fitted.row, name),
        sizes,
        Tradition(grid.tradition),
        ground_of(grid.ground),
    )
    return {
        "name": name,
        "ride": one.ride,
        "changes": [_change(change, standing.units) for change in one.changes],
        "work": work_of(fitted.row.start, changed.start, standing),
        "swaps": [
            {
                "horse": offer.horse,
                "worst": _worst_words(offer.swap.row, standing.units),
                "work": work_of(fitted.row.start, offer.swap.row.start, standing),
            }
            for offer in one.swaps
        ],
    }


def _change(change: Change, units: Units) -> Data:
    return {
        "gap": change.before,
        "was": units.length(change.was_cm),
        "built": units.length(change.built_cm),
        "outside": [
            f"{one.horse.name} is {one.words(units)}" for one in change.outside
        ],
    }


def _worst_words(row: FittedRow, units: Units) -> str:
    its = [(gap, one) for gap in row.gaps for one in gap.horses]
    gap, one = max(its, key=lambda pair: pair[1].halves)
    return f"{one.horse.name} {one.words(units)} in gap {gap.before}"


def _split(cures: Cures, standing: Standing) -> Data | None:
    split = cures.split
    if split is None:
        return None
    short, long = split.short.row, split.long.row
    stands = cures.fitted.row.start
    return {
        "parts": [
            _part("short", split.short, stands, standing),
            _part("long", split.long, stands, standing),
        ],
        "over": work_of(short.start, long.start, standing),
        "back": work_of(long.start, short.start, standing),
    }


def _part(part: str, half: Half, stands: Sequence[Element], standing: Standing) -> Data:
    units = standing.units
    return {
        "part": part,
        "horses": ", ".join(one.name for one in half.horses),
        "gaps": ", ".join(units.length(gap.built_cm) for gap in half.row.gaps),
        "worst": _worst_words(half.row, units),
        "fits": half.row.worst <= 1,
        "work": work_of(stands, half.row.start, standing),
    }


@require_POST
@allowed(anyone)
def take_cure(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one cure; what does not fit then is said, and may be overruled."""
    lesson, grid = grid_to_change(request, pk)
    try:
        _take(request, lesson)
    except UnableToAttach as error:
        return _show(request, lesson, grid, refusal=error.says, verdicts=error.verdicts)
    except UnableToBook as error:
        return _show(request, lesson, grid, refusal=error.says)
    answer = redirect("lesson", pk=pk)
    answer["Location"] += "#grid"
    return answer


def reasons_of(request: HttpRequest) -> dict[str, str]:
    """Return the reasons given for overruling, by their subject.

    One that was written counts before one that was chosen.
    """
    return {
        key.removeprefix("reason:"): ([x for x in map(str, given) if x] or [""])[-1]
        for key, given in request.POST.lists()
        if key.startswith("reason:")
    }


def _take(request: HttpRequest, lesson: Lesson) -> None:
    by, now = account_of(request), timezone.now()
    reasons = reasons_of(request)
    match request.POST.get("cure"):
        case "distance":
            take_distance(
                lesson=lesson, horse=request.POST.get("horse", ""), by=by, now=now,
                overrides=reasons,
            )  # fmt: skip
        case "lower":
            take_lower(lesson=lesson, by=by, now=now, overrides=reasons)
        case "part":
            take_part(
                lesson=lesson, part=request.POST.get("part", ""), by=by, now=now,
                overrides=reasons,
            )  # fmt: skip
        case "square":
            take_square(lesson=lesson, by=by, now=now, overrides=reasons)
        case "swap":
            take_swap(
                ride=_found(Ride, request.POST.get("ride"), lesson=lesson),
                horse=_found(Horse, request.POST.get("horse")),
                by=by, now=now, overrides=reasons,
            )  # fmt: skip
        case "refit":
            refit_grid(lesson=lesson, by=by, now=now, overrides=reasons)
        case "undo":
            undo_grid_change(lesson=lesson, by=by, now=now)
        case _:
            raise Http404


def _found(model: Any, pk: str | None, **where: Any) -> Any:
    one = model.objects.filter(pk=pk, **where).first() if (pk or "").isdigit() else None
    if one is None:
        raise Http404
    return one
