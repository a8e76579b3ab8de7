"""What else is booked at a time."""

from collections.abc import Iterable
from datetime import datetime
from functools import cached_property

from school.enums import HOLDING_STATES, RideState
from school.models import Lesson, Ride


class Meanwhile:
    """The lessons that touch a time: read once, however many are looked for in them.

    One query, and another where it is asked who rides.
    """

    def __init__(
        self, starts_at: datetime, ends_at: datetime, *, but: Iterable[int] = ()
    ) -> None:
        self._times = starts_at, ends_at
        self._but = list(but)

    @cached_property
    def lessons(self) -> list[Lesson]:
        """The lessons, by their start."""
        starts_at, ends_at = self._times
        return list(
            Lesson.objects.filter(
                state__in=HOLDING_STATES, starts_at__lt=ends_at, ends_at__gt=starts_at
            )
            .exclude(pk__in=self._but)
            .order_by("starts_at", "pk")
        )

    @cached_property
    def _riders(self) -> set[tuple[int, int]]:
        if not self.lessons:
            return set()
        rides = Ride.objects.filter(lesson__in=self.lessons, state=RideState.BOOKED)
        return set(rides.values_list("lesson_id", "rider_id"))

    def in_arena(self, arena_id: int) -> Lesson | None:
        """Return the first lesson in an arena."""
        return next((one for one in self.lessons if one.arena_id == arena_id), None)

    def with_person(self, person_id: int) -> Lesson | None:
        """Return the first lesson that somebody teaches, or else rides in."""
        taught = (one for one in self.lessons if one.instructor_id == person_id)
        ridden = (one for one in self.lessons if (one.pk, person_id) in self._riders)
        return next(taught, None) or next(ridden, None)
