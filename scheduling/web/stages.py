"""How a row is built up during a lesson: each stage, and what it takes to reach it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from exercises.convert import spec_of
from exercises.drawing.side import draw_side
from exercises.drawing.stage_words import (
    outside_words,
    stage_words,
    two_things_words,
)
from exercises.geometry.editing.words import GAP_WORDS
from exercises.geometry.fitting import STEP_CM, fit_row
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import ExerciseSpec, Gap
from exercises.geometry.standing import StageFit, fit_stages, turn_last_stage
from exercises.geometry.strides import Ground, HorseSize, Tradition
from exercises.geometry.units import METRIC, Units
from exercises.models import Exercise
from scheduling.changeover.effort import Handling, handling_from
from scheduling.changeover.moves import Changeover, Do
from scheduling.changeover.setups import Place
from scheduling.changeover.stages import stage_changeovers
from scheduling.dayplan.plan import move_as_data
from scheduling.queries.changeovers import changeovers_for, trouble_at
from scheduling.queries.plans import published_place
from scheduling.queries.presses import photos_for
from scheduling.services.news import progress_words
from scheduling.wording import changeover_carry, duration_words, move_words
from school.convert import ground_of, horse_size, spec_of_grid, units_of
from school.permissions import is_staff_of_yard
from school.queries.lessons import booked_rides, lessons_with_all
from school.queries.schools import the_school
from school.web.access import allowed, in_hand

SIZES = (118, 128, 138, 148, 158, 165)
"""Heights for which an exercise is shown, in centimetres."""

USUAL_CM = 165

Cards = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Ridden:
    """An exercise, who rides it, and what its distances are."""

    spec: ExerciseSpec
    horses: tuple[HorseSize, ...]
    tradition: Tradition
    ground: Ground | None = None
    built: Mapping[int, int] | None = None
    units: Units = METRIC


@allowed(is_staff_of_yard)
def exercise_stages(request: HttpRequest, slug: str) -> HttpResponse:
    """Show the stages of an exercise for one size of horse."""
    exercise = Exercise.objects.select_related("current").filter(slug=slug).first()
    if exercise is None or exercise.current is None:
        raise Http404
    asked = request.GET.get("height", "")
    height_cm = int(asked) if asked in {str(one) for one in SIZES} else USUAL_CM
    school = the_school()
    units = units_of(school)
    ridden = Ridden(
        spec_of(exercise.current),
        (HorseSize(f"a horse of {units.horse(height_cm)}", height_cm),),
        Tradition(school.tradition),
        units=units,
    )
    context = {
        "title": exercise.name,
        "exercise": exercise,
        "sizes": [(one, units.horse(one)) for one in SIZES],
        "height_cm": height_cm,
        **stage_cards(ridden, handling_from(school.handling)),
    }
    return _shown(request, context)


@allowed(is_staff_of_yard)
def lesson_stages(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the stages of a lesson's grid, fitted to its horses and placed."""
    lesson = lessons_with_all().filter(pk=pk).first()
    grid = getattr(lesson, "grid", None)
    if lesson is None or grid is None:
        raise Http404
    school, stands = the_school(), published_place(lesson)
    ridden = Ridden(
        spec_of_grid(grid),
        tuple(horse_size(one.horse) for one in booked_rides(lesson) if one.horse),
        Tradition(grid.tradition),
        ground=ground_of(grid.ground),
        # A measure typed in between the marks of the tape stays as it was typed.
        built={
            one["before"]: one["built_cm"]
            for one in grid.fitted.get("gaps", [])
            if one["built_cm"] % STEP_CM == 0
        },
        units=units_of(school),
    )
    if not ridden.horses:
        raise Http404
    place, datum = (stands[1], stands[0].datum) if stands else (None, None)
    context = {
        "title": f"{grid.revision.exercise.name}, {lesson.title}",
        "lesson": lesson,
        "in_hand": in_hand(request, lesson),
        "line": stands[0] if stands else None,
        "trouble": trouble_at(lesson),
        "photos": photos_for(lesson),
        "changeovers": [(one, progress_words(one)) for one in changeovers_for(lesson)],
        **stage_cards(ridden, handling_from(school.handling), place, datum),
    }
    return _shown(request, context)


def _shown(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    part = getattr(request, "htmx", False)
    name = "scheduling/_stages.html" if part else "scheduling/stages.html"
    return render(request, name, context)


def stage_cards(
    ridden: Ridden,
    handling: Handling,
    place: Place | None = None,
    datum: str | None = None,
) -> Cards:
    row = fit_row(
        ridden.spec, ridden.horses, ridden.tradition, ridden.ground, ridden.built
    )
    fits = fit_stages(ridden.spec, row, ridden.horses, ridden.tradition, ridden.ground)
    changeovers = stage_changeovers(
        [one.stage.elements for one in fits],
        row.length_cm,
        place or Place(0, False),
        handling,
    )
    tape = datum or "the row's first foot"
    cards = [
        _card(fit, made, tape, ridden.units)
        for fit, made in zip(fits, (None, *changeovers), strict=True)
    ]
    return {
        "stages": cards,
        "passes": sum(one.stage.passes for one in fits),
        "minutes": duration_words(sum(one.seconds for one in changeovers)),
        "turned": _turned(ridden, fits[-1]),
        "both_ways": ridden.spec.both_ways,
        "tape": tape,
    }


def _card(fit: StageFit, made: Changeover | None, tape: str, units: Units) -> Cards:
    stage = fit.stage
    card: Cards = {
        "number": fit.number,
        "says": stage.says,
        "passes": stage.passes,
        "words": stage_words(stage, units),
        "two_things": two_things_words(stage),
        "outside": outside_words(fit.outside, units),
        "side": draw_side(
            stage.elements,
            ident=f"stage{fit.number}",
            title=f"Stage {fit.number}, {stage.says}: from the side",
            units=units,
        ),
    }
    if made is not None:
        moves = [move_as_data(one) for one in made.moves if one.do is not Do.KEEP]
        card |= {
            "minutes": duration_words(made.seconds),
            "moves": [move_words(one, tape, units) for one in moves],
            "carry": changeover_carry(moves).words(),
        }
    return card


def _turned(ridden: Ridden, last: StageFit) -> Cards:
    """Say how the last stage rides from its other end, or what must be done first."""
    try:
        turned = turn_last_stage(last, ridden.horses, ridden.tradition, ridden.ground)
    except UnableToReverse as error:
        says = f"{error}"
        return {"refusal": f"{says[0].upper()}{says[1:]}."}
    gaps = turned.row.gaps
    return {
        "gaps": [
            {
                "number": gap.before,
                "built": ridden.units.length(gap.built_cm),
                "meant": GAP_WORDS[gap.gap],
                "horses": [
                    {
                        "horse": one.horse,
                        "inside": one.inside,
                        "words": one.words(ridden.units),
                    }
                    for one in gap.horses
                ],
            }
            for gap in gaps
        ],
        "landing": any(gap.gap is Gap.LANDING for gap in gaps),
        "outside": any(not one.inside for gap in gaps for one in gap.horses),
        "side": draw_side(
            turned.row.start,
            ident="turned",
            title="The row turned round, from the side",
            units=ridden.units,
        ),
    }
