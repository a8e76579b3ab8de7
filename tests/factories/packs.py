from datetime import date

import factory
from factory.django import DjangoModelFactory

from school.models import Consent, LessonPack, MakeUpCredit
from tests.clock import NOW
from tests.factories.people import ClientFactory, RiderFactory


class LessonPackFactory(DjangoModelFactory):
    """Ten lessons, from the first of February to the end of May."""

    class Meta:
        model = LessonPack

    client = factory.SubFactory(ClientFactory)
    name = "Ten lessons"
    lessons = 10
    bought_date = date(2027, 2, 1)
    expires_date = date(2027, 5, 31)


class MakeUpCreditFactory(DjangoModelFactory):
    class Meta:
        model = MakeUpCredit

    client = factory.SubFactory(ClientFactory)
    reason = "Frost on 2 February"
    given_at = NOW
    expires_date = date(2027, 3, 31)


class ConsentFactory(DjangoModelFactory):
    class Meta:
        model = Consent

    rider = factory.SubFactory(RiderFactory)
    name = "Photographs"
    given_by = factory.SelfAttribute("rider.client.person")
    given_date = date(2026, 3, 10)
    expires_date = date(2027, 3, 10)
