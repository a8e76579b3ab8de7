"""The reset list in the pocket: without signal, on two phones, while plans change."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from io import BytesIO

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import expect

from scheduling.api.resets import PressesView
from scheduling.models import Changeover, ChangeoverMove, DayPlan, Press
from scheduling.services.presses import take_press
from school.models import Account, Lesson
from school.queries.day_links import day_path
from tests.browser.test_pages import PHONE, sideways
from tests.browser.wire import Wire, wire
from tests.clock import ZONE
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, oxer

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def renske() -> Account:
    SchoolFactory()
    person = GroundspersonFactory(person__first_name="Renske").person
    return AccountFactory(person=person)


@pytest.fixture
def today(renske: Account) -> list[Changeover]:
    """Two changeovers of today: for the ponies three steps, for the cobs one."""
    plan = DayPlanFactory(
        state="published",
        date=timezone.localdate(timezone=ZONE),
        published_at=timezone.now(),
    )
    made = []
    for title, hour, fences in (
        ("Pony group", 20, (300, 900, 1500)),
        ("Cobs", 22, (700,)),
    ):
        start = datetime.combine(plan.date, time(hour), tzinfo=ZONE)
        one = ChangeoverFactory(
            plan=plan,
            lesson=LessonFactory(
                title=title, starts_at=start, ends_at=start + timedelta(hours=1)
            ),
            starts_at=start - timedelta(minutes=30),
            ends_at=start - timedelta(minutes=15),
        )
        for n, at_cm in enumerate(fences, start=1):
            ChangeoverMoveFactory(changeover=one, position=n, now=cross(at_cm))
        made.append(one)
    return made


@pytest.fixture
def line(live_server) -> Iterator[Wire]:
    with wire(live_server.url) as laid:
        yield laid


class Phone:
    """A phone on which somebody opened today's list by its link."""

    def __init__(
        self, chromium, line: Wire, account: Account, clock: datetime | None = None
    ) -> None:
        self.line = line
        self.context = chromium.new_context(viewport=PHONE)
        if clock is not None:
            self.context.clock.set_system_time(clock)
            # Only the page's clock can be set; the worker's would be another's.
            self.context.add_init_script(
                "delete ServiceWorkerRegistration.prototype.sync"
            )
        self.page = self.context.new_page()
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        today = timezone.localdate(timezone=ZONE)
        self.page.goto(line.url + day_path(account, today))
        self.page.get_by_role("button", name="Open the list").click()
        self.bar = self.page.locator("#reset-bar")
        self.ready()

    def ready(self) -> None:
        """Wait until the list would open without signal."""
        self.heard("good")
        expect(self.bar).to_contain_text("This list opens without signal.")

    def heard(self, signal: str) -> None:
        expect(self.bar).to_have_attribute("data-signal", signal)

    def sent(self) -> None:
        expect(self.bar).to_have_attribute("data-waiting", "0")
        self.heard("good")

    def lose_signal(self) -> None:
        self.line.cut()
        self.context.set_offline(True)

    def have_signal(self) -> None:
        self.line.mend()
        self.context.set_offline(False)

    def card(self, one: Changeover):
        return self.page.locator(f"#changeover-{one.pk}")

    def unfold(self, one: Changeover) -> None:
        work = self.card(one).locator(".the-work")
        if work.get_attribute("open") is None:
            work.locator("summary").first.click()

    def tick(self, one: Changeover, place: int) -> None:
        self.unfold(one)
        self.card(one).locator("button.tick").nth(place).click()

    def ticked(self, one: Changeover) -> list[bool]:
        return (
            self.card(one)
            .locator("button.tick")
            .evaluate_all(
                "all => all.map(one => one.getAttribute('aria-pressed') === 'true')"
            )
        )

    def press(self, one: Changeover, name: str) -> None:
        self.card(one).get_by_role("button", name=name, exact=True).click()

    def places(self) -> list[float]:
        """Where each line to press is on the screen."""
        return self.page.locator("#reset-list button.tick").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect().top)"
        )

    def close(self) -> None:
        assert self.errors == []
        self.context.close()


def test_a_day_without_signal_is_sent_in_order_and_once(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    ponies, cobs = today
    phone = Phone(chromium, line, renske)
    phone.lose_signal()

    phone.press(ponies, "Start")
    phone.tick(ponies, 0)
    phone.tick(ponies, 1)
    phone.heard("cut")
    expect(phone.bar).to_contain_text("No signal. 3 presses are kept here")

    # The page is closed and opened anew, still without signal.
    phone.page.reload()
    expect(phone.bar).to_have_attribute("data-waiting", "3")
    assert phone.ticked(ponies) == [True, True, False]
    phone.card(ponies).get_by_text("Trouble, or not this way?").click()
    phone.card(ponies).get_by_label("A piece is broken").check()
    phone.card(ponies).get_by_label("In a few words").fill("two cups broken")
    phone.press(ponies, "Tell the instructor and the manager")
    phone.press(ponies, "Done")
    phone.tick(cobs, 0)
    expect(phone.card(cobs).locator(".stage")).to_have_text("Now")
    assert not Press.objects.exists()
    assert sideways(phone.page) <= 0

    phone.have_signal()
    phone.sent()
    taken = list(Press.objects.order_by("pk"))
    assert [one.does for one in taken] == [
        "start", "tick", "tick", "trouble", "done", "tick",
    ]  # fmt: skip
    assert [one.number for one in taken] == sorted(one.number for one in taken)
    assert {one.outcome for one in taken} == {"taken"}
    ponies.refresh_from_db()
    assert ponies.note == "A piece is broken: two cups broken"
    assert ponies.done_at > ponies.started_at

    # Nothing is sent again.
    phone.page.reload()
    phone.sent()
    assert Press.objects.count() == 6
    assert phone.ticked(cobs) == [True]
    phone.close()


def test_an_answer_lost_on_the_way_makes_no_second_tick(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    line.losing = b"POST /api/presses/"
    phone.tick(today[0], 0)
    phone.heard("cut")
    expect(phone.bar).to_have_attribute("data-waiting", "1")
    assert Press.objects.count() == 1

    line.losing = b""
    phone.context.set_offline(True)
    phone.context.set_offline(False)
    phone.sent()

    assert Press.objects.count() == 1
    assert sum(one.startswith(b"POST /api/presses/") for one in line.asked) > 1
    phone.close()


def test_two_phones_on_one_list_agree(
    chromium, live_server, renske: Account, today: list[Changeover]
) -> None:
    ponies, _ = today
    okke = AccountFactory(person=GroundspersonFactory(person__first_name="Okke").person)
    with wire(live_server.url) as first, wire(live_server.url) as second:
        one, two = Phone(chromium, first, renske), Phone(chromium, second, okke)
        one.lose_signal()
        one.tick(ponies, 0)
        one.tick(ponies, 1)
        two.tick(ponies, 1)
        two.tick(ponies, 2)
        two.sent()

        one.have_signal()
        one.sent()
        expect(one.bar).to_contain_text("Okke ticked it at")
        two.page.evaluate("dispatchEvent(new Event('online'))")
        expect(two.card(ponies).locator(".ticked")).to_have_count(3)
        expect(one.card(ponies).locator(".ticked")).to_have_count(3)

        by = sorted(m.ticked_by.username for m in ponies.moves.all())
        assert by == sorted([renske.username, okke.username, okke.username])
        one.close()
        two.close()


def test_a_plan_changed_meanwhile_says_so_and_moves_nothing(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    ponies, cobs = today
    phone = Phone(chromium, line, renske)
    phone.tick(ponies, 1)
    phone.sent()
    phone.lose_signal()
    phone.tick(ponies, 0)
    phone.tick(cobs, 0)
    phone.heard("cut")
    before = phone.places()
    new_ponies = ordered_anew(today)

    phone.have_signal()
    phone.sent()

    # Every line stands where it stood; what changed is said.
    assert phone.places() == pytest.approx(before, abs=1)
    expect(phone.bar).to_contain_text("Changed since you looked")
    expect(phone.card(ponies).locator(".stage")).to_contain_text("changed since")
    assert phone.ticked(ponies) == [True, True, False]
    expect(phone.card(cobs).locator(".stage")).to_have_text("Nothing to do any more")
    expect(phone.bar).to_contain_text("Cobs was cancelled at")
    expect(phone.bar).to_contain_text("It is kept as a note.")
    phone.bar.get_by_text("Changed since you looked").click()
    expect(phone.bar).to_contain_text("New step: Build an oxer")
    assert sideways(phone.page) <= 0

    # Taken up, the list is the new one, with the ticks that still hold.
    phone.page.get_by_role("button", name="Take up the new list").click()
    expect(phone.card(new_ponies)).to_contain_text("Changed at")
    assert phone.ticked(new_ponies) == [True, True, False]
    expect(phone.page.get_by_text("kept as a note: 1")).to_be_visible()
    phone.close()


def ordered_anew(today: list[Changeover]) -> Changeover:
    """Give the ponies an oxer for their first fence, and cancel the cobs."""
    ponies, cobs = today
    old = ponies.plan
    Lesson.objects.filter(pk=cobs.lesson_id).update(
        state="cancelled", state_reason="rain", state_at=timezone.now()
    )
    DayPlan.objects.filter(pk=old.pk).update(state="replaced")
    plan = DayPlanFactory(state="published", date=old.date, published_at=timezone.now())
    later = timedelta(minutes=5)
    new = ChangeoverFactory(
        plan=plan,
        lesson=ponies.lesson,
        line=ponies.line,
        uid=ponies.uid,
        starts_at=ponies.starts_at + later,
        ends_at=ponies.ends_at + later,
    )
    kept = ChangeoverMove.objects.get(changeover=ponies, position=2).ticked_at
    ChangeoverMoveFactory(changeover=new, position=1, now=oxer(300))
    ChangeoverMoveFactory(changeover=new, position=2, now=cross(900), ticked_at=kept)
    ChangeoverMoveFactory(changeover=new, position=3, now=cross(1500))
    return new


def test_a_phone_whose_clock_is_hours_wrong_tells_the_right_moment(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    phone.context.clock.set_system_time(timezone.now() - timedelta(hours=7))
    phone.page.reload()
    phone.sent()
    phone.tick(today[0], 0)
    phone.sent()

    assert abs(Press.objects.get().pressed_at - timezone.now()) < timedelta(minutes=1)
    phone.close()


def test_a_signed_out_phone_keeps_what_was_pressed_until_its_next_link(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    phone.context.clear_cookies()
    phone.tick(today[0], 0)
    phone.heard("out")
    expect(phone.bar).to_contain_text("scan today's code")

    phone.page.goto(line.url + day_path(renske, today[0].plan.date))
    phone.page.get_by_role("button", name="Open the list").click()
    phone.sent()

    assert Press.objects.get().outcome == "taken"
    phone.close()


def test_a_photo_taken_without_signal_is_sent_after_its_words(
    chromium, line: Wire, renske: Account, today: list[Changeover], settings, tmp_path
) -> None:
    settings.PHOTO_DIR = tmp_path
    file = BytesIO()
    Image.new("RGB", (2400, 1200), "brown").save(file, "JPEG")
    phone = Phone(chromium, line, renske)
    phone.lose_signal()
    card = phone.card(today[0])
    card.get_by_text("Trouble, or not this way?").click()
    card.get_by_label("Not this way").check()
    card.get_by_label("A photo").set_input_files(
        {"name": "cups.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}
    )
    phone.press(today[0], "Tell the instructor and the manager")
    expect(phone.bar).to_contain_text("2 presses are kept here")

    phone.have_signal()
    phone.sent()

    assert [one.does for one in Press.objects.order_by("pk")] == ["trouble", "photo"]
    (kept,) = tmp_path.iterdir()
    with Image.open(kept) as photo:
        assert photo.size == (1600, 800)
    phone.page.reload()
    phone.card(today[0]).get_by_role("link", name="Photo").click()
    expect(phone.page.locator("img")).to_be_visible()
    phone.close()


def test_a_changeovers_picture_opens_without_signal_too(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    phone.lose_signal()
    phone.card(today[0]).get_by_text("Before and after, drawn").click()
    expect(phone.card(today[0]).locator(".changeover-picture svg")).to_be_visible()
    phone.card(today[0]).get_by_role("link", name="On a page of its own").click()
    expect(phone.page.locator(".changeover-picture svg")).to_be_visible()

    phone.page.goto(f"{line.url}/resets/today/")
    expect(phone.card(today[0])).to_be_visible()
    phone.page.goto(f"{line.url}/changeovers/{today[0].pk + 999}/")
    expect(phone.page.locator("body")).to_contain_text("was not opened here before")
    phone.close()


def test_without_a_script_the_list_is_worked_by_forms(
    chromium, live_server, renske: Account, today: list[Changeover]
) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(live_server.url + day_path(renske, today[0].plan.date))
    page.get_by_role("button", name="Open the list").click()
    card = page.locator(f"#changeover-{today[0].pk}")
    card.get_by_role("button", name="Start", exact=True).click()
    card.locator("button.tick").first.click()
    card.get_by_role("button", name="Done", exact=True).click()

    expect(card.locator(".stage")).to_contain_text("Done")
    assert [one.does for one in Press.objects.order_by("pk")] == [
        "start", "tick", "done",
    ]  # fmt: skip
    expect(page.locator("#reset-bar")).to_be_hidden()
    context.close()


def one_more(today: list[Changeover], title: str) -> Changeover:
    """Add a changeover to the end of today's list."""
    last = today[-1]
    made = ChangeoverFactory(
        plan=last.plan,
        lesson=LessonFactory(title=title, starts_at=last.lesson.ends_at),
        starts_at=last.ends_at + timedelta(hours=1),
        ends_at=last.ends_at + timedelta(hours=1, minutes=5),
    )
    ChangeoverMoveFactory(changeover=made, position=1, now=cross(1100))
    today.append(made)
    return made


def is_open(phone: Phone, one: Changeover) -> bool:
    work = phone.card(one).locator(".the-work")
    return work.get_attribute("open") is not None


def test_now_and_next_are_open_and_what_comes_later_opens_out_of_sight(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    ponies, cobs = today
    one_more(today, "Adults")
    children = one_more(today, "Children")
    phone = Phone(chromium, line, renske)
    assert [is_open(phone, one) for one in today] == [True, True, False, False]
    phone.card(ponies).get_by_role("button", name="Done", exact=True).focus()
    before = phone.card(ponies).locator("button.tick").first.bounding_box()

    phone.press(ponies, "Done")
    phone.sent()

    # The next but one lay below the screen and is open now; nothing in sight moved.
    assert [is_open(phone, one) for one in today] == [True, True, True, False]
    after = phone.card(ponies).locator("button.tick").first.bounding_box()
    assert after == pytest.approx(before, abs=1)

    # In sight nothing opens by itself.
    phone.card(children).evaluate("one => one.scrollIntoView({block: 'center'})")
    phone.page.evaluate(
        "pk => document.querySelector(`#changeover-${pk} [data-press=done]`)"
        ".requestSubmit()",
        cobs.pk,
    )
    phone.sent()
    assert not is_open(phone, children)

    # Opened anew, what is finished is folded.
    phone.page.reload()
    phone.ready()
    assert [is_open(phone, one) for one in today] == [False, False, True, True]
    phone.close()


def test_the_list_is_worked_by_the_keyboard_alone(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    keys = phone.page.keyboard
    phone.card(today[0]).locator(".the-work > summary").focus()
    order = []
    for _ in range(8):
        keys.press("Tab")
        order.append(
            phone.page.evaluate(
                "document.activeElement.innerText.split('\\n')[0].trim()"
            )
        )

    # In the order in which the work is done; what is folded holds nobody up.
    assert order[0] == "Before and after, drawn"
    assert [words.startswith("Build a cross") for words in order[1:4]] == [True] * 3
    assert order[4:7] == ["Start", "Done", "Trouble, or not this way?"]
    phone.card(today[0]).locator("button.tick").first.focus()
    keys.press("Space")
    phone.sent()
    assert phone.ticked(today[0])[0]
    phone.close()


def test_everything_to_press_is_as_large_as_a_thumb(
    chromium, line: Wire, renske: Account, today: list[Changeover]
) -> None:
    phone = Phone(chromium, line, renske)
    phone.page.evaluate(
        "document.querySelectorAll('details').forEach(one => { one.open = true; })"
    )

    # The links within a sentence are left out, as WCAG 2.2, 2.5.8 leaves them out;
    # 44 CSS pixels are its 2.5.5 (both from memory).
    small = phone.page.locator(
        "main button, main summary, main nav a, .drawn a, .tick-field label"
    ).evaluate_all(
        "all => all.filter(one => one.checkVisibility()"
        " && one.getBoundingClientRect().height < 44).map(one => one.innerText)"
    )
    assert small == []
    phone.close()


def test_a_press_that_always_fails_is_set_aside_and_the_rest_goes_on(
    chromium, line: Wire, renske: Account, today: list[Changeover], monkeypatch
) -> None:
    def take(*, sent, by, now):
        if sent.does == "untick":
            raise RuntimeError("a fault of the server's")
        return take_press(sent=sent, by=by, now=now)

    monkeypatch.setattr("scheduling.api.resets.take_press", take)
    phone = Phone(chromium, line, renske)
    phone.tick(today[0], 0)
    phone.sent()
    phone.tick(today[0], 0)
    phone.tick(today[0], 1)
    # Sent again by the page's own clock too, so it may be set aside before the last.
    for _ in range(8):
        phone.page.evaluate("dispatchEvent(new Event('online'))")
        phone.page.wait_for_timeout(300)

    phone.sent()
    expect(phone.bar).to_contain_text("It is kept as a note")
    assert [one.does for one in Press.objects.order_by("pk")] == [
        "tick", "untick", "tick",
    ]  # fmt: skip
    assert Press.objects.get(outcome="kept").does == "untick"
    phone.close()


def test_what_the_server_can_not_even_read_is_said_on_the_phone_in_the_end(
    chromium, line: Wire, renske: Account, today: list[Changeover], monkeypatch
) -> None:
    def post(self, request):
        if b'"trouble"' in request._request.body:
            raise RuntimeError("a fault of the server's")
        return whole(self, request)

    whole = PressesView.post
    monkeypatch.setattr(PressesView, "post", post)
    phone = Phone(chromium, line, renske)
    phone.card(today[0]).get_by_text("Trouble, or not this way?").click()
    phone.card(today[0]).get_by_label("In a few words").fill("two cups broken")
    phone.press(today[0], "Tell the instructor and the manager")
    phone.tick(today[0], 0)
    for _ in range(12):
        phone.page.evaluate("dispatchEvent(new Event('online'))")
        phone.page.wait_for_timeout(300)

    phone.sent()
    expect(phone.bar).to_contain_text("Tell the manager.")
    expect(phone.bar).to_contain_text("two cups broken")
    assert [one.does for one in Press.objects.all()] == ["tick"]
    phone.close()
