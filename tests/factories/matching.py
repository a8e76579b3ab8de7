import factory
from factory.django import DjangoModelFactory

from school.models import RiderConfidence, RiderHorse
from tests.clock import NOW
from tests.factories.horses import HorseFactory
from tests.factories.people import RiderFactory


class RiderHorseFactory(DjangoModelFactory):
    """A horse a rider is never to ride again."""

    class Meta:
        model = RiderHorse

    rider = factory.SubFactory(RiderFactory)
    horse = factory.SubFactory(HorseFactory)
    liking = "never"
    reason = "Fell off twice"
    set_at = NOW


class RiderConfidenceFactory(DjangoModelFactory):
    class Meta:
        model = RiderConfidence

    rider = factory.SubFactory(RiderFactory)
    confidence = 2
    set_at = NOW
