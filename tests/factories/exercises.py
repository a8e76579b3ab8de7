import factory
from factory.django import DjangoModelFactory

from exercises.models import Exercise, ExerciseRevision
from tests.clock import NOW


class ExerciseFactory(DjangoModelFactory):
    class Meta:
        model = Exercise

    slug = factory.Sequence(lambda n: f"exercise-{n}")
    name = factory.Sequence(lambda n: f"Exercise {n}")


class ExerciseRevisionFactory(DjangoModelFactory):
    class Meta:
        model = ExerciseRevision

    exercise = factory.SubFactory(ExerciseFactory)
    number = 1
    spec = factory.LazyFunction(dict)
    made_at = NOW
    made_by = "the library"
