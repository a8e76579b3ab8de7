"""A small day in the records: one arena, two jumping lessons, one groundsperson."""

from school.models import LessonGrid
from tests.clock import at
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, vertical


def grid_of(lesson, *elements, end=None):
    start = list(elements) or [cross(0), vertical(600)]
    return LessonGrid.objects.create(
        lesson=lesson,
        revision=ExerciseRevisionFactory(),
        tradition="schooling",
        start=start,
        end=start if end is None else end,
        approach_cm=700,
        runout_cm=700,
    )


def small_day(*, windows=True):
    """Book two grids either side of a different one, with room to change order."""
    # Wide rasters: what is tested is not the search.
    SchoolFactory(place_every_cm=100, start_every_min=30)
    arena = ArenaFactory(name="Hall")
    line = LineFactory(arena=arena, name="Centre")
    GroundspersonFactory()
    StorePieceFactory(piece="wing", working=28)
    lessons = []
    for clock, row in [
        ("09:00", [cross(0), vertical(600)]),
        ("10:30", [vertical(0, 80, ground_line="both"), vertical(1050, 90)]),
        ("12:00", [cross(0), vertical(605)]),
    ]:
        window = {"window_from": at("09:00"), "window_to": at("12:00")}
        lesson = LessonFactory(
            title=f"Ride of {clock}",
            arena=arena,
            starts_at=at(clock),
            **(window if windows else {}),
        )
        RideFactory(lesson=lesson)
        grid_of(lesson, *row)
        lessons.append(lesson)
    return arena, line, lessons
