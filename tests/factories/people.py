from datetime import date, time

import factory
from factory.django import DjangoModelFactory

from school.models import (
    Account,
    Client,
    Groundsperson,
    Instructor,
    Person,
    Rider,
)
from school.models.people import EVERY_DAY


class PersonFactory(DjangoModelFactory):
    class Meta:
        model = Person

    first_name = factory.Sequence(lambda n: f"Person{n}")
    last_name = "Example"
    email = factory.Sequence(lambda n: f"person{n}@example.org")


class AccountFactory(DjangoModelFactory):
    class Meta:
        model = Account

    username = factory.Sequence(lambda n: f"account{n}")
    person = factory.SubFactory(PersonFactory)

    class Params:
        manager = factory.Trait(is_manager=True)


class InstructorFactory(DjangoModelFactory):
    class Meta:
        model = Instructor

    person = factory.SubFactory(PersonFactory)
    level = "advanced"
    highest_fence_cm = 110


class GroundspersonFactory(DjangoModelFactory):
    class Meta:
        model = Groundsperson

    person = factory.SubFactory(PersonFactory)
    works_from = time(7)
    works_to = time(20)
    alone_days = factory.LazyAttribute(lambda o: EVERY_DAY if o.alone else 0)

    class Params:
        alone = True


class ClientFactory(DjangoModelFactory):
    class Meta:
        model = Client

    person = factory.SubFactory(PersonFactory)


class RiderFactory(DjangoModelFactory):
    class Meta:
        model = Rider

    person = factory.SubFactory(PersonFactory)
    client = factory.SubFactory(ClientFactory)
    born_date = date(1992, 5, 4)
    height_cm = 155
    weight_kg = 48
    level = "intermediate"
    highest_fence_cm = 80
    emergency_name = "A neighbour"
    emergency_phone = "000"

    class Params:
        minor = factory.Trait(born_date=date(2015, 5, 4))
