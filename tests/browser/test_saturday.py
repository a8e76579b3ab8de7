"""A groundsperson's Saturday with a phone, most of it without signal.

The day is ordered by the planner and ordered anew while she works. Her phone's clock
is three hours slow.
"""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from scheduling.models import Changeover, DayPlan, Press, Standing
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.services.plans import make_plan, publish_plan
from scheduling.services.runs import ask_run, carry_out_run, take_up_run
from school.models import Account, Groundsperson, Lesson
from school.services.lessons import cancel_lesson
from tests.browser.test_pages import DESK, sideways, sign_in
from tests.browser.test_reset_list import Phone
from tests.browser.wire import Wire, wire
from tests.clock import NOW, SATURDAY, at
from tests.factories.people import AccountFactory
from tests.scheduling.rows import small_day

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SLOW = timedelta(hours=3)


class Clock:
    """The server's clock, and the phone's, which runs behind."""

    def __init__(self) -> None:
        self.now = at("07:00")
        self.phone: Phone | None = None

    def is_(self, clock: str) -> None:
        self.now = at(clock)
        if self.phone:
            self.phone.context.clock.set_system_time(self.now - SLOW)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock(monkeypatch) -> Clock:
    one = Clock()
    monkeypatch.setattr("django.utils.timezone.now", one)
    return one


@pytest.fixture
def line(live_server) -> Iterator[Wire]:
    with wire(live_server.url) as laid:
        yield laid


@pytest.fixture
def renske(clock: Clock) -> Account:
    small_day()
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    publish_plan(plan=plan, by=None, now=NOW)
    person = Groundsperson.objects.get().person
    person.first_name = "Renske"
    person.save()
    return AccountFactory(person=person)


def order_anew(clock: Clock) -> None:
    """What the manager does meanwhile: one lesson is off, the rest is planned anew."""
    wanted = changeovers_of_day(SATURDAY)[-1].lesson
    fresh = Lesson.objects.get(pk=wanted.pk)
    cancel_lesson(lesson=fresh, reason="ill", by=None, now=clock.now)
    ask_run(date=SATURDAY, kind="replan", by=None, now=clock.now, seconds=20)
    run = carry_out_run(run=take_up_run(now=clock.now), clock=clock)
    publish_plan(plan=run.plan, by=None, now=clock.now)


def page_of(phone: Phone, nth: int) -> Changeover:
    """Return a changeover as the list in the hand has it."""
    card = phone.page.locator("article[data-changeover]").nth(nth)
    return Changeover.objects.get(pk=int(card.get_attribute("data-changeover")))


def test_a_saturday_on_the_phone(
    chromium, live_server, line: Wire, clock: Clock, renske: Account
) -> None:
    phone = Phone(chromium, line, renske, clock=clock.now - SLOW)
    clock.phone = phone
    first, last = page_of(phone, 0), page_of(phone, -1)
    steps = first.moves.count()
    assert sideways(phone.page) <= 0

    # 07:10: she begins. Behind the hall the signal goes; she builds by the list.
    clock.is_("07:10")
    phone.press(first, "Start")
    phone.sent()
    phone.lose_signal()
    for n, minute in enumerate(range(12, 12 + steps - 1)):
        clock.is_(f"07:{minute}")
        phone.tick(first, n)
    phone.card(first).get_by_text("Trouble, or not this way?").click()
    phone.card(first).get_by_label("In a few words").fill("two cups broken")
    phone.press(first, "Tell the instructor and the manager")
    expect(phone.card(first)).to_contain_text("two cups broken")
    expect(phone.card(first)).to_contain_text(re.compile("Started 07:(09|10)"))

    # The phone was in the pocket; the page is opened anew, and knows all of it.
    phone.page.reload()
    phone.heard("cut")
    assert phone.ticked(first) == [True] * (steps - 1) + [False]
    expect(phone.card(first)).to_contain_text("two cups broken")

    # Meanwhile the last lesson is cancelled and the day ordered anew.
    clock.is_("07:25")
    order_anew(clock)
    phone.press(first, "Done")
    phone.unfold(last)
    phone.tick(last, 0)

    expect(phone.card(first).locator(".stage")).to_contain_text("Done")
    expect(phone.card(last).locator(".ticked")).to_have_count(1)

    # 07:40: signal again.
    clock.is_("07:40")
    before = phone.places()
    phone.have_signal()
    phone.sent()
    assert phone.places() == pytest.approx(before, abs=1)
    expect(phone.bar).to_contain_text("cancelled at 07:25")
    expect(phone.bar).to_contain_text("It is kept as a note.")
    presses = list(Press.objects.order_by("pk"))
    assert [one.number for one in presses] == sorted(one.number for one in presses)
    assert len({one.uid for one in presses}) == len(presses) == steps + 3
    assert [one.outcome for one in presses] == ["taken"] * (steps + 2) + ["kept"]
    assert abs(presses[0].pressed_at - at("07:10")) < timedelta(minutes=1)

    # What she did counts in the plan that came after it.
    now = DayPlan.objects.get(date=SATURDAY, state="published")
    done = now.changeovers.get(lesson=first.lesson)
    assert done.plan_id != first.plan_id
    assert abs(done.started_at - at("07:10")) < timedelta(minutes=1)
    assert abs(done.done_at - at("07:25")) < timedelta(minutes=1)
    assert done.note == "A piece is broken: two cups broken"
    assert Standing.objects.get(line=first.line).as_of_at == done.done_at

    # The manager and the instructor see it.
    manager = AccountFactory(manager=True, person=None)
    desk, _ = sign_in(chromium, live_server, DESK, manager)
    desk.goto(f"{live_server.url}/day/{SATURDAY}/")
    expect(desk.locator("main")).to_contain_text("two cups broken")
    expect(desk.locator("main")).to_contain_text(re.compile("Done 07:2[45]"))
    expect(desk.locator("main")).to_contain_text("kept as a note: 1")
    teacher = AccountFactory(person=first.lesson.instructor.person)
    inside, _ = sign_in(chromium, live_server, DESK, teacher)
    inside.goto(f"{live_server.url}/day/{SATURDAY}/")
    expect(inside.locator("main")).to_contain_text("two cups broken")
    expect(inside.locator("main")).to_contain_text(re.compile("Done 07:2[45]"))

    # She takes up the new list: what is off is not on it, what is done stays done.
    phone.bar.get_by_text("Changed since you looked").click()
    phone.page.get_by_role("button", name="Take up the new list").click()
    expect(phone.card(done).locator(".stage")).to_have_text(re.compile("Done 07:2[45]"))
    assert sideways(phone.page) <= 0

    # On Sunday the list of Saturday is still open, and somebody ticks it.
    sunday = at("08:00") + timedelta(days=1)
    clock.now = sunday
    phone.context.clock.set_system_time(sunday - SLOW)
    later = page_of(phone, 1)
    phone.tick(later, 0)
    phone.heard("out")
    assert Press.objects.count() == len(presses)
    phone.close()
    desk.context.close()
    inside.context.close()
    assert timezone.localdate() > SATURDAY
