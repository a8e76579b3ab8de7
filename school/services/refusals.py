"""Why a booking is refused, in words a person can act on."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError

from school.queries.schools import school_zone


class UnableToBook(ValueError):
    """A booking that is refused: a code, plain words, and what they speak of.

    One that is `overridable` may be done all the same with a reason; its `details`
    are for those who may see a rider's weight. `of_lesson` is the key of the lesson
    that was asked about, where several are at once.
    """

    def __init__(
        self,
        code: str,
        says: str,
        *,
        overridable: bool = False,
        details: Sequence[str] = (),
        **fields: Any,
    ) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.overridable = overridable
        self.details = tuple(details)
        self.fields = fields
        self.of_lesson: int | None = None


@contextmanager
def asking_of(lesson: int) -> Iterator[None]:
    """Let a refusal know which of several lessons it was asked about."""
    try:
        yield
    except UnableToBook as error:
        error.of_lesson = lesson
        raise


_BY_RULE = {
    "occupancy_no_two_at_once": (
        "taken-meanwhile",
        "Somebody was quicker: the arena, a horse or a person is taken at that time. "
        "Look at the day again and choose another time.",
    ),
    "lesson_places_not_exceeded": (
        "full",
        "The last place went while you were booking. Choose another lesson.",
    ),
    "ride_horse_old_enough": (
        "horse-too-young",
        "The horse has not reached the school's least age on that day.",
    ),
    "ride_rider_not_stopped": (
        "stopped",
        "A rider has been stopped from riding. Look at the rider's page.",
    ),
    "ride_rider_old_enough": (
        "too-young",
        "A rider is too young for this lesson on that day, by the house rules.",
    ),
    "ride_minor_has_consent": (
        "no-consent",
        "A rider is under age, and no guardian's consent holds on that day. Look at "
        "the rider's page.",
    ),
    "ride_never_again_kept": (
        "never-again",
        "A rider is never to ride that horse again: so it is noted. Give another "
        "horse.",
    ),
    "lesson_leaders_not_exceeded": (
        "too-few-leaders",
        "The last of those who lead on foot were booked meanwhile. Choose another "
        "time, or fewer places.",
    ),
    "pack_not_overspent": (
        "pack-used-up",
        "The pack's last lesson went while you were booking. Book it once more.",
    ),
    "term_no_two_at_once": (
        "terms-overlap",
        "Another term has some of these days: two terms never overlap.",
    ),
    "term_break_within_its_term": (
        "break-outside",
        "A break would lie outside its term.",
    ),
    "ride_rider_once_a_lesson": ("rider-twice", "The rider is already in this lesson."),
    "ride_horse_once_a_lesson": ("horse-twice", "The horse is already in this lesson."),
}


def refusal_of(error: IntegrityError) -> UnableToBook:
    """Turn what the database refused into words; unknown refusals are raised."""
    for rule, (code, says) in _BY_RULE.items():
        if rule in str(error):
            return UnableToBook(code, says)
    if "school_ride.lesson_id, school_ride.rider_id" in str(error):
        code, says = _BY_RULE["ride_rider_once_a_lesson"]
        return UnableToBook(code, says)
    raise error


def clock(moment: datetime, zone: ZoneInfo | None = None) -> str:
    """Write a moment as the school's wall clock shows it, "Sat 6 Mar 09:30"."""
    local = moment.astimezone(zone or school_zone())
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def on_day(day: date) -> str:
    """Write a day, "6 March 2027"."""
    return f"{day.day} {day:%B %Y}"


def hour(moment: datetime, zone: ZoneInfo | None = None) -> str:
    """Write the hour of a moment by the school's wall clock, "09:30"."""
    return f"{moment.astimezone(zone or school_zone()):%H:%M}"
