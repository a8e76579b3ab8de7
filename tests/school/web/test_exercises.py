"""The two buttons by which a school chooses its state of an exercise."""

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
    exercise = Exercise.objects.get(slug="bounce-pair")
    spec = spec_of(exercise.current).model_copy(update={"name": "Our bounce"})
    revise_exercise(exercise=exercise, spec=spec, by="ilka", now=NOW)
    return client


def test_the_librarys_is_taken_by_a_press(browser: Browser) -> None:
    page = browser.post("/exercises/bounce-pair/take-librarys/", follow=True)

    assert "A first bounce is now ridden as the library has it." in (
        page.content.decode()
    )
    assert not Exercise.objects.get(slug="bounce-pair").own


def test_ours_is_kept_by_a_press(browser: Browser) -> None:
    page = browser.post("/exercises/bounce-pair/keep-ours/", follow=True)

    assert "Our bounce stays as the school has it." in page.content.decode()


def test_where_there_is_nothing_to_choose_it_is_said(browser: Browser) -> None:
    page = browser.post("/exercises/canter-poles/keep-ours/", follow=True)

    assert "there is no own to keep" in page.content.decode()
    assert browser.post("/exercises/unknown/keep-ours/").status_code == 404
