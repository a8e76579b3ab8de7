"""A weekly lesson through the services, since its lessons and entries belong to it."""

from datetime import date, time
from typing import Any

from school.models import LessonSeries
from school.services.series import start_series
from school.services.series_parts import SeriesPlan
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory
from tests.factories.people import InstructorFactory

TUESDAY = date(2027, 3, 9)
LAST_TUESDAY = date(2027, 5, 11)
"""Ten weeks; the clocks change after the third."""


def plan(**changes: Any) -> SeriesPlan:
    fields: dict[str, Any] = {
        "name": "Tuesday group",
        "kind": "group",
        "work": "jumping",
        "local_start": time(17),
        "minutes": 60,
        "places": 4,
    }
    if "arena" not in changes:
        fields["arena"] = ArenaFactory(name="Hall")
    if "instructor" not in changes:
        fields["instructor"] = InstructorFactory(person__first_name="Ines")
    return SeriesPlan(**(fields | changes))


def weekly(**changes: Any) -> LessonSeries:
    fields: dict[str, Any] = {
        "first_date": TUESDAY,
        "last_date": LAST_TUESDAY,
        "by": None,
        "now": NOW,
    }
    if "plan" not in changes:
        fields["plan"] = plan()
    return start_series(**(fields | changes))
