import factory
from factory.django import DjangoModelFactory

from school.models import DayHeat, Incident, WelfareOverride
from tests.clock import NOW, SATURDAY
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory


class WelfareOverrideFactory(DjangoModelFactory):
    class Meta:
        model = WelfareOverride

    lesson = factory.SubFactory(LessonFactory)
    horse = factory.SubFactory(HorseFactory)
    rule = "minutes-day"
    figure = 200
    limit = 180
    reason = "The mare at the vet's was to go"
    by = factory.SubFactory(AccountFactory)
    at = NOW


class DayHeatFactory(DjangoModelFactory):
    class Meta:
        model = DayHeat

    date = SATURDAY
    temperature_c = 32
    humidity_pct = 60
    noted_at = NOW


class IncidentFactory(DjangoModelFactory):
    class Meta:
        model = Incident

    happened_at = NOW
    who = "A rider and a coach"
    where = "Hall, sand, dry"
    what = "The pony stopped at the second fence; the rider slid off."
    noted_at = NOW
