"""What would make a groundsperson throw the tool away, through the pages they work on.

What is not here is shown elsewhere: `test_curses.py` says where.
"""

import pytest
from django.test import Client as Browser

from scheduling.services.plans import (
    UnableToPublish,
    make_plan,
    publish_plan,
)
from school.models import Groundsperson, StorePiece
from tests.clock import NOW, SATURDAY
from tests.factories.arenas import StorePieceFactory
from tests.factories.people import AccountFactory
from tests.scheduling.days import oxer
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


def test_no_oxer_is_asked_for_with_three_cups_in_the_pail() -> None:
    """An oxer of one rail has two cups in front and two safety cups behind."""
    _, _, lessons = small_day()
    lessons[0].grid.delete()
    grid_of(type(lessons[0]).objects.get(pk=lessons[0].pk), oxer(0, height_cm=60))
    StorePieceFactory(piece="pole", working=30, weight_g=12_000)
    StorePieceFactory(piece="cup", working=40, weight_g=300)
    groundsperson = Browser()
    person = Groundsperson.objects.get().person
    groundsperson.force_login(AccountFactory(person=person))
    enough = make_plan(date=SATURDAY, by=None, now=NOW, seconds=60)
    assert not enough.plan["broken"]

    groundsperson.post("/cups/", {"expected": 40, "counted": 3})

    assert StorePiece.objects.get(piece="cup").working == 3
    short = make_plan(date=SATURDAY, by=None, now=NOW, seconds=60)
    with pytest.raises(UnableToPublish, match="cup"):
        publish_plan(plan=short, by=None, now=NOW)
