from dataclasses import dataclass

from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.lines import LEAST_RUNOUT_CM
from exercises.geometry.spec import ExerciseSpec, read_spec
from exercises.geometry.strides import HorseSize, Tradition
from exercises.models import Exercise

LARGEST = HorseSize("a 165 cm horse", 165)
"""For whom a row is longest: the horse of the tables."""


@dataclass(frozen=True, slots=True)
class Search:
    """What is asked of the library; what is left empty does not matter.

    Parameters
    ----------
    text
        Words of the name, the aim or a fault, all of them.
    fault
        It helps with.
    level
        Of riders it is for.
    approach
        Gait.
    both_ways
        Only rows meant for both ways.
    most_fences
        It has no more fences.
    line_cm
        It stands on a line of this length with its approach and run-out, for the
        largest horse too [cm].
    """

    text: str = ""
    fault: str = ""
    level: str = ""
    approach: str = ""
    both_ways: bool = False
    most_fences: int | None = None
    line_cm: int | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """An exercise that was found, as built for the largest horse.

    Parameters
    ----------
    exercise, spec
        The record, and what its current revision holds.
    row
        Fitted to the largest horse by the schooling table.
    room_cm
        The line it needs, approach and run-out with it [cm].
    """

    exercise: Exercise
    spec: ExerciseSpec
    row: FittedRow
    room_cm: int


def library_exercises() -> list[Found]:
    """Return every exercise with its current state, by name; in one query."""
    found = []
    for exercise in Exercise.objects.select_related("current").order_by("name", "pk"):
        if exercise.current is None:
            continue
        spec = read_spec(exercise.current.spec)
        row = fit_row(spec, [LARGEST], Tradition.SCHOOLING)
        every = row.every_element
        span = max(one.landing_cm for one in every) - min(one.at_cm for one in every)
        room = span + spec.approach_cm + max(spec.runout_cm, LEAST_RUNOUT_CM)
        found.append(Found(exercise, spec, row, room))
    return found


def find_exercises(every: list[Found], search: Search) -> list[Found]:
    """Return those of some exercises that a search asks for, in their order."""
    return [one for one in every if _is_asked_for(one, search)]


def _is_asked_for(one: Found, search: Search) -> bool:
    spec = one.spec
    words = f"{spec.name} {spec.aim} {' '.join(spec.faults)}".lower()
    return (
        all(word in words for word in search.text.lower().split())
        and (not search.fault or search.fault in spec.faults)
        and (not search.level or search.level == spec.level)
        and (not search.approach or search.approach == spec.approach.value)
        and (not search.both_ways or spec.both_ways)
        and (search.most_fences is None or spec.fences <= search.most_fences)
        and (search.line_cm is None or one.room_cm <= search.line_cm)
    )
