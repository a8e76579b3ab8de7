from decimal import Decimal

import factory
from factory.django import DjangoModelFactory

from school.models import LessonPrice


class LessonPriceFactory(DjangoModelFactory):
    """What a place in a private lesson costs, each of another length."""

    class Meta:
        model = LessonPrice

    kind = "private"
    minutes = factory.Sequence(lambda n: 10 + n % 230)
    amount = Decimal(30)
