"""What the store holds: what works, what is broken, and where."""

import pytest
from django.test import Client as Browser

from scheduling.convert.days import day_document
from scheduling.queries.days import day_rows
from school.models import AuditEntry, StorePiece
from tests.clock import SATURDAY
from tests.factories.arenas import StorePieceFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(person=GroundspersonFactory().person))
    return client


@pytest.fixture
def cups() -> StorePiece:
    return StorePieceFactory(
        piece="cup", place="Arena two", working=20, broken=1, weight_g=300
    )


def sent(**changes: object) -> dict[str, object]:
    return {
        "piece": "cup",
        "place": "Arena two",
        "working": 12,
        "broken": 9,
        "was_working": 20,
        "was_broken": 1,
    } | changes


def test_what_is_broken_is_seen_by_place_and_no_longer_planned_with(
    browser: Browser, cups: StorePiece
) -> None:
    StorePieceFactory(piece="cup", place="Hall", working=30, weight_g=300)

    page = browser.post("/store/", sent(), follow=True).content.decode()

    assert "Arena two: 12 that work, 9 broken, of the piece cup" in page
    assert "20 to 12 that work, 1 to 9 broken" in page
    assert day_document(day_rows(SATURDAY))["stock"]["cup"] == 42


def test_set_twice_it_is_written_down_once(browser: Browser, cups: StorePiece) -> None:
    browser.post("/store/", sent())
    browser.post("/store/", sent())

    assert AuditEntry.objects.filter(action="set store").count() == 1


def test_what_somebody_set_meanwhile_is_not_overwritten_unseen(
    browser: Browser, cups: StorePiece
) -> None:
    StorePiece.objects.update(working=18)

    answer = browser.post("/store/", sent())

    cups.refresh_from_db()
    assert answer.status_code == 409
    assert "Meanwhile Arena two has 18 that work" in answer.content.decode()
    assert cups.working == 18


def test_a_new_place_comes_into_the_book_with_what_one_weighs(
    browser: Browser,
) -> None:
    new = {"piece": "pole", "place": " Arena  two ", "working": 10, "broken": 0}

    assert browser.post("/store/", new).status_code == 409
    browser.post("/store/", new | {"kg": "11.5"})

    one = StorePiece.objects.get()
    assert (one.place, one.working, one.weight_g) == ("Arena two", 10, 11_500)


@pytest.mark.parametrize(
    "changes",
    [{"working": -1}, {"broken": 10_001}, {"place": " "}, {"piece": "flag"}, {"kg": 0}],
)
def test_what_is_no_stock_is_refused_and_changes_nothing(
    browser: Browser, cups: StorePiece, changes: dict[str, object]
) -> None:
    assert browser.post("/store/", sent(**changes)).status_code == 409

    cups.refresh_from_db()
    assert (cups.working, cups.broken) == (20, 1)


def test_an_empty_store_says_so(browser: Browser) -> None:
    assert "Nothing is in the book yet" in browser.get("/store/").content.decode()
