"""The page of what a missed lesson costs."""

import pytest
from django.test import Client as Browser

from school.models import AuditEntry, School
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

CHARGES = {
    "late_cancel_charge": "make-up",
    "no_show_charge": "charged",
    "late_lost_min": "10",
    "lost_charge": "charged",
    "ended_counts_percent": "66",
    "ended_rider_charge": "free",
    "ended_horse_charge": "make-up",
    "make_up_days": "14",
}


@pytest.fixture
def manager() -> Browser:
    SchoolFactory()
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    return browser


def test_what_is_set_is_what_the_school_goes_by_once_in_the_audit(manager) -> None:
    for _ in range(2):
        assert manager.post("/settings/missed-lessons/", CHARGES).status_code == 302

    school = School.objects.get()
    assert {name: str(getattr(school, name)) for name in CHARGES} == CHARGES
    assert AuditEntry.objects.filter(action="set charges").count() == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"late_lost_min": "0"}, "from 1 to 60"),
        ({"ended_counts_percent": "101"}, "from 1 to 100"),
        ({"make_up_days": "367"}, "from 0 to 366"),
        ({"no_show_charge": "double"}, "double"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(manager, change, says) -> None:
    page = manager.post("/settings/missed-lessons/", CHARGES | change)

    assert says in page.content.decode()
    assert School.objects.get().make_up_days == 30
