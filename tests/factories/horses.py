from datetime import date

import factory
from factory.django import DjangoModelFactory

from school.models import Horse


class HorseFactory(DjangoModelFactory):
    class Meta:
        model = Horse

    name = factory.Sequence(lambda n: f"Horse {n}")
    height_cm = 160
    weight_kg = 550
    born_date = date(2015, 4, 1)
    bookable_from_date = date(2019, 4, 1)
    level = "intermediate"
    highest_fence_cm = 100
