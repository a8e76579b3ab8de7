"""The numbers a school runs by, on their page."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import AuditEntry, School
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

RULES = {
    "notice_hours": 36,
    "arrive_before_min": 20,
    "min_horse_age_years": 5,
    "freeze_min": 90,
    "of_age_years": 18,
    "expired_papers": "warn",
    "leaders": 3,
    "lead_rein_from_years": 5,
    "alone_from_years": 8,
    "lead_rein_fence_cm": 25,
    "moved_start_s": 45,
    "moved_arena_s": 15,
    "country": "de",
    "region": "by",
}


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def test_the_rules_are_set_and_audited_once(manager: Browser) -> None:
    for _ in range(2):
        assert manager.post("/settings/rules/", RULES).status_code == 302

    school = School.objects.get()
    assert {name: getattr(school, name) for name in RULES} == RULES | {
        "country": "DE",
        "region": "BY",
    }
    assert AuditEntry.objects.filter(action="set rules").count() == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"freeze_min": -1}, "Give a number from 0 to 1440."),
        ({"min_horse_age_years": 2}, "Give a number from 3 to 8."),
        ({"leaders": 0}, "Give a number from 1 to 12."),
        ({"country": "XX", "region": ""}, "two letters of a country"),
        ({"region": "ZZ"}, "DE has no region ZZ"),
        ({"latitude": 52}, "Give both, latitude and longitude"),
        ({"latitude": 91, "longitude": 5}, "Give degrees from -90 to 90."),
        ({"country": "", "region": "BY"}, "two letters of a country"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    manager: Browser, change: dict, says: str
) -> None:
    page = manager.post("/settings/rules/", RULES | change)

    assert page.status_code == 409
    assert says in page.content.decode()
    assert School.objects.get().notice_hours != RULES["notice_hours"]


def test_another_least_age_dates_every_horse_anew(manager: Browser) -> None:
    horse = HorseFactory(
        born_date=date(2020, 5, 4), bookable_from_date=date(2024, 5, 4)
    )

    manager.post("/settings/rules/", RULES)

    horse.refresh_from_db()
    assert horse.bookable_from_date == date(2025, 5, 4)


def test_a_least_age_that_a_booking_goes_against_is_refused(manager: Browser) -> None:
    soon = timezone.now() + timedelta(days=3)
    young = HorseFactory(
        name="Mote",
        born_date=soon.date() - timedelta(days=4 * 366),
        bookable_from_date=soon.date() - timedelta(days=9),
    )
    RideFactory(horse=young, lesson__title="Pony club", lesson__starts_at=soon)

    page = manager.post("/settings/rules/", RULES)

    assert page.status_code == 409
    assert "Mote is booked for Pony club" in page.content.decode()


def test_no_country_is_a_choice(manager: Browser) -> None:
    manager.post("/settings/rules/", RULES | {"country": "", "region": ""})

    assert School.objects.get().country == ""
