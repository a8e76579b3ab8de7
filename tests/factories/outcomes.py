from datetime import timedelta

import factory
from factory.django import DjangoModelFactory

from school.models import EarlyEnd, Outcome
from tests.clock import NOW
from tests.factories.lessons import LessonFactory, RideFactory


class OutcomeFactory(DjangoModelFactory):
    """A rider who did not come."""

    class Meta:
        model = Outcome

    ride = factory.SubFactory(RideFactory, state="missed")
    kind = "no-show"
    charge = "charged"
    paid_by = "fee"
    noted_at = NOW


class EarlyEndFactory(DjangoModelFactory):
    """A lesson ended half an hour before its time, by thunder."""

    class Meta:
        model = EarlyEnd

    lesson = factory.SubFactory(LessonFactory, state="done", state_reason="Thunder")
    booked_ends_at = factory.LazyAttribute(
        lambda o: o.lesson.ends_at + timedelta(minutes=30)
    )
    state_before = "booked"
    cause = "weather"
    noted_at = NOW
