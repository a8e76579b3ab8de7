"""The work of horses for any day past: found by its date, printed, taken as CSV."""

import csv
from datetime import timedelta
from io import StringIO

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from school.models import HorseState
from tests.clock import NOW, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.ride_logs import RiddenRideFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

YESTERDAY = NOW.date() - timedelta(days=1)
LONG_AGO = NOW.date() - timedelta(days=3 * 365)


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def taken(browser: Browser, day: str) -> list[list[str]]:
    answer = browser.get(f"/register/{day}")
    assert answer.status_code == 200
    body = answer.content.decode("utf-8-sig")
    return list(csv.reader(StringIO(body, newline="")))


def test_a_day_three_years_back_is_chosen_by_its_date(manager: Browser) -> None:
    """Three years: general conditions of SI 2018/486, on the records of a licence."""
    sold = HorseFactory(name="Onyx")
    RideFactory(horse=sold, lesson__starts_at=at("09:00", LONG_AGO))
    HorseState.objects.create(horse=sold, kind="away", state_from=NOW, reason="sold")

    page = manager.get("/register/", {"first": LONG_AGO.isoformat()}, follow=True)

    assert page.redirect_chain == [(f"/register/{LONG_AGO}/", 302)]
    assert "Onyx" in page.content.decode()


def test_the_work_of_several_days_says_which_day(manager: Browser) -> None:
    horse = HorseFactory(name="Onyx")
    for day in (LONG_AGO, LONG_AGO + timedelta(days=1), LONG_AGO + timedelta(days=9)):
        RideFactory(horse=horse, lesson__starts_at=at("09:00", day))
    last = LONG_AGO + timedelta(days=8)

    page = manager.get(
        "/register/",
        {"first": LONG_AGO.isoformat(), "last": last.isoformat()},
        follow=True,
    ).content.decode()

    assert page.count(">Onyx</a>") == 2
    rows = taken(manager, f"{LONG_AGO}.csv?last={last}")
    assert [row[0] for row in rows[1:]] == [
        (LONG_AGO + timedelta(days=1)).isoformat(),
        LONG_AGO.isoformat(),
    ]


def test_a_day_is_taken_as_csv_with_its_minutes_and_efforts(manager: Browser) -> None:
    ridden = RiddenRideFactory(
        ride__horse__name="=Onyx",
        quarter_efforts=25,
        log__lesson__starts_at=at("09:00", YESTERDAY),
    )
    horse = ridden.horse
    RideFactory(horse=horse, lesson__starts_at=at("14:00", YESTERDAY))
    # Neither who did not come nor a lesson that was cancelled is work of the horse.
    RideFactory(horse=horse, lesson__starts_at=at("17:00", YESTERDAY), state="missed")
    RideFactory(
        horse=horse,
        lesson__starts_at=at("18:00", YESTERDAY),
        lesson__state="cancelled",
        lesson__state_reason="ice",
    )

    titles, row = taken(manager, f"{YESTERDAY}.csv")

    assert titles[:4] == ["Day", "Horse", "Lessons", "Minutes"]
    assert row == [YESTERDAY.isoformat(), "'=Onyx", "2", "120", "180", "6.25", "1"]


def test_a_day_still_to_come_is_not_called_a_day_of_rest(manager: Browser) -> None:
    HorseFactory(name="Onyx")
    tomorrow = NOW.date() + timedelta(days=1)

    page = manager.get(f"/register/{tomorrow}/").content.decode()

    assert "still to come" in page
    assert "Onyx" not in page


@pytest.mark.parametrize(
    "asked",
    [
        {"first": "someday"},
        {"first": "2027-03-02", "last": "2027-03-01"},
        {"first": "2020-01-01", "last": "2027-01-01"},
        {},
    ],
)
def test_days_that_cannot_be_shown_are_said(manager: Browser, asked: dict) -> None:
    page = manager.get("/register/", asked)

    assert page.status_code == 409
    assert 'class="error"' in page.content.decode()


def test_the_register_asks_the_same_for_one_and_three_rows(manager: Browser) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert manager.get(f"/register/{YESTERDAY}/").status_code == 200
        return len(queries)

    RideFactory(lesson__starts_at=at("09:00", YESTERDAY))
    one = asked()
    for clock in ("11:00", "13:00"):
        RideFactory(lesson__starts_at=at(clock, YESTERDAY))
    assert asked() == one
