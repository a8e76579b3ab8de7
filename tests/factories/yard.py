from datetime import time, timedelta

import factory
from factory.django import DjangoModelFactory

from school.models import ArenaClosure, SidewaysRule, YardRule, YardWork
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory, LineFactory


class ArenaClosureFactory(DjangoModelFactory):
    class Meta:
        model = ArenaClosure

    arena = factory.SubFactory(ArenaFactory)
    closed_from = at("13:00")
    closed_to = factory.LazyAttribute(lambda o: o.closed_from + timedelta(minutes=25))
    reason = "Harrowing"
    needs_clear = True


class YardRuleFactory(DjangoModelFactory):
    """A harrow of every Saturday."""

    class Meta:
        model = YardRule

    kind = "harrow"
    arena = factory.SubFactory(ArenaFactory)
    weekday = SATURDAY.weekday()
    local_start = time(13)
    since_date = SATURDAY


class SidewaysRuleFactory(DjangoModelFactory):
    """A line moved 2.5 m every week."""

    class Meta:
        model = SidewaysRule

    line = factory.SubFactory(LineFactory)
    every_days = 7
    step_cm = 250
    least_cm = 450
    most_cm = 1550
    counted_from_at = NOW


class YardWorkFactory(DjangoModelFactory):
    """A harrow of the Saturday at one o'clock, which holds its arena."""

    class Meta:
        model = YardWork

    kind = "harrow"
    date = SATURDAY
    arena = factory.SubFactory(ArenaFactory)
    starts_at = at("13:00")
    ends_at = factory.LazyAttribute(lambda o: o.starts_at + timedelta(minutes=25))
    closure = factory.SubFactory(
        ArenaClosureFactory,
        arena=factory.SelfAttribute("..arena"),
        closed_from=factory.SelfAttribute("..starts_at"),
    )
    changed_at = NOW


class LineMoveFactory(DjangoModelFactory):
    """A line moved 2.5 m sideways on the Saturday at five."""

    class Meta:
        model = YardWork

    kind = "sideways"
    date = SATURDAY
    line = factory.SubFactory(LineFactory, name="Centre")
    arena = factory.SelfAttribute("line.arena")
    to_cm = 750
    starts_at = at("17:00")
    ends_at = factory.LazyAttribute(lambda o: o.starts_at + timedelta(minutes=5))
    changed_at = NOW
