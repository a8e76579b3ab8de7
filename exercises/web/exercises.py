"""The library of exercises: found by what is needed, drawn to scale."""

from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

from exercises.convert import spec_of
from exercises.drawing.difference_words import difference_words
from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.drawing.thumbnail import draw_thumbnail
from exercises.drawing.words import element_words
from exercises.geometry.differences import difference
from exercises.geometry.editing.words import GAP_WORDS
from exercises.geometry.fitting import fit_row
from exercises.geometry.lengths import InvalidLength
from exercises.geometry.spec import ExerciseSpec, Gait, Gap, SpecElement
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.units import METRIC, Units
from exercises.geometry.verdicts import LEVELS
from exercises.models import Exercise
from exercises.queries import Found, Search, find_exercises, library_exercises

SIZES = (("pony", 128), ("horse", 165))
"""What an exercise is drawn for, and its height at the withers [cm]."""

FENCE_COUNTS = (1, 2, 3, 4, 6, 8)

GRADES = {
    "a": "read in the named source, or in a copy of it that is named (grade a)",
    "b": "common practice in the trade, no source (grade b)",
    "c": "from memory, not checked (grade c)",
    "own": "the school's own",
}
"""How sure a source is, in words."""


def exercise_list(
    request: HttpRequest, units: Units = METRIC, more: Mapping[str, Any] | None = None
) -> HttpResponse:
    """Show the exercises that are asked for; htmx gets those alone.

    `more` is for the templates: for which lesson a grid is looked for, say.
    """
    asked = {key: request.GET.get(key, "").strip() for key in ASKED}
    search, line_error = _search(asked, units)
    every = library_exercises()
    found = find_exercises(every, search)
    part = getattr(request, "htmx", False)
    context: dict[str, Any] = {
        "found": [_listed(one, units) for one in found],
        "all": len(every),
        "faults": sorted({fault for one in every for fault in one.spec.faults}),
        "levels": LEVELS,
        "gaits": [one.value for one in Gait],
        "counts": [str(one) for one in FENCE_COUNTS],
        "line_error": line_error,
        "waiting": [one.exercise for one in every if one.exercise.waiting],
        **asked,
        **(more or {}),
    }
    response = render(
        request, f"exercises/{'_found' if part else 'list'}.html", context
    )
    patch_vary_headers(response, ["HX-Request"])
    return response


ASKED = ("text", "fault", "level", "approach", "both_ways", "fences", "line")


def _search(asked: dict[str, str], units: Units) -> tuple[Search, str]:
    """Read what is asked; a length that is none is said and left out."""
    line_cm, says = None, ""
    if asked["line"]:
        try:
            line_cm = units.read_length(asked["line"])
        except InvalidLength as error:
            says = f"{error}. All lengths are shown."
    fences = asked["fences"]
    return (
        Search(
            text=asked["text"],
            fault=asked["fault"],
            level=asked["level"],
            approach=asked["approach"],
            both_ways=asked["both_ways"] == "yes",
            most_fences=int(fences) if fences.isascii() and fences.isdigit() else None,
            line_cm=line_cm,
        ),
        says,
    )


def _listed(one: Found, units: Units) -> dict[str, Any]:
    slug = one.exercise.slug
    return {
        "exercise": one.exercise,
        "spec": one.spec,
        "room": units.length(one.room_cm),
        "stages": len(one.row.stages),
        "drawing": draw_thumbnail(
            one.row.end, ident=slug, title=f"{one.spec.name}, as it stands at the end"
        ),
    }


def exercise_page(
    request: HttpRequest, slug: str, units: Units = METRIC
) -> HttpResponse:
    """Show an exercise as it would be built for a pony and for a horse."""
    exercise = (
        Exercise.objects.select_related("current", "library").filter(slug=slug).first()
    )
    if exercise is None or exercise.current is None:
        raise Http404
    spec = spec_of(exercise.current)
    drawn = [
        _drawn(spec, HorseSize(f"a {units.horse(cm)} {what}", cm), n, units)
        for n, (what, cm) in enumerate(SIZES)
    ]
    return render(
        request,
        "exercises/detail.html",
        {
            "exercise": exercise,
            "spec": spec,
            "drawn": drawn,
            "row": [_element_line(one, units) for one in spec.elements],
            "grade": GRADES[spec.grade],
            "difference": _difference(exercise, spec, units),
        },
    )


def _drawn(spec: ExerciseSpec, size: HorseSize, n: int, units: Units) -> dict[str, Any]:
    row = fit_row(spec, [size], Tradition.SCHOOLING)
    title = f"{spec.name} for {size.name}"
    return {
        "size": size,
        "length": units.length(row.length_cm),
        "side": draw_side(
            row.start, ident=f"side{n}", title=f"{title}, from the side", units=units
        ),
        "plan": draw_plan(
            row.start, ident=f"plan{n}", title=f"{title}, from above", units=units
        ),
    }


def _element_line(one: SpecElement, units: Units) -> str:
    """Say an element, and how the distance before it is meant."""
    words = element_words(one.element(0), units)
    words = f"{words[0].upper()}{words[1:]}"
    if one.gap is None:
        return words
    if one.gap is Gap.MEASURE:
        return f"{words}, {units.length(one.gap_cm or 0)} after the one before"
    return f"{words}, after {GAP_WORDS[one.gap]}"


def _difference(
    exercise: Exercise, spec: ExerciseSpec, units: Units
) -> dict[str, Any] | None:
    """Say what the school's own state differs in from the library's newest."""
    if not exercise.own or exercise.library is None:
        return None
    library = spec_of(exercise.library)
    what, cm = SIZES[-1]
    size = HorseSize(f"a {units.horse(cm)} {what}", cm)
    return {
        "words": difference_words(
            difference(library, spec), "the library's", "the school's", units
        ),
        "number": exercise.library.number,
        "drawn": [
            {
                "whose": whose,
                "side": draw_side(
                    fit_row(one, [size], Tradition.SCHOOLING).end,
                    ident=ident,
                    title=f"{whose}, at its end, for {size.name}",
                    units=units,
                ),
            }
            for whose, ident, one in (
                ("The library's newest", "librarys", library),
                ("The school's own", "ours", spec),
            )
        ],
    }
