from datetime import time

import factory
from factory.django import DjangoModelFactory

from school.models import Arena, Line, StorePiece


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


class StorePieceFactory(DjangoModelFactory):
    class Meta:
        model = StorePiece

    piece = "wing"
    place = "barn"
    working = 28
    weight_g = 9000
