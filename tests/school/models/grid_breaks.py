"""Writes that break the rules of grids in the making, and of a school's units."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from tests.clock import NOW
from tests.factories.drafts import GridDraftFactory
from tests.factories.exercises import ExerciseFactory, ExerciseRevisionFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory


def draft_twice(**of: Any) -> None:
    account = AccountFactory()
    for _ in range(2):
        GridDraftFactory(account=account, **of)


def revision_of_nothing() -> None:
    steps = [{"spec": {}, "says": ""}]
    GridDraftFactory(revision=ExerciseRevisionFactory(), exercise=None, steps=steps)


GRID_BREAKS: dict[str, Callable[[], Any]] = {
    "grid_draft_name_filled": lambda: GridDraftFactory(name=""),
    "grid_draft_version_from_1": lambda: GridDraftFactory(version=0),
    "grid_draft_once_an_exercise": lambda: draft_twice(exercise=ExerciseFactory()),
    "grid_draft_once_a_lesson": lambda: draft_twice(lesson=LessonFactory()),
    "grid_draft_revision_of_its_exercise": revision_of_nothing,
    "grid_draft_changed_after_it_began": lambda: GridDraftFactory(
        changed_at=NOW - timedelta(seconds=1)
    ),
    "school_length_unit_known": lambda: SchoolFactory(length_unit="ells"),
    "school_height_unit_known": lambda: SchoolFactory(height_unit="ells"),
    "school_horse_unit_known": lambda: SchoolFactory(horse_unit="ells"),
    "school_first_hole_in_range": lambda: SchoolFactory(first_hole_cm=101),
    "school_latitude_in_range": lambda: SchoolFactory(latitude=91, longitude=0),
    "school_longitude_in_range": lambda: SchoolFactory(latitude=0, longitude=181),
    "school_place_whole": lambda: SchoolFactory(latitude=52),
    "school_hole_in_range": lambda: SchoolFactory(hole_cm=0),
}
