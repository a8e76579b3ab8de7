"""A place given back and offered to who waits, on the manager's phone."""

from datetime import datetime, time, timedelta

import pytest
from django.utils import timezone

from school.models import OutboxMessage, WaitingOffer
from school.queries.links import page_url
from tests.browser.test_pages import DESK, sideways, sign_in
from tests.clock import ZONE
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingWishFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NARROW = {"width": 360, "height": 740}


@pytest.fixture
def full():
    """A group of one place that is taken, in eight days; a horse is free then."""
    SchoolFactory()
    HorseFactory(name="Juniper", weight_kg=600)
    day = timezone.localdate() + timedelta(days=8)
    lesson = LessonFactory(
        kind="group",
        places=1,
        title="Small group",
        starts_at=datetime.combine(day, time(10), tzinfo=ZONE),
    )
    RideFactory(lesson=lesson, rider__person__first_name="Wout")
    return lesson


def waits(name: str, **more: object):
    wishes = {"weekday": None, "from_at": time(9), "to_at": time(12)}
    return WaitingWishFactory(
        rider__person__first_name=name, **(wishes | {"made_at": timezone.now()} | more)
    )


def of_client(page, live_server, wish) -> None:
    """Open the page of a client's link."""
    path = "/my/" + page_url(wish.rider.client, now=timezone.now()).split("/my/")[1]
    page.goto(f"{live_server.url}{path}")


@pytest.mark.parametrize("size", [NARROW, DESK], ids=["phone", "desk"])
def test_a_place_given_back_goes_to_the_quicker_of_two(
    chromium, live_server, full, size: dict[str, int]
) -> None:
    mira, joep = waits("Mira"), waits("Joep")
    waits("Fenna", work="flat")
    page, errors = sign_in(
        chromium, live_server, size, AccountFactory(manager=True, person=None)
    )
    page.goto(f"{live_server.url}/lessons/{full.pk}/")
    page.get_by_role("link", name="Give the place of Wout back").click()
    page.fill("#id_reason", "Ill")
    page.get_by_role("button", name="Give it back").click()
    page.get_by_text("The place of Wout is given back. It costs nothing.").wait_for()
    page.get_by_role("link", name="Who fits the free place").click()
    page.get_by_text("wishes for flat").wait_for()
    page.get_by_label("Joep").check()
    page.select_option("#hours", "2")
    page.get_by_role("button", name="Offer it to those ticked").click()
    page.get_by_text("Offered to Mira, Joep").wait_for()
    assert page.get_by_text("the offer stands until").count() == 2
    assert sideways(page) <= 0

    client = chromium.new_context(viewport=size).new_page()
    of_client(client, live_server, mira)
    client.get_by_role("button", name="Take it", exact=True).click()
    client.get_by_text("The place is yours").wait_for()
    assert sideways(client) <= 0
    of_client(client, live_server, joep)
    assert client.get_by_role("button", name="Take it", exact=True).count() == 0

    states = WaitingOffer.objects.order_by("wish").values_list("state", flat=True)
    assert list(states) == ["taken", "gone"]
    assert errors == []
    page.context.close()
    client.context.close()


def test_the_limit_passes_and_it_is_offered_again(chromium, live_server, full) -> None:
    full.rides.all().delete()
    wish = waits("Mira")
    page, _ = sign_in(
        chromium, live_server, NARROW, AccountFactory(manager=True, person=None)
    )
    page.goto(f"{live_server.url}/lessons/{full.pk}/waiting/")
    page.get_by_role("button", name="Offer it to those ticked").click()
    page.get_by_text("the offer stands until").wait_for()
    then = timezone.now()
    WaitingOffer.objects.update(made_at=then - timedelta(days=1), ends_at=then)
    of_client(page, live_server, wish)
    assert page.get_by_role("button", name="Take it", exact=True).count() == 0

    page.goto(f"{live_server.url}/lessons/{full.pk}/waiting/")
    page.get_by_text("was offered it and gave no answer by").wait_for()
    page.get_by_role("button", name="Offer it to those ticked").click()
    page.get_by_text("the offer stands until").wait_for()
    assert OutboxMessage.objects.filter(kind="offer").count() == 2
    page.context.close()
