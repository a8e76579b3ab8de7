"""The page on which cups are counted: what it asks, and what a count came to."""

import pytest
from django.test import Client as Browser

from school.models import StorePiece
from tests.factories.arenas import StorePieceFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

CUPS = "/cups/"


@pytest.fixture
def renske(client: Browser) -> Browser:
    SchoolFactory()
    StorePieceFactory(piece="cup", working=40, weight_g=400)
    person = GroundspersonFactory(person__first_name="Renske").person
    client.force_login(AccountFactory(person=person))
    return client


def count(browser: Browser, counted: object, expected: int = 40) -> str:
    data = {"counted": counted, "expected": expected}
    return browser.post(CUPS, data, follow=True).content.decode()


def test_a_count_that_comes_out_is_said(renske: Browser) -> None:
    assert "Cups counted: 40 of 40." in count(renske, 40)


def test_what_is_missing_is_said_with_who_counted(renske: Browser) -> None:
    page = count(renske, 37)

    assert "Cups counted: 37 of 40. 3 are missing" in page
    assert "Renske: 37 of 40" in page
    assert StorePiece.objects.get().working == 37


def test_more_than_in_the_book_is_said(renske: Browser) -> None:
    assert "2 more than in the book" in count(renske, 42)


def test_a_count_of_another_pail_says_how_many_should_be_there(
    renske: Browser,
) -> None:
    answer = renske.post(CUPS, {"counted": 30, "expected": 36})

    assert answer.status_code == 409
    assert "40 should be in the pail, no longer 36" in answer.content.decode()


@pytest.mark.parametrize("counted", ["", "many", "-1", "1e9"])
def test_what_is_no_count_changes_nothing(renske: Browser, counted: str) -> None:
    page = count(renske, counted)

    assert "Cups in the pail" in page
    assert StorePiece.objects.get().working == 40
