"""Horses, riders, lines and what was built, as the pure rooms see them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from exercises.convert import spec_of
from exercises.geometry.data import element_as_data, element_from_data
from exercises.geometry.editing.history import History, Step
from exercises.geometry.efforts import ridden_quarters
from exercises.geometry.elements import Element, Piece
from exercises.geometry.fit import Verdict
from exercises.geometry.lines import LEAST_RUNOUT_CM, Room
from exercises.geometry.progress import Ridden, Went
from exercises.geometry.spec import ExerciseSpec, read_spec, spec_as_data
from exercises.geometry.store import (
    WHOLE_YARD,
    Kept,
    Store,
    Use,
    is_of_store,
    needed_for,
    store_verdicts,
)
from exercises.geometry.strides import Ground, HorseSize
from exercises.geometry.units import HeightUnit, HorseUnit, LengthUnit, Units
from exercises.geometry.verdicts import Limit
from school.enums import CROOKED, KNOCKS, STOPS
from school.models import (
    Arena,
    GridDraft,
    Horse,
    Instructor,
    LessonGrid,
    Line,
    RiddenRide,
    Ride,
    School,
    StorePiece,
)
from school.welfare.rules import RULE, Bounds, House


@dataclass(frozen=True, slots=True)
class BuiltStage:
    """A stage of a row as built: its words, how often ridden, what stands [cm]."""

    says: str
    passes: int
    elements: tuple[Element, ...]


USUAL_PASSES = 3
"""Passes at a stage where the exercise does not say (the school's own)."""


def horse_size(horse: Horse) -> HorseSize:
    """Return a horse as far as distances go."""
    return HorseSize(horse.name, horse.height_cm, horse.canter_stride_cm)


def limits_of(rides: Iterable[Ride], instructor: Instructor) -> list[Limit]:
    """Return whose level and highest fence bound a lesson's grid."""
    limits = [
        Limit(instructor.person.first_name, instructor.highest_fence_cm, None),
    ]
    for ride in rides:
        rider = ride.rider
        limits.append(
            Limit(rider.person.first_name, rider.highest_fence_cm, rider.level)
        )
        if ride.horse is not None:
            horse = ride.horse
            limits.append(Limit(horse.name, horse.highest_fence_cm, horse.level))
    return limits


def room_of(line: Line) -> Room:
    """Return a line as room for a row."""
    return Room(f"{line.name} in {line.arena.name}", line.length_cm)


def store_of(rows: Iterable[StorePiece], arena: Arena | None = None) -> Store:
    """Return what is kept, from rows fetched with their places, seen from an arena."""
    kept = tuple(
        Kept(
            Piece(one.piece),
            one.place.name,
            one.working,
            one.broken,
            one.place.arena.name if one.place.arena else WHOLE_YARD,
        )
        for one in rows
    )
    return Store(kept, arena.name if arena else WHOLE_YARD)


def use_of(grid: LessonGrid) -> Use:
    """Return what a lesson needs of the store; `grid` fetched with lesson and arena."""
    lesson = grid.lesson
    needed = needed_for(one.elements for one in stages_of(grid))
    return Use(
        lesson.arena.name, lesson.starts_at, lesson.ends_at, needed, lesson.title
    )


def grid_in_store(grid: LessonGrid, store: Store) -> tuple[Verdict, ...]:
    """Hold a lesson's grid against the store as it is now."""
    return store_verdicts([one.elements for one in stages_of(grid)], store)


def verdicts_now(grid: LessonGrid, store: Store) -> list[dict[str, Any]]:
    """Return what a fit found, but of the store what holds now: pieces break."""
    kept = grid.fitted.get("verdicts", [])
    rest = [one for one in kept if not is_of_store(one["subject"])]
    if len(rest) == len(kept):
        return rest
    return [*map(verdict_as_data, grid_in_store(grid, store)), *rest]


def verdict_as_data(one: Verdict) -> dict[str, Any]:
    """Write a verdict with plain keys."""
    return {
        "subject": one.subject,
        "fit": one.fit.value,
        "says": one.says,
        "figure": one.figure,
        "cure": one.cure,
        "firm": one.firm,
    }


def room_for(grid: LessonGrid) -> int:
    """Return how long a line a lesson's grid needs, with approach and run-out [cm]."""
    every = [one for stage in stages_of(grid) for one in stage.elements]
    if not every:
        return 0
    row_cm = max(one.landing_cm for one in every) - min(one.at_cm for one in every)
    return row_cm + grid.approach_cm + max(grid.runout_cm, LEAST_RUNOUT_CM)


def stages_of(grid: LessonGrid) -> tuple[BuiltStage, ...]:
    """Return the stages of a lesson's grid, at least one.

    A grid that keeps none has what is built, and what stands at the end.
    """
    kept = grid.fitted.get("stages")
    if kept:
        return stages_from_data(kept)
    plain = [{"says": "As built", "passes": USUAL_PASSES, "elements": grid.start}]
    if grid.end != grid.start:
        plain.append(
            {"says": "As it ends", "passes": USUAL_PASSES, "elements": grid.end}
        )
    return stages_from_data(plain)


def stages_from_data(data: Iterable[Mapping[str, Any]]) -> tuple[BuiltStage, ...]:
    """Read stages that were written as data."""
    return tuple(
        BuiltStage(
            str(one["says"]),
            int(one["passes"]),
            tuple(element_from_data(element) for element in one["elements"]),
        )
        for one in data
    )


def stages_as_data(stages: Iterable[BuiltStage]) -> list[dict[str, Any]]:
    """Write stages as data that reads back the same."""
    return [
        {
            "says": one.says,
            "passes": one.passes,
            "elements": [element_as_data(element) for element in one.elements],
        }
        for one in stages
    ]


def ridden_of(every: Sequence[RiddenRide], now: datetime) -> list[Ridden]:
    """Return logged rides, fetched with log and notes, as far as progress goes."""
    return [_ridden(one, now) for one in every]


def _ridden(one: RiddenRide, now: datetime) -> Ridden:
    notes = list(one.notes.all())
    return Ridden(
        stage=one.log.stage,
        passes=one.passes,
        went=Went(one.went),
        knocks=sum(1 + note.often for note in notes if note.what in KNOCKS),
        stops=sum(1 + note.often for note in notes if note.what in STOPS),
        crooked=any(note.what in CROOKED for note in notes),
        days_ago=max(0, (now - one.log.lesson.starts_at).days),
    )


def units_of(school: School) -> Units:
    """Return what a school writes its lengths in."""
    return Units(
        LengthUnit(school.length_unit),
        HeightUnit(school.height_unit),
        HorseUnit(school.horse_unit),
        school.first_hole_cm,
        school.hole_cm,
    )


def house_of(school: School) -> House:
    """Return the rules of horses' work as a school has set them."""
    bounds = {
        name: Bounds(one["warn"], one["refuse"])
        for name, one in school.welfare.items()
        if name in RULE
    }
    return House(bounds, school.tacked_up_min, school.gear_kg)


def planned_quarters(grid: LessonGrid) -> tuple[int, int]:
    """Return what a lesson's grid asks of a horse as planned: efforts and height.

    Efforts in quarters, with the passes each stage is meant for; the highest fence
    in cm.
    """
    stages = stages_of(grid)
    elements = [one.elements for one in stages]
    quarters = ridden_quarters(
        elements,
        [one.passes for one in stages],
        stage=len(stages),
        passes_there=stages[-1].passes,
    )
    highest = max((one.height_cm for each in elements for one in each), default=0)
    return quarters, highest


def history_of(draft: GridDraft) -> History:
    """Return what was done to a grid in the making, step by step."""
    return History(
        tuple(Step(read_spec(one["spec"]), one["says"]) for one in draft.steps),
        draft.at,
    )


def steps_as_data(history: History) -> list[dict[str, Any]]:
    """Write a history's steps as a draft keeps them."""
    return [{"spec": spec_as_data(one.spec), "says": one.says} for one in history.steps]


def ground_of(named: Iterable[str]) -> Ground:
    """Return what lengthens or shortens distances, by its names."""
    return Ground(**dict.fromkeys(named, True))


def spec_of_grid(grid: LessonGrid) -> ExerciseSpec:
    """Return the exercise as a lesson rides it, with the changes made for it."""
    if grid.changes:
        return read_spec(grid.changes[-1]["spec"])
    return spec_of(grid.revision)
