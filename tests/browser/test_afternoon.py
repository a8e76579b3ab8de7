"""An instructor's afternoon: find, fit, cure, remedy, build sheet, log."""

from datetime import datetime, time, timedelta
from io import BytesIO

import pytest
from django.utils import timezone
from pypdf import PdfReader

from exercises.services import load_library
from school.models import GridOverride, Lesson, LessonGrid
from tests.browser.test_pages import DESK, PHONE, sideways, sign_in
from tests.clock import NOW, ZONE
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture
def mixed_group() -> Lesson:
    """A pony and a horse in one lesson, and a cob that is free."""
    SchoolFactory(tradition="schooling")
    load_library(now=NOW)
    start = datetime.combine(
        timezone.localdate() + timedelta(days=1), time(14), tzinfo=ZONE
    )
    ride = RideFactory(
        lesson__title="Mixed group",
        lesson__starts_at=start,
        lesson__ends_at=start + timedelta(hours=1),
        lesson__instructor__person__first_name="Ines",
        horse__name="Thimble",
        horse__height_cm=128,
        rider__person__first_name="Mira",
    )
    RideFactory(lesson=ride.lesson, horse__name="Onyx", horse__height_cm=168)
    HorseFactory(name="Bracken", height_cm=162)
    LineFactory(arena=ride.lesson.arena, name="Long side")
    StorePieceFactory(working=40)
    return ride.lesson


def no_wider_than_the_window(page) -> None:
    assert sideways(page) <= 0, page.url


@SIZES
def test_from_a_fault_to_the_log(
    chromium, live_server, mixed_group: Lesson, size: dict[str, int]
) -> None:
    account = AccountFactory(person=mixed_group.instructor.person)
    page, errors = sign_in(chromium, live_server, size, account)
    lesson = f"{live_server.url}/lessons/{mixed_group.pk}/"

    # What helps against rushing, for this lesson?
    page.goto(lesson)
    page.get_by_role("link", name="Search by fault, aim or level").click()
    page.select_option("#fault", "rushing")
    take = page.get_by_role("button", name="Take Placing pole to a one-stride for")
    page.wait_for_url("**fault=rushing**")
    take.wait_for()
    no_wider_than_the_window(page)

    # One press from the search. It does not fit both horses: the refusal says so.
    take.click()
    page.get_by_role("alert").wait_for()
    assert "split the ride by size" in page.content()
    for field in page.locator("input[name^='reason:']").all():
        field.fill("to see what would cure it")
    page.get_by_role("button", name="Fit and attach").click()
    page.get_by_text("The grid is attached.").wait_for()
    assert GridOverride.objects.count() == 2
    no_wider_than_the_window(page)

    # The three cures with their price; the cob takes the pony's place.
    page.get_by_role("link", name="What would make it fit").click()
    page.get_by_role("heading", name="Split the ride by size").wait_for()
    assert "two changeovers" in page.content()
    no_wider_than_the_window(page)
    give = page.get_by_role("button", name="Give Bracken")
    assert give.bounding_box()["height"] >= 44
    give.click()
    page.wait_for_url("**/#grid")
    assert {ride.horse.name for ride in mixed_group.rides.all()} == {"Bracken", "Onyx"}
    fitted = LessonGrid.objects.get()
    assert all(one["inside"] for gap in fitted.fitted["gaps"] for one in gap["horses"])

    # They rush at the last fence: one press, and the row follows.
    page.get_by_role("link", name="Remedies for a fault").click()
    page.get_by_role("link", name="Rushing, faster down the line").click()
    page.get_by_text("one step shorter").wait_for()
    no_wider_than_the_window(page)
    shorter = page.locator("li.remedy", has_text="one step shorter")
    button = shorter.get_by_role("button", name="Do this")
    assert button.bounding_box()["height"] >= 44
    assert "of one person's work" in shorter.inner_text()
    button.click()
    page.get_by_text("Last change: Rushing").wait_for()
    after = LessonGrid.objects.get()
    gaps = [gap["built_cm"] for gap in after.fitted["gaps"]]
    assert gaps[-1] == fitted.fitted["gaps"][-1]["built_cm"] - 15
    no_wider_than_the_window(page)

    # What is carried into the arena says the same distance, on paper too.
    page.goto(f"{lesson}build-sheet/")
    assert f"{gaps[-1] / 100:.2f}" in page.content()
    no_wider_than_the_window(page)
    paper = page.get_by_role("link", name="Build sheet as PDF").get_attribute("href")
    answer = page.request.get(f"{live_server.url}{paper}")
    pages = PdfReader(BytesIO(answer.body())).pages
    printed = pages[0].extract_text()
    assert len(pages) == 1
    assert f"{gaps[-1] / 100:.2f}" in printed
    assert " min for " in printed

    # The hour is over: the log takes two presses.
    mixed_group.starts_at = timezone.now() - timedelta(hours=2)
    mixed_group.ends_at = timezone.now() - timedelta(hours=1)
    Lesson.objects.filter(pk=mixed_group.pk).update(
        starts_at=mixed_group.starts_at, ends_at=mixed_group.ends_at
    )
    page.goto(f"{lesson}log/")
    no_wider_than_the_window(page)
    page.get_by_role("button", name="Save").click()
    page.wait_for_load_state()
    assert mixed_group.logs.get().ridden.count() == 2
    no_wider_than_the_window(page)
    assert [e for e in errors if "409" not in e] == []
    page.context.close()
