"""Places offered to those who wait: whoever answers first has it."""

from datetime import timedelta
from email import message_from_bytes, policy

import pytest
from django.core import mail

from school.enums import OfferState, RideState, WishState
from school.models import OutboxMessage, Ride
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.services.messages import deliver_due
from school.services.offers import decline_offer, offer_place, take_offer
from school.services.refusals import UnableToBook
from school.services.rides import add_ride
from tests.clock import NOW
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingOfferFactory, WaitingWishFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24)


def group(places: int = 2):
    return LessonFactory(kind="group", places=places)


def offered(**changes):
    fields = {"wish": WaitingWishFactory(), "lesson": group(), "by": None, "now": NOW}
    return offer_place(**(fields | changes))


def test_an_offer_is_written_to_the_client_and_names_their_rider() -> None:
    offer = offered(wish=WaitingWishFactory(rider__person__first_name="Mira"))
    deliver_due(now=NOW)

    message = OutboxMessage.objects.get(kind="offer")
    assert message.state == "sent"
    assert message.subject.startswith("A place for Mira: Sat 6 Mar 09:00")
    assert offer.ends_at == NOW + timedelta(hours=24)


def test_the_mail_of_an_offer_says_until_when_it_stands() -> None:
    offered(hours=2)
    deliver_due(now=NOW)

    raw = mail.outbox[0].message().as_bytes()
    text = message_from_bytes(raw, policy=policy.default).get_body(("plain",))
    assert "Take it or leave it by Monday 1 March, 14:00:" in text.get_content()


def test_an_offer_ends_when_the_lesson_begins() -> None:
    lesson = group()

    offer = offered(lesson=lesson, now=lesson.starts_at - timedelta(hours=3))

    assert offer.ends_at == lesson.starts_at


def test_the_same_offer_twice_is_one() -> None:
    one = offered()

    assert offer_place(wish=one.wish, lesson=one.lesson, by=None, now=NOW) == one
    assert OutboxMessage.objects.filter(kind="offer").count() == 1


def test_taking_an_offer_books_the_rider_and_meets_the_wish() -> None:
    offer = offered()

    ride = take_offer(offer=offer, now=NOW)

    assert (ride.rider, ride.state) == (offer.wish.rider, RideState.BOOKED)
    offer.wish.refresh_from_db()
    assert offer.wish.state == WishState.MET
    assert take_offer(offer=offer, now=NOW) == ride


def test_the_lesson_it_was_instead_of_is_given_back() -> None:
    old = RideFactory(lesson__kind="group")
    lesson_changed(lesson=old.lesson, now=NOW)
    wish = WaitingWishFactory(rider=old.rider, instead_of=old.lesson)
    new = LessonFactory(
        kind="group", starts_at=old.lesson.starts_at + timedelta(days=1)
    )

    take_offer(offer=offered(wish=wish, lesson=new), now=NOW)

    old.refresh_from_db()
    assert old.state == RideState.CANCELLED


def test_the_lesson_it_was_instead_of_is_kept_where_it_would_be_charged() -> None:
    old = RideFactory(lesson__kind="group")
    lesson_changed(lesson=old.lesson, now=NOW)
    wish = WaitingWishFactory(rider=old.rider, instead_of=old.lesson)
    new = LessonFactory(
        kind="group", starts_at=old.lesson.starts_at + timedelta(days=1)
    )
    late = old.lesson.starts_at - timedelta(hours=2)

    take_offer(offer=offered(wish=wish, lesson=new, now=late), now=late)

    old.refresh_from_db()
    assert old.state == RideState.BOOKED


def test_whoever_is_second_is_told_and_stays_on_the_list() -> None:
    lesson = group(places=1)
    first, second = (offered(lesson=lesson) for _ in range(2))
    take_offer(offer=first, now=NOW)

    with pytest.raises(UnableToBook) as caught:
        take_offer(offer=second, now=NOW)

    assert caught.value.code == "full"
    second.wish.refresh_from_db()
    assert second.wish.state == WishState.OPEN
    assert Ride.objects.count() == 1


def test_an_offer_that_ended_is_not_taken() -> None:
    offer = offered()

    with pytest.raises(UnableToBook) as caught:
        take_offer(offer=offer, now=offer.ends_at)

    assert caught.value.code == "lapsed"


def test_a_declined_offer_leaves_the_wish_waiting_and_can_be_made_again() -> None:
    offer = offered()
    for _ in range(2):
        declined = decline_offer(offer=offer, now=NOW)

    assert declined.state == OfferState.DECLINED
    offer.wish.refresh_from_db()
    assert offer.wish.state == WishState.OPEN
    assert offered(wish=offer.wish, lesson=offer.lesson) != offer


def test_an_offer_that_lapsed_is_made_anew() -> None:
    old = WaitingOfferFactory(lesson=group(), ends_at=NOW + timedelta(seconds=1))

    new = offered(wish=old.wish, lesson=old.lesson, now=NOW + timedelta(hours=1))

    old.refresh_from_db()
    assert (old.state, new.state) == (OfferState.DECLINED, OfferState.OPEN)


@pytest.mark.parametrize("why", ["full", "state", "started", "wish", "rider-twice"])
def test_what_can_not_be_offered_is_refused(why: str) -> None:
    wish, lesson, now = WaitingWishFactory(), group(places=1), NOW
    if why == "full":
        RideFactory(lesson=lesson)
    if why == "rider-twice":
        RideFactory(lesson=lesson, rider=wish.rider)
    if why == "state":
        lesson = LessonFactory(state="cancelled", state_reason="storm")
    if why == "started":
        now = lesson.starts_at
    if why == "wish":
        wish = WaitingWishFactory(state="withdrawn")

    with pytest.raises(UnableToBook) as caught:
        offered(wish=wish, lesson=lesson, now=now)

    assert caught.value.code == why


def test_the_losing_offers_are_closed_when_the_last_place_goes_and_told() -> None:
    lesson = group(places=1)
    first, second = (offered(lesson=lesson) for _ in range(2))
    deliver_due(now=NOW)

    take_offer(offer=first, now=NOW)
    deliver_due(now=NOW)

    second.refresh_from_db()
    first.refresh_from_db()
    assert (first.state, second.state) == (OfferState.TAKEN, OfferState.GONE)
    message = OutboxMessage.objects.get(kind="offer-gone")
    assert (message.state, message.client) == ("sent", second.wish.rider.client)
    assert message.subject.startswith("No longer free: a place for ")
    second.wish.refresh_from_db()
    assert second.wish.state == WishState.OPEN


def test_an_offer_that_never_went_is_withdrawn_without_a_word() -> None:
    lesson = group(places=1)
    offer = offered(lesson=lesson)

    add_ride(lesson=lesson, rider=RiderFactory(), horse=None, by=None, now=NOW)

    offer.refresh_from_db()
    assert offer.state == OfferState.GONE
    states = set(OutboxMessage.objects.values_list("kind", "state"))
    assert ("offer", "dropped") in states
    assert "offer-gone" not in {kind for kind, _ in states}


def test_offers_stay_open_while_a_place_is_left() -> None:
    lesson = group(places=2)
    first, second = (offered(lesson=lesson) for _ in range(2))

    take_offer(offer=first, now=NOW)

    second.refresh_from_db()
    assert second.state == OfferState.OPEN


def test_a_lesson_that_is_cancelled_closes_its_offers() -> None:
    offer = offered()
    deliver_due(now=NOW)

    cancel_lesson(lesson=offer.lesson, reason="storm", by=None, now=NOW)

    offer.refresh_from_db()
    assert offer.state == OfferState.GONE
    assert OutboxMessage.objects.filter(kind="offer-gone").count() == 1


@pytest.mark.parametrize("why", ["lapsed", "no-address"])
def test_nobody_is_told_who_could_not_answer_any_more(why: str) -> None:
    lesson = group(places=1)
    offer = offered(lesson=lesson, hours=1)
    deliver_due(now=NOW)
    if why == "no-address":
        person = offer.wish.rider.client.person
        person.email = ""
        person.save()

    later = NOW + timedelta(hours=2 if why == "lapsed" else 0)
    add_ride(lesson=lesson, rider=RiderFactory(), horse=None, by=None, now=later)

    offer.refresh_from_db()
    assert offer.state == OfferState.GONE
    assert not OutboxMessage.objects.filter(kind="offer-gone").exists()
