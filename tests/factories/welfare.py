import factory
from factory.django import DjangoModelFactory

from school.models import DayHeat, WelfareOverride
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
