"""What the page of a grid in the making shows: list, drawing, fit."""

from typing import Any

from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.drawing.words import element_words
from exercises.geometry.editing.gaps import suits
from exercises.geometry.editing.history import History
from exercises.geometry.editing.kinds import name_of
from exercises.geometry.editing.stages import MOST_PASSES
from exercises.geometry.editing.words import GAP_WORDS, kind_words
from exercises.geometry.elements import FENCES, FLAT, GroundLine, Kind
from exercises.geometry.fit import Fit, Verdict
from exercises.geometry.fitting import FittedGap, FittedRow, fit_row
from exercises.geometry.spec import ExerciseSpec, Gait, SpecElement
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.units import Units
from exercises.geometry.verdicts import LEVELS, judge_fit
from school.convert import history_of, room_of, store_of, units_of
from school.models import GridDraft, LessonGrid, Line, School
from school.queries.schools import the_school
from school.queries.store import store_by_place
from school.services.grids import (
    Fitted,
    UnableToAttach,
    fit_lesson,
)

SIZES_CM = (118, 128, 138, 148, 157, 165)
"""Tops of the pony classes, and horses; see the handbook's classes by height."""

USUAL_CM = 165

GROUND_LINES = {
    GroundLine.NONE: "no ground line",
    GroundLine.TAKE_OFF: "ground line in front",
    GroundLine.BOTH: "ground line on both sides",
}


def page_of(draft: GridDraft, *, stage: int = 0, size_cm: int = USUAL_CM) -> Any:
    """Return what the page shows of a draft.

    Parameters
    ----------
    stage
        Which is looked at; 0 is the row as built, one beyond the last a new one.
    size_cm
        Height of the horse it is fitted to.
    """
    school = the_school()
    units = units_of(school)
    history = history_of(draft)
    spec = history.spec
    stage = max(0, min(stage, len(spec.stages) + 1))
    fit = _lesson_fit(draft, spec)
    problem = fit if isinstance(fit, str) else ""
    if isinstance(fit, Fitted):
        row, verdicts = fit.row, fit.verdicts
    else:
        row, verdicts = _sample_fit(spec, school, size_cm, units)
    shown = row.stages[min(stage, len(spec.stages))].elements
    title = f"{spec.name}, {_stage_name(stage, spec)}"
    return {
        "draft": draft,
        "spec": spec,
        "history": history,
        "stage": stage,
        "stages": _stages(spec, row, stage),
        "built": stage == 0,
        "new_stage": stage > len(spec.stages),
        "passes": row.stages[min(stage, len(spec.stages))].passes,
        "pass_counts": range(1, MOST_PASSES + 1),
        "rows": _rows(spec, row, stage, units),
        "side": draw_side(
            shown, ident="side", title=f"{title}: from the side", units=units
        ),
        "plan": draw_plan(
            shown, ident="plan", title=f"{title}: from above", units=units
        ),
        "length": units.length(row.length_cm),
        "verdicts": [one for one in verdicts if one.fit is not Fit.FITS],
        "to_overrule": [
            one for one in verdicts if one.fit is Fit.DOES_NOT and not one.firm
        ]
        if draft.lesson
        else [],
        "problem": problem,
        "fitted_to": _horses(row) if isinstance(fit, Fitted) else "",
        "size_cm": size_cm,
        "tradition": school.get_tradition_display(),
        "places": _places(spec),
        "undo": _button(history, "undoes"),
        "redo": _button(history, "redoes"),
    } | _to_choose_from(units)


def _to_choose_from(units: Units) -> dict[str, Any]:
    return {
        "sizes": [(one, units.horse(one)) for one in SIZES_CM],
        "kinds": [(kind.value, kind_words(kind)) for kind in Kind],
        "ground_lines": [(one.value, words) for one, words in GROUND_LINES.items()],
        "levels": LEVELS,
        "gaits": [one.value for one in Gait],
        "step_cm": units.step_cm,
        "step": units.height_change(units.step_cm),
        "units": units,
    }


def _lesson_fit(draft: GridDraft, spec: ExerciseSpec) -> Fitted | str | None:
    """Return how it suits the draft's lesson, or why that can't be said."""
    lesson = draft.lesson
    if lesson is None:
        return None
    grid = LessonGrid.objects.filter(lesson=lesson).first() or LessonGrid(
        lesson=lesson, tradition=the_school().tradition, ground=[]
    )
    try:
        return fit_lesson(lesson, grid, spec)
    except UnableToAttach as error:
        return error.says


def _sample_fit(
    spec: ExerciseSpec, school: School, size_cm: int, units: Units
) -> tuple[FittedRow, tuple[Verdict, ...]]:
    """Fit to a horse of some height, against every line and the store."""
    horse = HorseSize(f"a {units.horse(size_cm)} horse", size_cm)
    row = fit_row(spec, [horse], Tradition(school.tradition))
    lines = Line.objects.select_related("arena").order_by("name", "pk")
    rooms = [room_of(one) for one in lines]
    store = store_of(store_by_place())
    return row, judge_fit(spec, row, rooms=rooms, store=store, units=units)


def _horses(row: FittedRow) -> str:
    names = {one.horse.name: None for gap in row.gaps for one in gap.horses}
    return ", ".join(names)


def _button(history: History, name: str) -> str:
    words: str = getattr(history, name)
    return words


def _stage_name(stage: int, spec: ExerciseSpec) -> str:
    if stage == 0:
        return "as built"
    return f"stage {stage}" if stage <= len(spec.stages) else "a new stage"


def _stages(spec: ExerciseSpec, row: FittedRow, shown: int) -> list[dict[str, Any]]:
    names = ["As built", *(f"Stage {n}" for n in range(1, len(spec.stages) + 1))]
    stages = [
        {
            "number": n,
            "name": name,
            "says": row.stages[n].says,
            "passes": row.stages[n].passes,
            "things": row.stages[n].things,
            "together": row.stages[n].together,
            "here": n == shown,
        }
        for n, name in enumerate(names)
    ]
    new = len(stages)
    return [*stages, {"number": new, "name": "New stage", "here": shown == new}]


def _places(spec: ExerciseSpec) -> list[tuple[int, str]]:
    places = [
        (n, f"before the {name_of(spec.elements, n)}")
        for n in range(len(spec.elements))
    ]
    return [(len(spec.elements), "at the end of the row"), *places]


def _rows(
    spec: ExerciseSpec, row: FittedRow, stage: int, units: Units
) -> list[dict[str, Any]]:
    played = spec.played[min(stage, len(spec.stages))]
    before = spec.played[min(stage, len(spec.stages)) - 1] if stage else played
    slots = in_order(spec, played)
    elements = [played[slot] for slot in slots]
    gaps = {gap.before: gap for gap in row.gaps}
    return [
        {
            "slot": slot,
            "name": name_of(elements, n),
            "words": element_words(elements[n].element(0), units),
            "changed": 0 < stage <= len(spec.stages)
            and (slot not in before or before[slot] != elements[n]),
            "gap": _gap(spec, gaps[slot], units) if not stage and slot else None,
            "first": n == 0,
            "last": n == len(slots) - 1,
            **_fields(elements[n], units),
        }
        for n, slot in enumerate(slots)
    ]


def in_order(spec: ExerciseSpec, played: dict[int, SpecElement]) -> list[int]:
    """Return the slots of a stage as they are ridden: added ones after their own."""
    order = list(range(len(spec.elements)))
    slot = len(order)
    for stage in spec.stages:
        for one in stage.changes:
            if one.after is not None:
                order.insert(order.index(one.after) + 1, slot)
                slot += 1
    return [one for one in order if one in played]


def _fields(one: SpecElement, units: Units) -> dict[str, Any]:
    return {
        "kind": one.kind.value,
        "fence": one.kind in FENCES,
        "flat": one.kind in FLAT,
        "oxer": one.kind is Kind.OXER,
        "height": "" if one.kind in FLAT else units.height(one.height_cm),
        "spread": units.short(one.spread_cm) if one.spread_cm else "",
        "ground_line": one.ground_line.value,
        "guides": one.guides,
        "ascending": one.ascending,
    }


def _gap(spec: ExerciseSpec, gap: FittedGap, units: Units) -> dict[str, Any]:
    kinds = [one.kind for one in spec.meant]
    before, after = kinds[gap.before - 1], kinds[gap.before]
    one = gap.horses[0] if len(gap.horses) == 1 else None
    return {
        "before": gap.before,
        "meaning": gap.gap.value,
        "words": GAP_WORDS[gap.gap],
        "length": units.length(gap.built_cm),
        "wants": f"{units.length(one.target.low_cm)} to "
        f"{units.length(one.target.high_cm)}"
        if one
        else "",
        "judged": bool(gap.horses),
        "off": [
            f"{each.horse.name} {units.short(abs(each.off_cm))} "
            f"{'long' if each.off_cm > 0 else 'short'}"
            for each in gap.horses
            if not each.inside
        ],
        "choices": [
            (choice.value, words)
            for choice, words in GAP_WORDS.items()
            if suits(choice, before, after)
        ],
    }
