from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, F, Q

from school.enums import LessonKind, LessonState, Level, RideState, WishState
from school.models import Lesson, WaitingWish

AHEAD = timedelta(days=28)
LONGEST_KEY = 15
_ORDER = list(Level.values)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A wish, with the lessons of the next weeks that have a place for it."""

    wish: WaitingWish
    fits: tuple[Lesson, ...]


def waiting_list(now: datetime, zone: ZoneInfo) -> list[Waiting]:
    """Return who waits, the longest first, each with what fits, in three queries.

    A lesson fits if it is shared, has a place left, is of the kind of work and at
    the time wished for, and its instructor teaches the rider's level.
    """
    wishes = (
        WaitingWish.objects.filter(state=WishState.OPEN)
        .select_related("rider__person", "rider__client__person", "instead_of")
        .prefetch_related("offers")
        .order_by("made_at", "pk")
    )
    lessons = list(
        Lesson.objects.filter(
            starts_at__gt=now,
            starts_at__lt=now + AHEAD,
            state__in=[LessonState.BOOKED, LessonState.CONFIRMED],
            kind__in=[LessonKind.GROUP, LessonKind.SHARED],
        )
        .annotate(taken=Count("rides", filter=Q(rides__state=RideState.BOOKED)))
        .filter(taken__lt=F("places"))
        .select_related("arena", "instructor__person")
        .order_by("starts_at", "pk")
    )
    return [Waiting(wish, tuple(_fitting(wish, lessons, zone))) for wish in wishes]


def _fitting(
    wish: WaitingWish, lessons: Iterable[Lesson], zone: ZoneInfo
) -> Iterable[Lesson]:
    level = _ORDER.index(wish.rider.level)
    for lesson in lessons:
        local = lesson.starts_at.astimezone(zone)
        if (
            lesson.work == wish.work
            and wish.weekday in {None, local.weekday()}
            and wish.from_at <= local.time() <= wish.to_at
            and level <= _ORDER.index(lesson.instructor.level)
            and lesson.pk != wish.instead_of_id
        ):
            yield lesson


def open_wish(key: str) -> WaitingWish | None:
    """Return a wish that still waits, by its key as it was sent."""
    if not key.isdecimal() or len(key) > LONGEST_KEY:
        return None
    wishes = WaitingWish.objects.filter(state=WishState.OPEN)
    return wishes.select_related("rider__person").filter(pk=int(key)).first()
