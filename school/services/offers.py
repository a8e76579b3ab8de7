"""Places offered to those who wait for a time."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from school.calendars.told import told_of
from school.enums import (
    LessonState,
    MessageKind,
    OfferState,
    RideState,
    WishState,
)
from school.models import Account, Lesson, Ride, WaitingOffer, WaitingWish
from school.queries.schools import the_school
from school.services.answers import UnableToAnswer, give_back
from school.services.audit import record, snapshot
from school.services.may_ride import check_may_ride
from school.services.offer_ends import offer_key
from school.services.outbox import remind
from school.services.refusals import UnableToBook, clock
from school.services.rides import add_ride

OPEN_HOURS = 24
"""How long an offer stands, unless the lesson begins before."""

LONGEST_HOURS = 168


def offer_place(
    *,
    wish: WaitingWish,
    lesson: Lesson,
    by: Account | None,
    now: datetime,
    hours: int = OPEN_HOURS,
) -> WaitingOffer:
    """Offer a place in a lesson to one who waits, and write to their client.

    The place is held for nobody: whoever answers first has it.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        _check_open(fresh, now)
        check_may_ride([wish.rider], fresh.starts_at, fresh.kind)
        if wish.state != WishState.OPEN:
            raise UnableToBook("wish", "Nobody waits for this any more.")
        taken = fresh.rides.filter(state=RideState.BOOKED)
        if taken.filter(rider=wish.rider).exists():
            raise UnableToBook("rider-twice", "The rider is in this lesson already.")
        if taken.count() >= fresh.places:
            raise UnableToBook("full", f"{fresh.title} is full.")
        known = wish.offers.filter(lesson=fresh, state=OfferState.OPEN).first()
        if known is not None and known.ends_at > now:
            return known
        if known is not None:
            known.state, known.state_at = OfferState.DECLINED, now
            known.save()
        offer = WaitingOffer.objects.create(
            wish=wish,
            lesson=fresh,
            made_at=now,
            made_by=by,
            ends_at=min(now + timedelta(hours=hours), fresh.starts_at),
            state_at=now,
        )
        record(by=by, at=now, action="offer", subject=offer, after=snapshot(offer))
        client = wish.rider.client
        if client.person.email:
            told = told_of(the_school(), fresh, client.pk).as_data()
            remind(
                client=client,
                lesson=fresh,
                once=offer_key(offer),
                told=told
                | {
                    "names": [wish.rider.person.first_name],
                    "until": offer.ends_at.isoformat(),
                },
                now=now,
                kind=MessageKind.OFFER,
            )
        return offer


def offer_places(
    *,
    wishes: Sequence[WaitingWish],
    lesson: Lesson,
    by: Account | None,
    now: datetime,
    hours: int = OPEN_HOURS,
) -> list[WaitingOffer]:
    """Offer one lesson's place to several who wait, all of them or none.

    Whoever answers first has it; the others are told that it is gone.
    """
    if not wishes:
        raise UnableToBook("nobody", "Tick who is to be offered the place.")
    if not 1 <= hours <= LONGEST_HOURS:
        raise UnableToBook(
            "hours", f"An offer stands from 1 to {LONGEST_HOURS} hours.", field="hours"
        )
    with transaction.atomic():
        return [
            offer_place(wish=one, lesson=lesson, by=by, now=now, hours=hours)
            for one in wishes
        ]


def _check_open(lesson: Lesson, now: datetime) -> None:
    if lesson.state not in {LessonState.BOOKED, LessonState.CONFIRMED}:
        raise UnableToBook(
            "state", f"{lesson.title} is {lesson.get_state_display().lower()}."
        )
    if lesson.starts_at <= now:
        raise UnableToBook("started", f"{lesson.title} began.")


def take_offer(*, offer: WaitingOffer, now: datetime) -> Ride:
    """Take an offered place; the wish is met, and what it was instead of given back.

    Raises
    ------
    UnableToBook
        `lapsed`, `full`, or whatever keeps the rider out of the lesson.
    """
    with transaction.atomic():
        # The lesson before its offers, as whoever books does, who then closes them.
        Lesson.objects.select_for_update().get(pk=offer.lesson_id)
        fresh = (
            WaitingOffer.objects.select_for_update(of=("self",))
            .select_related("wish__rider__person", "wish__instead_of", "lesson")
            .get(pk=offer.pk)
        )
        wish, lesson = fresh.wish, fresh.lesson
        if fresh.state == OfferState.TAKEN:
            return Ride.objects.get(lesson=lesson, rider=wish.rider)
        if fresh.state == OfferState.GONE:
            raise UnableToAnswer(
                "full",
                f"Somebody was quicker: the place in {lesson.title} is gone. You stay "
                "on the waiting list.",
            )
        if fresh.state != OfferState.OPEN or fresh.ends_at <= now:
            raise UnableToAnswer(
                "lapsed",
                f"This offer ended at {clock(min(fresh.ends_at, now))}. "
                "You stay on the waiting list.",
            )
        _check_open(lesson, now)
        fresh.state, fresh.state_at = OfferState.TAKEN, now
        fresh.save()
        ride = add_ride(lesson=lesson, rider=wish.rider, horse=None, by=None, now=now)
        wish.state, wish.state_at = WishState.MET, now
        wish.save()
        wish.offers.filter(state=OfferState.OPEN).update(
            state=OfferState.DECLINED, state_at=now
        )
        record(by=None, at=now, action="take offer", subject=fresh)
        _give_back_other(wish, now)
        return ride


def meet_wish(
    *, wish: WaitingWish, lesson: Lesson, by: Account | None, now: datetime
) -> WaitingWish:
    """Note that a lesson was booked for a wish; twice is harmless.

    Its open offers lapse, and what it was instead of is given back. A wish whose
    rider is not in the lesson goes on waiting.
    """
    with transaction.atomic():
        fresh = WaitingWish.objects.select_for_update().get(pk=wish.pk)
        booked = lesson.rides.filter(rider=fresh.rider_id, state=RideState.BOOKED)
        if fresh.state != WishState.OPEN or not booked.exists():
            return fresh
        before = snapshot(fresh)
        fresh.state, fresh.state_at = WishState.MET, now
        fresh.save()
        fresh.offers.filter(state=OfferState.OPEN).update(
            state=OfferState.DECLINED, state_at=now
        )
        record(
            by=by,
            at=now,
            action="meet wish",
            subject=fresh,
            before=before,
            after=snapshot(fresh),
        )
        _give_back_other(fresh, now)
        return fresh


def _give_back_other(wish: WaitingWish, now: datetime) -> None:
    """Give back what the wish was instead of; kept where that would be charged."""
    if wish.instead_of is None:
        return
    rides = wish.instead_of.rides.filter(rider=wish.rider)
    keys = list(rides.values_list("pk", flat=True))
    try:
        give_back(client=wish.rider.client, lesson=wish.instead_of, rides=keys, now=now)
    except UnableToAnswer:
        return


def decline_offer(*, offer: WaitingOffer, now: datetime) -> WaitingOffer:
    """Decline an offered place; the wish goes on waiting. Twice is harmless."""
    with transaction.atomic():
        fresh = WaitingOffer.objects.select_for_update().get(pk=offer.pk)
        if fresh.state == OfferState.OPEN:
            fresh.state, fresh.state_at = OfferState.DECLINED, now
            fresh.save()
            record(by=None, at=now, action="decline offer", subject=fresh)
        return fresh
