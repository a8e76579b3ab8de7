"""Clients as the manager sees them."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import LessonPack, MakeUpCredit
from tests.factories.people import AccountFactory, ClientFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True))
    return client


def last_day() -> str:
    return (timezone.localdate() + timedelta(days=90)).isoformat()


def test_a_pack_is_noted_and_shown(manager: Browser) -> None:
    one = ClientFactory()

    manager.post(
        f"/clients/{one.pk}/packs/",
        {"name": "Five lessons", "lessons": 5, "expires_date": last_day()},
    )

    assert LessonPack.objects.get().client == one
    page = manager.get(f"/clients/{one.pk}/").content.decode()
    assert "Five lessons: 5 of 5 left" in page


def test_a_lesson_to_make_up_is_given(manager: Browser) -> None:
    one = ClientFactory()

    manager.post(
        f"/clients/{one.pk}/credits/",
        {"credit-reason": "lame horse", "credit-expires_date": last_day()},
    )

    assert MakeUpCredit.objects.get().reason == "lame horse"


def test_a_pack_that_ends_before_it_is_bought_is_refused(manager: Browser) -> None:
    one = ClientFactory()

    response = manager.post(
        f"/clients/{one.pk}/packs/",
        {"name": "Old", "lessons": 5, "expires_date": "2020-01-01"},
    )

    assert response.status_code == 409
    assert "A pack ends after the day it is bought." in response.content.decode()


def test_links_are_closed_and_the_page_shows_a_new_one(manager: Browser) -> None:
    one = ClientFactory()
    address = f"/clients/{one.pk}/"
    old = manager.get(address).context["link"]

    manager.post(f"{address}links/close/")
    new = manager.get(address).context["link"]

    answers = [
        manager.get("/my/" + link.partition("/my/")[2]).status_code
        for link in (old, new)
    ]
    assert answers == [404, 200]


@pytest.mark.parametrize("address", ["/clients/999/", "/clients/999/packs/"])
def test_a_client_who_is_not_there_is_a_404(manager: Browser, address: str) -> None:
    ask = manager.post if "packs" in address else manager.get

    assert ask(address).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_list_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    for _ in range(n):
        RiderFactory()
    manager.get("/clients/")

    with django_assert_num_queries(10):
        manager.get("/clients/")


def test_a_second_press_of_the_same_form_notes_nothing_more(manager: Browser) -> None:
    one = ClientFactory()
    page = manager.get(f"/clients/{one.pk}/")
    pack = {"name": "Five lessons", "lessons": 5, "expires_date": last_day()}
    pack["token"] = page.context["pack_form"]["token"].value()
    credit = {"credit-reason": "lame horse", "credit-expires_date": last_day()}
    credit["credit-token"] = page.context["credit_form"]["token"].value()

    for _ in range(2):
        manager.post(f"/clients/{one.pk}/packs/", pack)
        manager.post(f"/clients/{one.pk}/credits/", credit)

    assert LessonPack.objects.count() == 1
    assert MakeUpCredit.objects.count() == 1
