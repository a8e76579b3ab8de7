from datetime import time, timedelta

import factory
from factory.django import DjangoModelFactory

from school.models import WaitingOffer, WaitingWish
from tests.clock import NOW
from tests.factories.lessons import LessonFactory
from tests.factories.people import RiderFactory


class WaitingWishFactory(DjangoModelFactory):
    class Meta:
        model = WaitingWish

    rider = factory.SubFactory(RiderFactory)
    work = "jumping"
    weekday = 5
    from_at = time(9)
    to_at = time(12)
    made_at = NOW
    state_at = NOW


class WaitingOfferFactory(DjangoModelFactory):
    class Meta:
        model = WaitingOffer

    wish = factory.SubFactory(WaitingWishFactory)
    lesson = factory.SubFactory(LessonFactory)
    made_at = NOW
    ends_at = NOW + timedelta(days=2)
    state_at = NOW
