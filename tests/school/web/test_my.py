"""A client's pages by signed link: opening changes nothing, a button does."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    Consent,
    FeedToken,
    Invitation,
    Lesson,
    Ride,
    WaitingWish,
)
from school.queries.links import lesson_url, page_url
from school.services.feeds import make_feed
from school.services.invitations import lesson_changed
from school.services.links import withdraw_links
from tests.clock import NOW, ZONE
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.packs import (
    ConsentFactory,
    LessonPackFactory,
    MakeUpCreditFactory,
)
from tests.factories.people import ClientFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingOfferFactory, WaitingWishFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24)


@pytest.fixture
def browser() -> Browser:
    """A browser that would refuse a form without a token, were one needed."""
    return Browser(enforce_csrf_checks=True)


def booked(hours: float = 72, **changes) -> Ride:
    ride = RideFactory(
        lesson__starts_at=timezone.now() + timedelta(hours=hours),
        rider__person__first_name="Mira",
        **changes,
    )
    RideFactory(lesson=ride.lesson, rider__person__first_name="Otherchild")
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride


def path(url: str) -> str:
    return "/my/" + url.partition("/my/")[2]


def page(ride: Ride) -> str:
    return path(page_url(ride.rider.client, now=timezone.now()))


def lesson(ride: Ride, action: str = "") -> str:
    return path(lesson_url(ride.rider.client, ride.lesson, action=action))


@pytest.mark.parametrize("action", ["", "accept", "cancel", "other-time"])
def test_whoever_opens_every_link_of_a_mail_changes_nothing(
    browser: Browser, action: str
) -> None:
    """Programs that look through mails do (handbook of calendar clients, finding 9)."""
    ride = booked()
    for _ in range(2):
        assert browser.get(lesson(ride, action)).status_code == 200
        assert browser.head(lesson(ride, action)).status_code == 200

    assert Invitation.objects.get(client=ride.rider.client).answer == "NEEDS-ACTION"
    assert Lesson.objects.get().state == "booked"
    assert not WaitingWish.objects.exists()


def test_a_button_accepts_without_an_account_or_a_cookie(browser: Browser) -> None:
    ride = booked()

    response = browser.post(lesson(ride, "accept"))

    assert response.status_code == 302
    assert Invitation.objects.get(client=ride.rider.client).answer == "ACCEPTED"
    assert not browser.cookies
    after = browser.get(response["Location"]).content.decode()
    assert "the school knows that you come" in after


def test_a_button_gives_the_place_back(browser: Browser) -> None:
    ride = booked(lesson__kind="group")

    response = browser.post(lesson(ride, "cancel"), {"ride": [ride.pk]})

    ride.refresh_from_db()
    assert ride.state == "cancelled"
    after = browser.get(response["Location"]).content.decode()
    assert "The place is given back" in after
    assert "not held for you any more" in after


def test_inside_the_notice_hours_the_page_says_so_before_it_takes_it(
    browser: Browser,
) -> None:
    ride = booked(hours=3)

    asked = browser.get(lesson(ride, "cancel")).content.decode()
    refused = browser.post(lesson(ride, "cancel"), {"ride": [ride.pk]})
    ride.refresh_from_db()

    assert "The free time ended" in asked
    assert "gives it back now, it costs the lesson&#x27;s fee" in asked
    assert refused.status_code == 409
    assert ride.state == "booked"
    browser.post(lesson(ride, "cancel"), {"ride": [ride.pk], "late": "known"})
    ride.refresh_from_db()
    assert ride.cancelled_reason == "given back late by the client"
    page = browser.get(lesson(ride)).content.decode()
    assert "given back late by the client; costs the lesson&#x27;s fee" in page


def test_nobody_elses_place_is_given_back_by_a_crafted_form(browser: Browser) -> None:
    ride = booked(lesson__kind="group")
    other = Ride.objects.exclude(pk=ride.pk).get()

    response = browser.post(lesson(ride, "cancel"), {"ride": [other.pk, "x", "٣"]})

    other.refresh_from_db()
    assert response.status_code == 409
    assert other.state == "booked"


def test_another_time_is_a_wish_and_the_lesson_stays(browser: Browser) -> None:
    ride = booked()

    browser.post(
        lesson(ride, "other-time"),
        {
            "rider": ride.rider_id,
            "work": "jumping",
            "weekday": "",
            "from_at": "16:00",
            "to_at": "18:00",
            "note": "<b>after school</b>",
        },
    )

    wish = WaitingWish.objects.get()
    assert (wish.rider, wish.instead_of, wish.weekday) == (
        ride.rider,
        ride.lesson,
        None,
    )
    assert Lesson.objects.get().state == "booked"
    shown = browser.get(page(ride)).content.decode()
    assert "&lt;b&gt;after school&lt;/b&gt;" in shown


@pytest.mark.parametrize(
    "fields",
    [
        {"rider": "999", "work": "jumping", "from_at": "09:00", "to_at": "10:00"},
        {"work": "jumping", "from_at": "11:00", "to_at": "10:00"},
        {"work": "jumping", "from_at": "whenever", "to_at": "10:00"},
    ],
    ids=["somebody-elses-rider", "backwards", "no-time"],
)
@pytest.mark.parametrize("where", ["page", "lesson"])
def test_a_wish_that_makes_no_sense_is_said_to_be_so(
    browser: Browser, fields: dict[str, str], where: str
) -> None:
    ride = booked()
    address = page(ride) + "wishes/" if where == "page" else lesson(ride, "other-time")

    response = browser.post(address, {"rider": ride.rider_id} | fields)

    assert response.status_code == 409
    assert "Not done." in response.content.decode()
    assert not WaitingWish.objects.exists()


def test_a_wish_is_made_and_withdrawn_on_the_page(browser: Browser) -> None:
    ride = booked()
    fields = {"work": "flat", "weekday": "2", "from_at": "09:00", "to_at": "10:00"}
    browser.post(page(ride) + "wishes/", {"rider": ride.rider_id} | fields)
    wish = WaitingWish.objects.get()

    shown = browser.get(page(ride)).content.decode()
    browser.post(f"{page(ride)}wishes/{wish.pk}/withdraw/")

    assert "Wednesdays 09:00 to 10:00" in shown
    wish.refresh_from_db()
    assert wish.state == "withdrawn"


def test_nobody_withdraws_anothers_wish(browser: Browser) -> None:
    ride, wish = booked(), WaitingWishFactory()

    browser.post(f"{page(ride)}wishes/{wish.pk}/withdraw/")

    wish.refresh_from_db()
    assert wish.state == "open"


def test_the_page_shows_the_clients_own_and_nothing_of_others(browser: Browser) -> None:
    ride = booked(rider__person__last_name="Childsurname", rider__health="asthma")
    ride.lesson.title = "Internal title"
    ride.lesson.save()

    shown = browser.get(page(ride)).content.decode()

    assert "Mira: jumping" in shown
    for secret in (
        "Otherchild",
        "Childsurname",
        "asthma",
        "Internal title",
        "intermediate",
    ):
        assert secret not in shown.replace(page(ride), "")


def test_the_page_says_until_when_by_the_clock_and_in_words(browser: Browser) -> None:
    ride = booked(hours=72.5)
    local = (ride.lesson.starts_at - timedelta(hours=24)).astimezone(ZONE)

    shown = " ".join(browser.get(page(ride)).content.decode().split())

    assert "free until <strong>" in shown
    assert f"{local:%A}" in shown
    assert "2 days from now" in shown


def test_who_was_moved_late_reads_why_it_is_free_again(browser: Browser) -> None:
    ride = booked(hours=5)
    ride.lesson.moved_at = timezone.now() - timedelta(minutes=5)
    ride.lesson.save()

    shown = " ".join(browser.get(page(ride)).content.decode().split())

    assert "since we changed the time, free until <strong>it begins</strong>" in shown


def test_a_lessons_link_opens_nothing_but_its_lesson(browser: Browser) -> None:
    ride, other = booked(), None
    other = booked(hours=90, rider=ride.rider)
    token = lesson(ride).split("/")[2]

    answers = [
        browser.get(address).status_code
        for address in (
            f"/my/{token}/",
            f"/my/{token}/lessons/{other.lesson_id}/",
        )
    ] + [browser.post(f"/my/{token}/wishes/").status_code]

    assert answers == [404, 404, 404]


def test_a_clients_link_opens_no_lesson_of_another(browser: Browser) -> None:
    ride, other = booked(), booked(hours=90)

    address = f"{page(ride)}lessons/{other.lesson_id}/"

    assert browser.get(address).status_code == 404
    assert browser.post(f"{address}accept/").status_code == 404


def test_a_closed_link_says_so_and_what_to_do(browser: Browser) -> None:
    ride = booked()
    address = lesson(ride, "accept")
    withdraw_links(client=ride.rider.client, by=None, now=NOW)

    response = browser.post(address)

    assert response.status_code == 404
    assert "Ask the school for a new one" in response.content.decode()
    assert Invitation.objects.get(client=ride.rider.client).answer == "NEEDS-ACTION"


@pytest.mark.parametrize("good", [True, False], ids=["good", "broken"])
def test_an_address_with_a_secret_is_kept_nowhere(browser: Browser, good: bool) -> None:
    address = page(booked()) if good else "/my/broken/"

    response = browser.get(address)

    assert response["Cache-Control"] == "no-store"
    assert response["Referrer-Policy"] == "no-referrer"
    assert response["X-Robots-Tag"] == "noindex"
    assert "Set-Cookie" not in response.headers


def test_a_lesson_that_was_cancelled_says_why(browser: Browser) -> None:
    ride = booked()
    Lesson.objects.update(state="cancelled", state_reason="frost")

    shown = browser.get(lesson(ride)).content.decode()

    assert "cancelled: frost" in shown
    assert "We can" not in shown


def test_a_lesson_that_has_begun_takes_no_answer(browser: Browser) -> None:
    ride = booked(hours=-1)

    response = browser.post(lesson(ride, "accept"))

    assert response.status_code == 409
    assert "Call the school" in response.content.decode()


@pytest.mark.parametrize("n", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    browser: Browser, django_assert_num_queries, n: int
) -> None:
    client = ClientFactory()
    for k in range(n):
        ride = RideFactory(
            rider=RiderFactory(client=client),
            lesson__starts_at=timezone.now() + timedelta(days=k + 1),
        )
        RideFactory(
            rider=ride.rider, lesson__starts_at=timezone.now() - timedelta(days=k + 1)
        )
        WaitingWishFactory(rider=ride.rider)
    address = page(ride)
    browser.get(address)

    with django_assert_num_queries(21):
        browser.get(address)


def test_what_is_paid_in_advance_is_shown_and_what_ends_soon_is_said(
    browser: Browser,
) -> None:
    ride, today = booked(), timezone.localdate()
    client = ride.rider.client
    LessonPackFactory(client=client, expires_date=today + timedelta(days=90))
    MakeUpCreditFactory(client=client, expires_date=today + timedelta(days=7))
    LessonPackFactory(name="Anothers pack", expires_date=today + timedelta(days=90))

    shown = browser.get(page(ride)).content.decode()

    assert "10 of 10 left" in shown
    assert "One lesson to make up" in shown
    assert shown.count("ends soon") == 1
    assert "Anothers pack" not in shown


def test_an_offer_is_taken_with_a_button(browser: Browser) -> None:
    ride = booked()
    lesson_offered = LessonFactory(
        kind="group", starts_at=timezone.now() + timedelta(days=9)
    )
    offer = WaitingOfferFactory(
        wish__rider=ride.rider,
        lesson=lesson_offered,
        made_at=timezone.now(),
        ends_at=timezone.now() + timedelta(days=1),
    )
    shown = browser.get(page(ride)).content.decode()

    response = browser.post(f"{page(ride)}offers/{offer.pk}/take/")

    assert "Offered to you" in shown
    assert "The place is yours" in browser.get(response["Location"]).content.decode()
    assert Ride.objects.filter(lesson=lesson_offered, rider=ride.rider).exists()


def test_an_offer_is_declined_with_a_button(browser: Browser) -> None:
    ride = booked()
    offer = WaitingOfferFactory(
        wish__rider=ride.rider,
        lesson__starts_at=timezone.now() + timedelta(days=9),
        made_at=timezone.now(),
        ends_at=timezone.now() + timedelta(days=1),
    )

    browser.post(f"{page(ride)}offers/{offer.pk}/decline/")

    offer.refresh_from_db()
    assert offer.state == "declined"


def test_nobody_takes_anothers_offer_consent_or_address(browser: Browser) -> None:
    ride, other = booked(), ClientFactory()
    offer = WaitingOfferFactory(
        lesson__starts_at=timezone.now() + timedelta(days=9),
        made_at=timezone.now(),
        ends_at=timezone.now() + timedelta(days=1),
    )
    consent = ConsentFactory()
    feed, _ = make_feed(kind="client", holder=other.person, now=NOW)

    answers = [
        browser.post(f"{page(ride)}offers/{offer.pk}/take/").status_code,
        browser.post(f"{page(ride)}consents/{consent.pk}/renew/").status_code,
        browser.post(f"{page(ride)}calendar/{feed.pk}/withdraw/").status_code,
    ]

    feed.refresh_from_db()
    assert answers == [409, 409, 302]
    assert feed.revoked_at is None
    assert Consent.objects.count() == 1


def test_a_consent_is_renewed_on_the_page(browser: Browser) -> None:
    ride = booked()
    consent = ConsentFactory(rider=ride.rider)

    shown = browser.get(page(ride)).content.decode()
    browser.post(f"{page(ride)}consents/{consent.pk}/renew/")

    assert "Sign again: Photographs, for Mira" in shown
    latest = Consent.objects.latest("given_date")
    assert latest.expires_date > timezone.localdate() + timedelta(days=360)


def test_a_calendar_address_is_tapped_copied_or_photographed_and_closed(
    browser: Browser,
) -> None:
    ride = booked()

    made = browser.post(f"{page(ride)}calendar/").content.decode()
    again = browser.get(page(ride)).content.decode()

    feed = FeedToken.objects.get()
    assert 'href="webcal://' in made
    assert "/agenda/client/" in made
    assert "<svg" in made
    assert "/agenda/client/" not in again
    browser.post(f"{page(ride)}calendar/{feed.pk}/withdraw/")
    feed.refresh_from_db()
    assert feed.revoked_at is not None
