import pytest
from django.test import Client as Browser

from exercises.convert import spec_of
from exercises.models import Exercise
from exercises.services import load_library, revise_exercise
from tests.clock import NOW
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory()
    load_library(now=NOW)
    client.force_login(AccountFactory(manager=True))
    return client


def test_exercises_are_found_by_words_fault_and_level(browser: Browser) -> None:
    page = browser.get(
        "/exercises/?text=each+fence&fault=knocks+in+front&level=advanced"
    ).content.decode()

    assert "Four bounces" in page
    assert "Canter poles</a>" not in page


def test_every_condition_stays_in_its_field(browser: Browser) -> None:
    page = browser.get(
        "/exercises/?approach=canter&fences=2&line=30+m&both_ways=yes&level=novice"
    ).content.decode()

    for kept in (
        "<option selected>canter</option>",
        '<option value="2" selected>',
        'name="line" value="30 m"',
        '<option value="yes" selected>',
        "<option selected>novice</option>",
    ):
        assert kept in page


def test_a_length_that_is_none_is_said_and_hides_nothing(browser: Browser) -> None:
    page = browser.get("/exercises/?line=long").content.decode()

    assert "is no length; write 6.20 m or 20 ft 4 in. All lengths are shown." in page
    assert "<strong>50</strong> of 50" in page


def test_a_search_that_finds_nothing_says_what_to_do(browser: Browser) -> None:
    page = browser.get("/exercises/?text=unicorn").content.decode()

    assert "Take a condition away" in page


def test_htmx_gets_what_is_found_alone(browser: Browser) -> None:
    response = browser.get("/exercises/?fences=0", headers={"HX-Request": "true"})
    page = response.content.decode()

    assert "<form" not in page
    assert page.count('class="drawing thumbnail"') >= 5
    assert "HX-Request" in response["Vary"]


def test_an_exercise_is_drawn_for_a_pony_and_a_horse(browser: Browser) -> None:
    page = browser.get("/exercises/bounce-series/").content.decode()

    assert page.count("<svg") == 4
    assert "UK rider report" in page
    assert "read in the named source, or in a copy of it" in page
    assert "Cross 40 cm, after a bounce" in page
    assert "No exercise is ridden without a coach" in page


def test_a_gap_given_as_a_measure_is_shown_as_one(browser: Browser) -> None:
    page = browser.get("/exercises/short-stride-and-bounce/").content.decode()

    assert "6.20 m after the one before" in page
    assert "common practice in the trade, no source" in page


def test_ours_and_the_librarys_are_shown_side_by_side(browser: Browser) -> None:
    exercise = Exercise.objects.get(slug="bounce-pair")
    spec = spec_of(exercise.current).model_copy(update={"name": "Our bounce"})
    revise_exercise(exercise=exercise, spec=spec, by="ilka", now=NOW)

    page = browser.get("/exercises/bounce-pair/").content.decode()

    assert "“A first bounce” in the library&#x27;s, “Our bounce” in the school" in page
    assert page.count("<svg") == 6
    assert "Take the library" in page
    assert "Keep ours" not in page


def test_what_waits_to_be_looked_at_is_told_on_both_pages(browser: Browser) -> None:
    exercise = Exercise.objects.get(slug="bounce-pair")
    revise_exercise(
        exercise=exercise, spec=spec_of(exercise.current), by="ilka", now=NOW
    )
    Exercise.objects.filter(pk=exercise.pk).update(kept=None)

    listed = browser.get("/exercises/").content.decode()
    page = browser.get("/exercises/bounce-pair/").content.decode()

    assert "The library has something newer" in listed
    assert "Keep ours" in page
    assert "Both are the same." in page


def test_an_exercise_without_a_revision_or_unknown_is_not_found(
    browser: Browser,
) -> None:
    Exercise.objects.create(slug="empty-one", name="Empty")

    assert browser.get("/exercises/empty-one/").status_code == 404
    assert browser.get("/exercises/unknown/").status_code == 404
    assert "Empty" not in browser.get("/exercises/").content.decode()


def test_the_list_takes_a_constant_number_of_queries(
    browser: Browser, django_assert_num_queries
) -> None:
    with django_assert_num_queries(9):
        browser.get("/exercises/")
