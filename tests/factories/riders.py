from datetime import date

import factory
from factory.django import DjangoModelFactory

from school.models import Consent, LevelSigning, RiderStop, SecondGuardian
from tests.clock import NOW
from tests.factories.people import InstructorFactory, PersonFactory, RiderFactory


class RidingConsentFactory(DjangoModelFactory):
    """A guardian's consent to riding lessons, to the end of September 2027."""

    class Meta:
        model = Consent

    rider = factory.SubFactory(RiderFactory, minor=True)
    kind = "riding"
    name = "Riding lessons"
    given_by = factory.SelfAttribute("rider.client.person")
    given_date = date(2026, 9, 30)
    expires_date = date(2027, 9, 30)


class SecondGuardianFactory(DjangoModelFactory):
    """A minor's grandmother, who is sent no mails."""

    class Meta:
        model = SecondGuardian

    rider = factory.SubFactory(RiderFactory, minor=True)
    person = factory.SubFactory(PersonFactory)
    relation = "Grandmother"


class RiderStopFactory(DjangoModelFactory):
    class Meta:
        model = RiderStop

    rider = factory.SubFactory(RiderFactory)
    from_date = date(2027, 3, 1)
    reason = "Fell on the head"
    noted_at = NOW


class LevelSigningFactory(DjangoModelFactory):
    class Meta:
        model = LevelSigning

    rider = factory.SubFactory(RiderFactory)
    level = "novice"
    highest_fence_cm = 50
    signed_by = factory.SubFactory(InstructorFactory)
    signed_date = date(2027, 3, 1)
