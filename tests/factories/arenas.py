from datetime import time
from typing import Any

import factory
from factory.django import DjangoModelFactory

from school.models import Arena, KeepingPlace, Line, StorePiece


class ArenaFactory(DjangoModelFactory):
    class Meta:
        model = Arena

    name = factory.Sequence(lambda n: f"Arena {n}")
    length_cm = 6000
    width_cm = 2000
    opens_at = time(8)
    closes_at = time(20)


class LineFactory(DjangoModelFactory):
    class Meta:
        model = Line

    arena = factory.SubFactory(ArenaFactory)
    name = factory.Sequence(lambda n: f"Line {n}")
    length_cm = 5500
    datum = "the end by the gate"


class KeepingPlaceFactory(DjangoModelFactory):
    class Meta:
        model = KeepingPlace
        django_get_or_create = ("name",)

    name = "barn"


class StorePieceFactory(DjangoModelFactory):
    class Meta:
        model = StorePiece

    piece = "wing"
    place = factory.SubFactory(KeepingPlaceFactory)
    working = 28
    weight_g = 9000

    @classmethod
    def _create(cls, model_class: Any, *args: Any, **kwargs: Any) -> Any:
        """Take a place by its name too."""
        if isinstance(kwargs["place"], str):
            kwargs["place"] = KeepingPlaceFactory(name=kwargs["place"])
        return super()._create(model_class, *args, **kwargs)
