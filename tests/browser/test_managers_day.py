"""A manager's day, from the board to the register that is printed, desk and phone."""

import re
from datetime import date, datetime, timedelta
from io import BytesIO

import pypdf
import pytest
from playwright.sync_api import Page, expect

from scheduling.models import Changeover, DayPlan
from scheduling.services.runs import carry_out_run, take_up_run
from school.models import Account, InstructorAbsence, Lesson, OutboxMessage
from tests.browser.test_pages import SIZES, sideways, sign_in
from tests.clock import SATURDAY, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.ride_logs import RiddenRideFactory
from tests.scheduling.rows import small_day

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

THURSDAY, LAST_WEEK = SATURDAY - timedelta(days=2), SATURDAY - timedelta(days=7)


@pytest.fixture
def now(monkeypatch) -> datetime:
    """Thursday morning: the day to come is made ready."""
    moment = at("09:00", THURSDAY)
    monkeypatch.setattr("django.utils.timezone.now", lambda: moment)
    return moment


@pytest.fixture
def hedda(now: datetime) -> Account:
    """Three grids on one line, a flat lesson whose instructor falls ill, and a past."""
    small_day()
    InstructorFactory(person__first_name="Arno")
    RiderFactory(person__first_name="Mira", person__last_name="Teal")
    HorseFactory(name="Pepperpot", weight_kg=600)
    ilka = InstructorFactory(person__first_name="Ilka", person__last_name="")
    arena = Lesson.objects.earliest("starts_at").arena
    LessonFactory(
        title="Quiet hour", work="flat", arena=arena, instructor=ilka,
        starts_at=at("16:00"),
    )  # fmt: skip
    RiddenRideFactory(
        ride__horse__name="Acorn", log__lesson__starts_at=at("09:00", LAST_WEEK)
    )
    return AccountFactory(manager=True, person__first_name="Hedda")


class Desk:
    """A manager at her screen, large or small."""

    def __init__(self, page: Page, url: str) -> None:
        self.page = page
        self.url = url

    def go(self, path: str) -> None:
        self.page.goto(self.url + path)
        self.fits()

    def fits(self) -> None:
        assert sideways(self.page) <= 0, self.page.url

    def board(self, day: date = SATURDAY) -> None:
        self.go(f"/day/{day.isoformat()}/")

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def reads(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("body")).to_contain_text(words)
        self.fits()

    def change(self, title: str) -> None:
        """Open the form in which a lesson of the day is changed."""
        self.board()
        row = self.page.locator("tr", has_text=title).filter(
            has=self.page.get_by_role("link", name=title, exact=True)
        )
        row.get_by_role("link", name=re.compile("^Change")).click()
        self.page.locator("#board-form").wait_for()

    def look(self) -> None:
        """Wait for what a change would do."""
        self.page.locator("#foretold [data-verdict]").wait_for()


@SIZES
def test_a_managers_day(
    chromium, live_server, hedda: Account, now: datetime, size: dict[str, int]
) -> None:
    page, errors = sign_in(chromium, live_server, size, hedda)
    desk = Desk(page, live_server.url)

    # The board; a lesson is booked from it, and what it costs is said before.
    desk.board()
    page.get_by_role("link", name="Book a lesson").click()
    page.fill("#id_title", "Late ride")
    page.fill("#id_start", "14:00")
    page.select_option("#id_arena", label="Hall")
    page.select_option("#id_instructor", label="Arno Example")
    page.select_option("#id_rider_1", label="Mira Teal")
    page.get_by_text("Adds no changing of fences").wait_for()
    desk.fits()
    desk.press("Book")
    page.get_by_role("heading", name="Late ride").wait_for()
    booked = Lesson.objects.get(title="Late ride")

    # Moved an hour on, and given a horse, in one form.
    desk.change("Late ride")
    page.fill("#id_start", "15:00")
    page.get_by_label("Horse of Mira").select_option(label="Pepperpot")
    desk.look()
    desk.press("Do it and tell the clients")
    desk.reads("is changed. ")
    booked.refresh_from_db()
    assert booked.starts_at == at("15:00")
    assert booked.rides.get().horse.name == "Pepperpot"

    # One is cancelled, with its reason.
    desk.change("Ride of 12:00")
    page.get_by_text("Cancel it").click()
    page.fill("#cancel-reason", "The farrier comes")
    desk.press("Cancel and tell the clients")
    desk.reads("is cancelled. ")

    # Ilka is ill: all of hers in one press.
    page.get_by_role("link", name="Somebody or something is out").click()
    page.get_by_label("Who or what is out?").select_option(label="Ilka")
    page.get_by_label("Why?").fill("ill")
    page.get_by_role("button", name="Show what is touched").click()
    desk.reads("Arno, Hall, 16:00")
    desk.press("Do all of it")
    desk.reads("1 changed, 0 cancelled")
    assert Lesson.objects.get(title="Quiet hour").instructor.person.first_name == "Arno"
    assert InstructorAbsence.objects.exists()

    # The day is ordered, looked at, and published.
    desk.board()
    desk.press("Order the day anew")
    page.wait_for_url("**/planner/**")
    carry_out_run(run=take_up_run(now=now), clock=lambda: now)
    desk.go(f"/planner/{SATURDAY.isoformat()}/")
    desk.press("Publish the new plan")
    desk.reads("The plan is published")
    plan = DayPlan.objects.get(state="published", date=SATURDAY)
    assert Changeover.objects.filter(plan=plan).exists()
    desk.go(f"/resets/{SATURDAY.isoformat()}/")
    desk.reads("Ride of 09:00")
    assert OutboxMessage.objects.exists()

    # What the horses did a week ago, as it is shown and as it is printed.
    desk.go(f"/register/{LAST_WEEK.isoformat()}/")
    desk.reads("Acorn")
    (sheet,) = pypdf.PdfReader(BytesIO(page.pdf(format="A4"))).pages
    assert "Acorn" in sheet.extract_text()
    assert "Sign out" not in sheet.extract_text()
    # A page that is left while it asks has its asking broken off, and htmx says so.
    left = ("htmx:sendAbort", "htmx:afterRequest")
    assert [one for one in errors if not one.startswith(left)] == []
    page.context.close()
