"""What several writes that break a rule begin with."""

from collections.abc import Callable
from datetime import date, time
from typing import Any

from school.models import (
    LessonSeries,
)
from tests.factories.arenas import ArenaFactory
from tests.factories.people import (
    InstructorFactory,
)


def twice(write: Callable[[], Any]) -> None:
    write()
    write()


def series(**changes: Any) -> LessonSeries:
    fields: dict[str, Any] = {
        "name": "Tuesday group",
        "kind": "group",
        "work": "jumping",
        "weekday": 1,
        "local_start": time(17),
        "minutes": 60,
        "first_date": date(2027, 3, 2),
        "last_date": date(2027, 6, 29),
    }
    for name, factory in (("arena", ArenaFactory), ("instructor", InstructorFactory)):
        if name not in changes:
            fields[name] = factory()
    return LessonSeries.objects.create(**(fields | changes))
