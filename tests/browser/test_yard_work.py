"""A harrow on the reset list in the pocket: the same presses, also without signal."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from school.models import YardWork
from tests.browser.test_pages import sideways
from tests.browser.test_reset_list import Phone
from tests.browser.wire import Wire, wire
from tests.clock import ZONE
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import YardWorkFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def line(live_server) -> Iterator[Wire]:
    with wire(live_server.url) as laid:
        yield laid


def harrow(hour: int) -> YardWork:
    day = timezone.localdate(timezone=ZONE)
    starts_at = datetime.combine(day, time(hour), tzinfo=ZONE)
    return YardWorkFactory(date=day, starts_at=starts_at)


def test_a_harrow_started_and_done_without_signal_is_sent_when_it_is_back(
    chromium, line: Wire
) -> None:
    SchoolFactory()
    person = GroundspersonFactory(person__first_name="Renske").person
    work = harrow(21)
    phone = Phone(chromium, line, AccountFactory(person=person))
    card = phone.page.locator(f"#changeover-work-{work.pk}")
    expect(card).to_contain_text("25 min")

    phone.lose_signal()
    card.get_by_role("button", name="Start").click()
    card.get_by_role("button", name="Done").click()
    expect(card.locator(".stage")).to_contain_text("Done")
    phone.have_signal()
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    phone.sent()

    work.refresh_from_db()
    assert work.started_at is not None
    assert work.done_at is not None
    assert timezone.now() - work.done_at < timedelta(minutes=5)
    assert not sideways(phone.page)
    assert phone.errors == []
