"""The page of handling times."""

import pytest
from django.test import Client as Browser

from school.models import School
from tests.clock import SATURDAY
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import DayPlanFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.timed import timed

pytestmark = pytest.mark.django_db
PAGE = "/handling-times/"
USE = "/handling-times/use/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def text(manager: Browser) -> str:
    return manager.get(PAGE).content.decode()


def test_before_ten_are_timed_it_says_how_many_are_missing(manager: Browser) -> None:
    timed(3)

    page = text(manager)

    assert "3 of at least 10 changeovers have been timed" in page
    assert "In use: the usual estimates" in page
    assert "own times</button>" not in page


def test_what_the_ticks_tell_stands_beside_the_usual(manager: Browser) -> None:
    timed(6, who=GroundspersonFactory(), pace=1.5)
    timed(6, who=GroundspersonFactory(alone=False), pace=1.0, seed=1)

    page = text(manager)

    assert "<strong>12</strong> changeovers were timed" in page
    assert "To measure and square up one fence" in page
    assert "Wing: to fetch from the store" in page
    assert "Two together" in page
    assert "Use this yard's own times" in page.replace("&#x27;", "'")


def test_a_press_puts_them_in_use_and_a_second_press_back(manager: Browser) -> None:
    timed(12)

    page = manager.post(USE, {"changeovers": "12"}, follow=True).content.decode()
    assert "learned from 12 changeovers" in page
    assert "These are in use." in page

    page = manager.post(USE, {"times": "usual"}, follow=True).content.decode()
    assert "In use: the usual estimates" in page
    assert School.objects.get().handling == {}


@pytest.mark.parametrize("changeovers", ["11", "", "many", "-3"])
def test_a_press_on_an_old_page_is_refused_in_words(
    manager: Browser, changeovers: str
) -> None:
    timed(12)

    page = manager.post(USE, {"changeovers": changeovers}, follow=True)

    assert "timed since you looked" in page.content.decode()
    assert School.objects.get().handling == {}


def test_a_press_before_anything_was_timed_says_so(manager: Browser) -> None:
    page = manager.post(USE, {"changeovers": "0"}, follow=True)

    assert "0 of at least 10" in page.content.decode()


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, count: int
) -> None:
    timed(count, who=GroundspersonFactory())

    with django_assert_num_queries(6):
        manager.get(PAGE)


class TestPlanSays:
    @pytest.mark.parametrize(
        ("handling", "learned", "words"),
        [
            ({}, None, "Minutes by the usual estimates."),
            ({"measure_s": 40}, None, "Minutes by the times the school has set."),
            ({"measure_s": 40}, 57, "learned from 57 changeovers."),
        ],
    )
    def test_whose_times_it_reckons_with(
        self, manager: Browser, handling, learned, words: str
    ) -> None:
        DayPlanFactory(state="published", document={"handling": handling})
        School.objects.update(
            handling=handling,
            handling_changeovers=learned,
            handling_since="2027-03-01T12:00Z",
        )

        assert words in manager.get(f"/day/{SATURDAY}/").content.decode()

    def test_that_they_have_changed_since(self, manager: Browser) -> None:
        DayPlanFactory(state="published", document={"handling": {"measure_s": 40}})

        page = manager.get(f"/day/{SATURDAY}/").content.decode()

        assert "Minutes by the times in use when it was made." in page
