"""Each role begins with what it must do next."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import FeedToken
from school.services.feeds import make_feed
from tests.clock import ZONE
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("role", "address"),
    [
        ("manager", "/day/{day}/"),
        ("instructor", "/my-lessons/"),
        ("groundsperson", "/resets/{day}/"),
        ("client", "/my-riders/"),
    ],
)
def test_home_leads_to_the_next_day_with_work(
    client: Browser, role: str, address: str
) -> None:
    SchoolFactory()
    lesson = LessonFactory(starts_at=timezone.now() + timedelta(days=5))
    holder = {
        "instructor": InstructorFactory,
        "groundsperson": GroundspersonFactory,
        "client": ClientFactory,
    }.get(role)
    client.force_login(
        AccountFactory(person=holder().person)
        if holder
        else AccountFactory(manager=True)
    )

    response = client.get("/")

    day = lesson.starts_at.astimezone(ZONE).date().isoformat()
    assert response["Location"] == address.format(day=day)


def test_somebody_without_a_role_is_told_so(client: Browser) -> None:
    client.force_login(AccountFactory(person=None))

    assert "no role yet" in client.get("/").content.decode()


def test_a_calendar_address_is_shown_once_and_can_be_withdrawn(
    client: Browser,
) -> None:
    SchoolFactory()
    holder = ClientFactory()
    client.force_login(AccountFactory(person=holder.person))

    made = client.post("/calendars/make/", {"kind": "client"})
    later = client.get("/calendars/")

    assert "/agenda/client/" in made.content.decode()
    assert made["Cache-Control"] == "no-store"
    assert "/agenda/client/" not in later.content.decode()
    feed = FeedToken.objects.get()
    client.post(f"/calendars/{feed.pk}/withdraw/")
    feed.refresh_from_db()
    assert feed.revoked_at is not None


def test_nobody_makes_a_calendar_of_what_they_are_not(client: Browser) -> None:
    client.force_login(AccountFactory(person=ClientFactory().person))

    assert client.post("/calendars/make/", {"kind": "instructor"}).status_code == 403


def test_pages_show_the_schools_clock(client: Browser) -> None:
    SchoolFactory(zone="Australia/Sydney")
    lesson = LessonFactory()
    client.force_login(AccountFactory(manager=True))

    page = client.get(f"/lessons/{lesson.pk}/").content.decode()

    # 09:00 in Amsterdam in March is 19:00 in Sydney.
    assert "6 March 2027, 19:00" in page


def test_a_page_that_is_not_there_says_so_without_a_school(client: Browser) -> None:
    response = client.get("/nowhere/")

    assert response.status_code == 404
    assert "There is no such page" in response.content.decode()


def test_a_form_sent_without_its_token_is_explained() -> None:
    browser = Browser(enforce_csrf_checks=True)

    response = browser.post("/sign-in/", {"username": "x"})

    assert response.status_code == 403
    assert "send it again" in response.content.decode()


class TestYardAddresses:
    @pytest.fixture
    def manager(self, client: Browser) -> Browser:
        SchoolFactory()
        client.force_login(AccountFactory(manager=True, person=None))
        return client

    @pytest.mark.parametrize(
        ("kind", "factory"), [("horse", HorseFactory), ("arena", ArenaFactory)]
    )
    def test_a_manager_makes_and_withdraws_one(
        self, manager: Browser, kind: str, factory
    ) -> None:
        one = factory(name="Onyx")

        made = manager.post("/calendars/make/", {"kind": kind, "holder": one.pk})

        assert f"/agenda/{kind}/" in made.content.decode()
        assert f"day, {one.name}, made" in manager.get("/calendars/").content.decode()
        feed = FeedToken.objects.get()
        assert getattr(feed, kind) == one
        manager.post(f"/calendars/{feed.pk}/withdraw/")
        feed.refresh_from_db()
        assert feed.revoked_at is not None

    @pytest.mark.parametrize("holder", ["", "0", "Onyx", "999999"])
    def test_of_no_horse_there_is_none(self, manager: Browser, holder: str) -> None:
        asked = {"kind": "horse", "holder": holder}

        assert manager.post("/calendars/make/", asked).status_code == 404
        assert not FeedToken.objects.exists()

    def test_nobody_else_makes_or_withdraws_one(self, client: Browser) -> None:
        SchoolFactory()
        horse = HorseFactory()
        feed, _ = make_feed(kind="horse", holder=horse, now=timezone.now())
        client.force_login(AccountFactory(person=InstructorFactory().person))

        made = client.post("/calendars/make/", {"kind": "horse", "holder": horse.pk})

        assert made.status_code == 403
        assert client.post(f"/calendars/{feed.pk}/withdraw/").status_code == 404
        assert "Horse&#x27;s day" not in client.get("/calendars/").content.decode()

    @pytest.mark.parametrize("count", [1, 3])
    def test_the_page_takes_a_constant_number_of_queries(
        self, manager: Browser, django_assert_num_queries, count: int
    ) -> None:
        for _ in range(count):
            make_feed(kind="horse", holder=HorseFactory(), now=timezone.now())
            make_feed(kind="arena", holder=ArenaFactory(), now=timezone.now())

        with django_assert_num_queries(6):
            manager.get("/calendars/")
