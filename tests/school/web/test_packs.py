"""A pack on its page: what it pays for, set right, closed."""

from datetime import date

import pytest
from django.test import Client as Browser

from school.models import AuditEntry, LessonPack, PackUse
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def pack() -> LessonPack:
    SchoolFactory()
    pack = LessonPackFactory()
    for _ in range(2):
        ride = RideFactory(rider__client=pack.client)
        PackUse.objects.create(pack=pack, ride=ride, used_at=NOW)
    return pack


@pytest.fixture
def manager(pack: LessonPack) -> Browser:
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    return browser


FIELDS = {"name": "Five lessons", "lessons": 5, "expires_date": "2027-03-31"}


def test_a_pack_is_set_right_once_in_the_audit(manager: Browser, pack) -> None:
    for _ in range(2):
        assert manager.post(f"/packs/{pack.pk}/", FIELDS).status_code == 302

    pack.refresh_from_db()
    assert (pack.name, pack.lessons) == ("Five lessons", 5)
    assert pack.expires_date == date(2027, 3, 31)
    assert AuditEntry.objects.filter(action="change pack").count() == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"lessons": 1}, "a pack has from 2 to 100"),
        ({"expires_date": "2027-02-01"}, "ends after the day it is bought"),
        ({"name": " "}, "required"),
    ],
)
def test_what_cannot_be_is_said(manager: Browser, pack, change, says) -> None:
    page = manager.post(f"/packs/{pack.pk}/", FIELDS | change)

    assert page.status_code == 409
    assert says in page.content.decode()
    pack.refresh_from_db()
    assert pack.lessons == 10


def test_its_page_says_what_it_pays_for(manager: Browser, pack) -> None:
    page = manager.get(f"/packs/{pack.pk}/").content.decode()

    for use in pack.uses.all():
        assert f"/lessons/{use.ride.lesson_id}/" in page
    assert manager.get("/packs/999/").status_code == 404


def test_packs_used_up_or_ended_are_folded_below_those_that_count(
    manager: Browser, pack
) -> None:
    LessonPackFactory(client=pack.client, name="Pair", lessons=1)
    used = LessonPackFactory(client=pack.client, name="Single", lessons=1)
    PackUse.objects.create(
        pack=used, ride=RideFactory(rider__client=pack.client), used_at=NOW
    )
    LessonPackFactory(client=pack.client, name="Winter", expires_date=date(2027, 2, 28))

    page = manager.get(f"/clients/{pack.client_id}/").content.decode()
    counting, folded = page.split("Used up, closed or ended (2)")

    assert "Ten lessons: 8 of 10 left" in counting
    assert "Pair: 1 of 1 left" in counting
    assert "Single, bought 1 February 2027: all 1 lesson used" in folded
    assert "Winter, bought 1 February 2027: ended 28 February 2027" in folded
    assert "with 10 of 10 left" in folded
    assert "Single" not in counting
    assert "Winter" not in counting
