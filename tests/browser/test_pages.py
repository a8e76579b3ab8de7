"""The pages in a real browser: phone and desk, keyboard, refusals."""

from datetime import datetime, time, timedelta

import pytest
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.models import ChangeoverMove
from school.models import Lesson
from school.services.grids import attach_grid
from tests.clock import NOW, ZONE
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 900}
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture
def yard() -> Lesson:
    SchoolFactory()
    load_library(now=NOW)
    start = datetime.combine(
        timezone.localdate() + timedelta(days=3), time(11), tzinfo=ZONE
    )
    ride = RideFactory(
        lesson__starts_at=start,
        lesson__title="Evening jump",
        horse__name="Onyx",
    )
    lesson = ride.lesson
    line = LineFactory(arena=lesson.arena, datum="the gate")
    StorePieceFactory()
    revision = Exercise.objects.get(slug="three-in-a-row").current
    attach_grid(lesson=lesson, revision=revision, by=None, now=NOW)
    day = start.date()
    changeover = ChangeoverFactory(
        plan=DayPlanFactory(state="published", date=day),
        lesson=lesson,
        line=line,
        starts_at=lesson.starts_at - timedelta(minutes=15),
        ends_at=lesson.starts_at - timedelta(minutes=3),
    )
    ChangeoverMoveFactory(changeover=changeover, position=1)
    return lesson


def sign_in(chromium, live_server, size, account):
    account.set_password("a long enough word")
    account.save()
    errors: list[str] = []
    page = chromium.new_context(viewport=size).new_page()
    page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("#id_username", account.username)
    page.fill("#id_password", "a long enough word")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    return page, errors


def sideways(page) -> int:
    return page.evaluate("document.documentElement.scrollWidth - window.innerWidth")


@SIZES
@pytest.mark.parametrize("role", ["manager", "instructor", "groundsperson", "client"])
def test_each_role_sees_its_first_page_whole(
    chromium, live_server, yard: Lesson, role: str, size: dict[str, int]
) -> None:
    person = {
        "manager": None,
        "instructor": yard.instructor.person,
        "groundsperson": GroundspersonFactory().person,
        "client": yard.rides.get().rider.client.person,
    }[role]
    account = AccountFactory(person=person, is_manager=role == "manager")
    page, errors = sign_in(chromium, live_server, size, account)

    assert page.locator("h1").count() == 1
    assert page.get_by_text("Evening jump").count() or role == "client"
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


@SIZES
def test_a_lessons_page_shows_its_grid_without_a_sideways_scroll(
    chromium, live_server, yard: Lesson, size: dict[str, int]
) -> None:
    account = AccountFactory(manager=True, person=None)
    page, errors = sign_in(chromium, live_server, size, account)
    page.goto(f"{live_server.url}/lessons/{yard.pk}/")

    drawing = page.locator("svg.side").first
    letters = drawing.locator("text").first.evaluate(
        "node => node.getBoundingClientRect().height"
    )
    assert drawing.bounding_box()["width"] > 300
    assert letters >= 11
    assert sideways(page) <= 0
    assert errors == []
    page.context.close()


def test_a_thumb_ticks_a_move_without_leaving_the_page(
    chromium, live_server, yard: Lesson
) -> None:
    account = AccountFactory(person=GroundspersonFactory().person)
    page, errors = sign_in(chromium, live_server, PHONE, account)
    box = page.locator("button.tick").first
    height = box.bounding_box()["height"]
    box.click()
    page.locator("button.tick[aria-pressed=true]").wait_for()
    page.locator("#reset-bar[data-waiting='0'][data-signal=good]").wait_for()

    assert height >= 44
    assert ChangeoverMove.objects.get().ticked_at is not None
    assert errors == []
    page.context.close()


def test_the_keyboard_reaches_the_content_first(
    chromium, live_server, yard: Lesson
) -> None:
    account = AccountFactory(person=InstructorFactory().person)
    page, _ = sign_in(chromium, live_server, DESK, account)
    page.keyboard.press("Tab")

    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.context.close()


def test_a_double_booking_is_refused_and_the_form_stays(
    chromium, live_server, yard: Lesson
) -> None:
    rider = RideFactory(lesson__state="asked").rider
    account = AccountFactory(manager=True, person=None)
    page, _ = sign_in(chromium, live_server, PHONE, account)
    start = yard.starts_at.astimezone(ZONE)
    page.goto(f"{live_server.url}/lessons/new/?date={start.date().isoformat()}")
    page.fill("#id_title", "Second on Onyx")
    page.fill("#id_start", f"{start:%H:%M}")
    page.select_option("#id_arena", index=2)
    page.select_option("#id_instructor", index=2)
    page.select_option("#id_rider_1", str(rider.pk))
    page.select_option("#id_horse_1", label="Onyx")
    page.get_by_role("button", name="Book").click()
    refusal = page.get_by_role("alert")
    refusal.wait_for()

    assert "Onyx goes in Evening jump until 12:00." in refusal.inner_text()
    assert page.input_value("#id_title") == "Second on Onyx"
    page.context.close()


def test_a_client_makes_a_calendar_address(chromium, live_server, yard: Lesson) -> None:
    account = AccountFactory(person=ClientFactory().person)
    page, _ = sign_in(chromium, live_server, PHONE, account)
    page.goto(f"{live_server.url}/calendars/")
    page.get_by_role("button", name="Make an address").click()
    page.locator("code.address").wait_for()

    assert "/agenda/client/" in page.locator("code.address").inner_text()
    assert sideways(page) <= 0
    page.context.close()
