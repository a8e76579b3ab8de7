from datetime import date
from typing import Any
from uuid import UUID

import factory
from factory.django import DjangoModelFactory

from scheduling.models import (
    Changeover,
    ChangeoverMove,
    DayPlan,
    PlannedLesson,
    PlanRun,
    Press,
)
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import LineFactory
from tests.factories.lessons import LessonFactory


def empty_day(day: date) -> dict[str, Any]:
    """Return the day file of a day on which nothing is."""
    return {
        "version": 1,
        "date": day.isoformat(),
        "zone": "Europe/Amsterdam",
        "opens": "08:00",
        "closes": "20:00",
        "arenas": [],
        "lessons": [],
    }


class DayPlanFactory(DjangoModelFactory):
    class Meta:
        model = DayPlan

    date = SATURDAY
    version = factory.Sequence(lambda n: n + 1)
    fingerprint = "0" * 64
    document = factory.LazyAttribute(lambda o: empty_day(o.date))
    plan = factory.LazyFunction(lambda: {"lessons": [], "resets": []})
    status = "proved"
    objective_s = 600
    bound_s = 600
    reset_s = 600
    as_booked_reset_s = 900
    made_at = NOW


class PlanRunFactory(DjangoModelFactory):
    """A search of the Saturday that waits for the worker."""

    class Meta:
        model = PlanRun

    date = SATURDAY
    kind = "order"
    seconds = 10
    asked_at = NOW


class PlannedLessonFactory(DjangoModelFactory):
    class Meta:
        model = PlannedLesson

    plan = factory.SubFactory(DayPlanFactory)
    lesson = factory.SubFactory(LessonFactory)
    arena = factory.SelfAttribute("lesson.arena")
    line = factory.SubFactory(LineFactory, arena=factory.SelfAttribute("..arena"))
    starts_at = factory.SelfAttribute("lesson.starts_at")
    offset_cm = 700


class ChangeoverFactory(DjangoModelFactory):
    class Meta:
        model = Changeover

    plan = factory.SubFactory(DayPlanFactory)
    uid = factory.Sequence(lambda n: UUID(int=n + 1))
    lesson = factory.SubFactory(LessonFactory, starts_at=at("10:00"))
    line = factory.SubFactory(
        LineFactory, arena=factory.SelfAttribute("..lesson.arena")
    )
    starts_at = at("09:45")
    ends_at = at("09:57")
    seconds = 690


class ChangeoverMoveFactory(DjangoModelFactory):
    class Meta:
        model = ChangeoverMove

    changeover = factory.SubFactory(ChangeoverFactory)
    position = factory.Sequence(lambda n: n + 1)
    do = "build"
    was = None
    now = factory.LazyFunction(
        lambda: {"kind": "cross", "at_cm": 1240, "height_cm": 40, "faces": "up"}
    )
    seconds = "214.00"


class PressFactory(DjangoModelFactory):
    """Somebody's Start, taken at once."""

    class Meta:
        model = Press

    uid = factory.Sequence(lambda n: UUID(int=n + 1))
    number = factory.Sequence(lambda n: n + 1)
    date = SATURDAY
    does = "start"
    changeover = factory.SubFactory(ChangeoverFactory)
    did = "Started"
    pressed_at = at("09:45")
    received_at = at("09:45")
    outcome = "taken"
