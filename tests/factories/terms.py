from datetime import date

import factory
from factory.django import DjangoModelFactory

from school.models import Term, TermBreak


class TermFactory(DjangoModelFactory):
    """The spring of 2027: ten Tuesdays, over the change of clocks."""

    class Meta:
        model = Term

    name = "Spring"
    first_date = date(2027, 3, 8)
    last_date = date(2027, 5, 16)


class TermBreakFactory(DjangoModelFactory):
    class Meta:
        model = TermBreak

    term = factory.SubFactory(TermFactory)
    name = "Half-term"
    first_date = date(2027, 4, 12)
    last_date = date(2027, 4, 18)
