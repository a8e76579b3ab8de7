"""The reset list without a password: by a signed link, for one day only."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import Account, AuditEntry
from school.queries.day_links import day_path
from tests.factories.people import (
    AccountFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def renske() -> Account:
    SchoolFactory()
    return AccountFactory(
        person=GroundspersonFactory(person__first_name="Renske").person
    )


def test_the_button_opens_todays_list_until_midnight(
    client: Browser, renske: Account
) -> None:
    today = timezone.localdate()

    answer = client.post(day_path(renske, today))

    assert answer["Location"] == f"/resets/{today.isoformat()}/"
    assert client.get(answer["Location"]).status_code == 200
    assert client.session.get_expiry_age() <= 25 * 3600
    assert AuditEntry.objects.filter(action="day link").count() == 1


def test_looking_a_link_up_signs_nobody_in(client: Browser, renske: Account) -> None:
    page = client.get(day_path(renske, timezone.localdate()))

    assert "For Renske, until midnight" in page.content.decode()
    assert page["Referrer-Policy"] == "no-referrer"
    assert page["Cache-Control"] == "no-store"
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("days", [-1, 1])
def test_on_another_day_it_opens_nothing(
    client: Browser, renske: Account, days: int
) -> None:
    path = day_path(renske, timezone.localdate() + timedelta(days=days))

    answer = client.post(path)

    assert answer.status_code == 404
    assert "for another day" in answer.content.decode()


def test_a_changed_link_opens_nothing(client: Browser, renske: Account) -> None:
    path = day_path(renske, timezone.localdate())

    assert client.post(path[:-3] + "x/").status_code == 404
    assert client.post("/today/" + "x" * 5000 + "/").status_code == 404


def test_a_closed_account_opens_nothing(client: Browser, renske: Account) -> None:
    renske.is_active = False
    renske.save()

    assert client.post(day_path(renske, timezone.localdate())).status_code == 404


@pytest.mark.parametrize("role", ["manager", "instructor", "both"])
def test_who_may_do_more_signs_in_with_a_password(client: Browser, role: str) -> None:
    SchoolFactory()
    person = GroundspersonFactory().person if role == "both" else None
    account = {
        "manager": lambda: AccountFactory(manager=True, person=None),
        "instructor": lambda: AccountFactory(person=InstructorFactory().person),
        "both": lambda: AccountFactory(manager=True, person=person),
    }[role]()

    assert client.post(day_path(account, timezone.localdate())).status_code == 404


def test_the_manager_sees_a_code_for_each_and_a_groundsperson_their_own(
    client: Browser, renske: Account
) -> None:
    AccountFactory(person=GroundspersonFactory(person__first_name="Okke").person)
    client.force_login(renske)
    own = client.get("/resets-elsewhere/").content.decode()
    client.force_login(AccountFactory(manager=True, person=None))
    every = client.get("/resets-elsewhere/").content.decode()

    assert ("Renske" in own, "Okke" in own) == (True, False)
    assert ("Renske" in every, "Okke" in every) == (True, True)
    assert every.count("<svg") == 2
