import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from tests.clock import NOW
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.school.sheets.builders import read_text

pytestmark = pytest.mark.django_db

PAGE = "/exercises/two-strides/build-sheet/"
PDF = "/exercises/two-strides/build-sheet.pdf"


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory(local_bodies="the national body")
    load_library(now=NOW)
    client.force_login(AccountFactory(person=GroundspersonFactory().person))
    return client


def test_an_exercise_is_fitted_to_the_height_asked_for(browser: Browser) -> None:
    pony = browser.get(f"{PAGE}?height_cm=128&tradition=schooling").content.decode()
    horse = browser.get(f"{PAGE}?height_cm=168&tradition=schooling").content.decode()

    assert "a horse of 128 cm" in pony
    assert "Check before the first horse jumps" in pony
    assert f"{PDF}?height_cm=128&amp;tradition=schooling" in pony
    assert pony.split("<tbody>")[1] != horse.split("<tbody>")[1]


def test_the_pdf_has_what_the_page_has(browser: Browser) -> None:
    response = browser.get(f"{PDF}?height_cm=128&tradition=schooling")

    text = read_text(response.content)
    assert response["Content-Type"] == "application/pdf"
    assert 'filename="build-sheet-two-strides.pdf"' in response["Content-Disposition"]
    assert "a horse of 128 cm" in text
    assert "the vet come first: the national body." in text


@pytest.mark.parametrize("path", [PAGE, PDF])
@pytest.mark.parametrize(
    "asked", ["height_cm=20", "height_cm=tall", "tradition=unknown"]
)
def test_a_height_nobody_has_is_refused_in_words(
    browser: Browser, path: str, asked: str
) -> None:
    response = browser.get(f"{path}?{asked}")

    assert response.status_code == 400
    assert "from 90 to 190" in response.content.decode()


def test_an_unknown_exercise_is_not_found(browser: Browser) -> None:
    Exercise.objects.create(slug="empty-one", name="Empty")

    assert browser.get("/exercises/empty-one/build-sheet/").status_code == 404
    assert browser.get("/exercises/unknown/build-sheet.pdf").status_code == 404
