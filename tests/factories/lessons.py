from datetime import timedelta

import factory
from factory.django import DjangoModelFactory

from school.models import Lesson, Ride
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import InstructorFactory, RiderFactory


class LessonFactory(DjangoModelFactory):
    """A private jumping lesson on the Saturday at nine, for an hour."""

    class Meta:
        model = Lesson

    title = factory.Sequence(lambda n: f"Lesson {n}")
    kind = "private"
    work = "jumping"
    starts_at = at("09:00")
    ends_at = factory.LazyAttribute(lambda o: o.starts_at + timedelta(hours=1))
    arena = factory.SubFactory(ArenaFactory)
    instructor = factory.SubFactory(InstructorFactory)
    places = 6
    state_at = NOW
    changed_at = NOW


class RideFactory(DjangoModelFactory):
    class Meta:
        model = Ride

    lesson = factory.SubFactory(LessonFactory)
    rider = factory.SubFactory(RiderFactory)
    horse = factory.SubFactory(HorseFactory)
