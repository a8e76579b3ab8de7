"""What a build sheet says of a lesson's grid, and of an exercise by itself."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from exercises.drawing.words import element_words
from exercises.geometry.data import element_from_data
from exercises.geometry.elements import Element
from exercises.geometry.fitting import FittedRow
from exercises.geometry.spec import ExerciseSpec, Gait
from exercises.geometry.units import Units
from exercises.models import ExerciseRevision
from school.convert import (
    BuiltStage,
    spec_of_grid,
    stages_of,
    store_of,
    units_of,
    verdicts_now,
)
from school.models import Account, Lesson, LessonGrid, School
from school.queries.grids import overruled_of
from school.queries.lessons import booked_rides
from school.queries.store import store_by_place
from school.sheets.build_sheet import (
    FROM_THE_FIRST,
    BuildSheet,
    Overruled,
    SheetRow,
    Stage,
    TapePlace,
    build_sheet,
)


def lesson_sheet(
    *,
    lesson: Lesson,
    grid: LessonGrid,
    school: School,
    address: str,
    now: datetime,
    place: TapePlace = FROM_THE_FIRST,
    where: str = "",
    work: Sequence[str] = (),
) -> BuildSheet:
    """Return the build sheet of a lesson that was fetched with all.

    Riders are not named on paper that lies about, their horses are. `where`
    names the line, if one is known, and `work` what it takes to reach each stage
    from the one before, in words.
    """
    zone = ZoneInfo(school.zone)
    start = [element_from_data(one) for one in grid.start]
    stages, units = stages_of(grid), units_of(school)
    spec = spec_of_grid(grid)
    horses = [ride.horse for ride in booked_rides(lesson) if ride.horse is not None]
    starts, ends = lesson.starts_at.astimezone(zone), lesson.ends_at.astimezone(zone)
    return build_sheet(
        title=grid.revision.exercise.name,
        aim=spec.aim,
        facts=[
            ("Lesson", lesson.title),
            ("Changed", "; ".join(str(one["says"]) for one in grid.changes)),
            ("When", f"{starts:%A} {starts.day} {starts:%B %Y, %H:%M} to {ends:%H:%M}"),
            ("Where", where or lesson.arena.name),
            ("With", lesson.instructor.person.first_name),
            (
                "Horses",
                ", ".join(f"{h.name} ({units.horse(h.height_cm)})" for h in horses),
            ),
            ("Distances", _distances(grid.get_tradition_display(), spec.approach)),
        ],
        row=SheetRow(
            elements=start,
            also=[one.elements for one in stages],
            meanings=[
                _words(str(one["meaning"])) for one in grid.fitted.get("gaps", [])
            ],
            place=place,
        ),
        stages=_stages(stages, units, work),
        looks=_looks(lesson, grid),
        overruled=[
            Overruled(one.says, one.reason, _who(one.by)) for one in overruled_of(grid)
        ],
        cautions=spec.cautions,
        local_bodies=school.local_bodies,
        units=units,
        address=address,
        made=_made(now, zone, grid.revision),
    )


def exercise_sheet(
    *,
    revision: ExerciseRevision,
    spec: ExerciseSpec,
    row: FittedRow,
    for_whom: str,
    tradition: str,
    school: School,
    address: str,
    now: datetime,
) -> BuildSheet:
    """Return the build sheet of an exercise fitted to one size of horse."""
    units = units_of(school)
    stages = [BuiltStage(one.says, one.passes, one.elements) for one in row.stages]
    return build_sheet(
        title=spec.name,
        aim=spec.aim,
        facts=[
            ("For", for_whom),
            ("Level", spec.level),
            ("Distances", _distances(tradition, spec.approach)),
            ("Source", f"{spec.source} (grade {spec.grade})"),
        ],
        row=SheetRow(
            elements=row.start,
            also=[one.elements for one in stages],
            meanings=[_words(one.gap.value) for one in row.gaps],
        ),
        stages=_stages(stages, units),
        cautions=spec.cautions,
        local_bodies=school.local_bodies,
        units=units,
        address=address,
        made=_made(now, ZoneInfo(school.zone), revision),
    )


def _who(account: Account) -> str:
    return account.person.first_name if account.person else account.username


def _distances(tradition: str, approach: Gait) -> str:
    return f"{tradition.lower()}, approached in {approach.value}"


def _words(value: str) -> str:
    return value.replace("-", " ")


def _looks(lesson: Lesson, grid: LessonGrid) -> list[str]:
    store = store_of(store_by_place(), lesson.arena)
    return [
        f"{one['says']} {one['cure']}".strip()
        for one in verdicts_now(grid, store)
        if one["fit"] == "look at it"
    ]


def _made(now: datetime, zone: ZoneInfo, revision: ExerciseRevision) -> str:
    local = now.astimezone(zone)
    return (
        f"Made {local:%A} {local.day} {local:%B %Y, %H:%M}, "
        f"from revision {revision.number} of the exercise"
    )


def _stages(
    stages: Sequence[BuiltStage], units: Units, work: Sequence[str] = ()
) -> list[Stage]:
    """Say each stage; what it changes where its own words do not say it."""
    if len(stages) < 2:
        return []
    said = []
    before: tuple[Element, ...] = ()
    for n, one in enumerate(stages):
        new = [
            element_words(e, units) for e in one.elements if before and e not in before
        ]
        gone = sum(e.at_cm not in {f.at_cm for f in one.elements} for e in before)
        words = [*new, *([f"{gone} taken out"] if gone else []), _passes(one.passes)]
        words += work[n - 1 : n] if n else []
        said.append(Stage(one.says, "; ".join(words)))
        before = one.elements
    return said


def _passes(count: int) -> str:
    return f"{count} pass" if count == 1 else f"{count} passes"
