"""Where a plan puts a row, as a tape reads it."""

from exercises.geometry.data import element_from_data
from scheduling.models import PlannedLesson
from school.models import LessonGrid
from school.sheets.build_sheet import TapePlace


def tape_place(planned: PlannedLesson, grid: LessonGrid) -> TapePlace:
    """Return how the tape reads a row where the plan puts it.

    A mirrored row is ridden towards the datum: its zero lies a row's length
    farther out, and the tape reads less from there.
    """
    start = [element_from_data(one) for one in grid.start]
    zero_cm = planned.offset_cm or 0
    if planned.mirrored:
        zero_cm += max(one.landing_cm for one in start)
    datum = planned.line.datum if planned.line else ""
    return TapePlace(datum, zero_cm, planned.mirrored)
