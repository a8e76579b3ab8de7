"""Closes the offers of a lesson that has no place left, and says so."""

from datetime import datetime

from school.calendars.told import told_of
from school.enums import LessonState, MessageKind, MessageState, OfferState, RideState
from school.models import Lesson, OutboxMessage, WaitingOffer
from school.queries.schools import the_school
from school.services.audit import record
from school.services.outbox import remind


def offer_key(offer: WaitingOffer) -> str:
    """Return what the mail of an offer is known by, so that it is written once."""
    return f"offer {offer.pk}"


def close_offers(*, lesson: Lesson, now: datetime) -> int:
    """Close what can't be taken any more; return how many. Twice is harmless.

    Needs the transaction of what filled or cancelled the lesson. Whoever could still
    have answered is written to, unless they ride in it or the offer had not gone yet.
    """
    offers = list(
        WaitingOffer.objects.select_for_update(of=("self",))
        .filter(lesson=lesson, state=OfferState.OPEN)
        .select_related("wish__rider__person", "wish__rider__client__person")
        .order_by("pk")
    )
    if not offers:
        return 0
    riders = set(
        lesson.rides.filter(state=RideState.BOOKED).values_list("rider_id", flat=True)
    )
    held = lesson.state in {LessonState.BOOKED, LessonState.CONFIRMED}
    if held and len(riders) < lesson.places:
        return 0
    for offer in offers:
        offer.state, offer.state_at = OfferState.GONE, now
        offer.save(update_fields=["state", "state_at"])
        record(by=None, at=now, action="close offer", subject=offer)
        if offer.ends_at > now and offer.wish.rider_id not in riders:
            _tell(lesson, offer, now)
    return len(offers)


def _tell(lesson: Lesson, offer: WaitingOffer, now: datetime) -> None:
    client = offer.wish.rider.client
    unsent = OutboxMessage.objects.filter(
        once=offer_key(offer), state=MessageState.WAITING, attempts=0
    )
    if unsent.update(state=MessageState.DROPPED) or not client.person.email:
        return
    told = told_of(the_school(), lesson, client.pk).as_data()
    remind(
        client=client,
        lesson=lesson,
        once=f"gone {offer_key(offer)}",
        told=told | {"names": [offer.wish.rider.person.first_name]},
        now=now,
        kind=MessageKind.OFFER_GONE,
    )
