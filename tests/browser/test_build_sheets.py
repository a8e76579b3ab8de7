"""Build sheets in a real browser: read on a phone, printed on one side of A4."""

from io import BytesIO

import pypdf
import pytest

from exercises.models import Exercise
from exercises.services import load_library
from tests.browser.test_pages import DESK, SIZES, sideways, sign_in
from tests.clock import NOW
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def long_row() -> Exercise:
    SchoolFactory(local_bodies="the national body and the county's licence")
    load_library(now=NOW)
    fence = {"kind": "vertical", "height_cm": 70, "ground_line": "both"}
    oxer = {"kind": "oxer", "height_cm": 80, "spread_cm": 80, "guides": True}
    revision = ExerciseRevisionFactory(
        spec={
            "slug": "ten-fences",
            "name": "A row of ten fences with a name that takes its time to end, " * 2,
            "aim": "To see whether everything still stands on one side of a sheet",
            "level": "advanced",
            "approach": "canter",
            "elements": [
                fence,
                *(
                    (oxer if n % 3 == 2 else fence)
                    | {"gap": "one-stride" if n % 2 else "two-strides"}
                    for n in range(1, 10)
                ),
            ],
            "cautions": ["Not for the first time out. " * 6, "Mind the wall. " * 6],
            "source": "the school's own",
            "grade": "own",
        },
    )
    exercise = revision.exercise
    exercise.slug, exercise.current = "ten-fences", revision
    exercise.save()
    return exercise


@SIZES
def test_a_sheet_is_read_without_a_sideways_scroll(
    chromium, live_server, long_row: Exercise, size: dict[str, int]
) -> None:
    account = AccountFactory(manager=True, person=None)
    page, errors = sign_in(chromium, live_server, size, account)
    for slug in ("ten-fences", "poles-to-oxer"):
        page.goto(f"{live_server.url}/exercises/{slug}/build-sheet/")

        assert page.get_by_text("Check before the first horse jumps").is_visible()
        assert sideways(page) <= 0
    assert errors == []
    page.context.close()


@pytest.mark.parametrize("slug", ["ten-fences", "poles-to-oxer"])
def test_the_page_prints_on_one_side_of_a4(
    chromium, live_server, long_row: Exercise, slug: str
) -> None:
    account = AccountFactory(manager=True, person=None)
    page, _ = sign_in(chromium, live_server, DESK, account)
    page.goto(f"{live_server.url}/exercises/{slug}/build-sheet/")

    printed = pypdf.PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))

    (sheet,) = printed.pages
    assert [round(float(one)) for one in sheet.mediabox[2:]] == [595, 842]
    text = sheet.extract_text()
    assert "Initials" in text
    assert "Sign out" not in text
    page.context.close()
