from uuid import UUID

import factory
from factory.django import DjangoModelFactory

from school.models import RiddenRide, RideLog, RideNote
from tests.clock import at
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.lessons import LessonFactory, RideFactory

CROSS = {"kind": "cross", "at_cm": 0, "height_cm": 40}
POLE = {"kind": "pole", "at_cm": 600}
VERTICAL = {"kind": "vertical", "at_cm": 600, "height_cm": 60}
STAGES = [
    {"says": "The cross", "passes": 3, "elements": [CROSS, POLE]},
    {"says": "The vertical", "passes": 3, "elements": [CROSS, VERTICAL]},
    {"says": "Higher", "passes": 2, "elements": [CROSS, VERTICAL]},
]


class RideLogFactory(DjangoModelFactory):
    """A lesson that rode the second of three stages three times."""

    class Meta:
        model = RideLog

    lesson = factory.SubFactory(LessonFactory)
    number = 1
    revision = factory.SubFactory(ExerciseRevisionFactory)
    stages = factory.LazyFunction(lambda: STAGES)
    stage = 2
    passes = 3
    token = factory.Sequence(lambda n: UUID(int=n + 1))
    logged_at = at("10:05")


class RiddenRideFactory(DjangoModelFactory):
    class Meta:
        model = RiddenRide

    log = factory.SubFactory(RideLogFactory)
    ride = factory.SubFactory(RideFactory, lesson=factory.SelfAttribute("..log.lesson"))
    rider = factory.SelfAttribute("ride.rider")
    horse = factory.SelfAttribute("ride.horse")
    went = "good"
    passes = 3
    quarter_efforts = 36


class RideNoteFactory(DjangoModelFactory):
    class Meta:
        model = RideNote

    ridden = factory.SubFactory(RiddenRideFactory)
    what = "knocks behind"
    element = 2
