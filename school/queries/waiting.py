from datetime import datetime, timedelta

from django.db.models import Count, F, Prefetch, Q

from school.enums import (
    ConsentKind,
    LessonKind,
    LessonState,
    RideState,
    WishState,
)
from school.models import Consent, Lesson, Occupancy, Ride, RiderStop, WaitingWish

LONGEST_KEY = 15
AHEAD = timedelta(days=14)
"""So far ahead places are looked at."""

TO_BE_HAD = (LessonState.BOOKED, LessonState.CONFIRMED)
SEVERAL = (LessonKind.GROUP, LessonKind.SHARED, LessonKind.LEAD_REIN)


def open_wishes() -> list[WaitingWish]:
    """Return every wish that waits, the longest first, with all it is judged by."""
    return list(
        WaitingWish.objects.filter(state=WishState.OPEN)
        .select_related("rider__person", "rider__client__person", "instead_of")
        .prefetch_related(
            "offers",
            "rider__likings",
            Prefetch(
                "rider__stops",
                RiderStop.objects.filter(lifted_at=None),
                to_attr="open_stops",
            ),
            Prefetch(
                "rider__consents",
                Consent.objects.filter(kind=ConsentKind.RIDING),
                to_attr="riding_consents",
            ),
        )
        .order_by("made_at", "pk")
    )


def free_places(first: datetime, last: datetime) -> list[Lesson]:
    """Return the lessons for several riders that have a place left, by start."""
    return list(
        Lesson.objects.filter(
            starts_at__gt=first,
            starts_at__lt=last,
            state__in=TO_BE_HAD,
            kind__in=SEVERAL,
        )
        .annotate(taken=Count("rides", filter=Q(rides__state=RideState.BOOKED)))
        .filter(taken__lt=F("places"))
        .select_related("arena", "instructor__person")
        .prefetch_related(Prefetch("rides", Ride.objects.select_related("rider")))
        .order_by("starts_at", "pk")
    )


def lesson_with_place(pk: int) -> Lesson | None:
    """Return a lesson with how many of its places are taken."""
    return (
        Lesson.objects.filter(pk=pk)
        .annotate(taken=Count("rides", filter=Q(rides__state=RideState.BOOKED)))
        .select_related("arena", "instructor__person")
        .prefetch_related(Prefetch("rides", Ride.objects.select_related("rider")))
        .first()
    )


def held_between(
    first: datetime, last: datetime
) -> list[tuple[str, int, datetime, datetime | None, int | None]]:
    """Return which horses and people are held, from when to when, by which lesson."""
    return list(
        Occupancy.objects.filter(what__in=["horse", "person"], taken_from__lt=last)
        .filter(Q(taken_to=None) | Q(taken_to__gt=first))
        .values_list("what", "which", "taken_from", "taken_to", "lesson_id")
    )


def open_wish(key: str) -> WaitingWish | None:
    """Return a wish that still waits, by its key as it was sent."""
    if not key.isdecimal() or len(key) > LONGEST_KEY:
        return None
    wishes = WaitingWish.objects.filter(state=WishState.OPEN)
    return wishes.select_related("rider__person").filter(pk=int(key)).first()
