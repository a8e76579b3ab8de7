"""Finding a time for a lesson that might be booked; nothing is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from exercises.convert import spec_of
from exercises.geometry.data import element_as_data
from exercises.geometry.fitting import UnableToFit, fit_row
from exercises.geometry.strides import Tradition
from exercises.models import ExerciseRevision
from scheduling.convert import (
    Data,
    day_document,
    forbidden_times,
    moment,
    new_lesson,
)
from scheduling.dayplan.day import clock
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.marginal import Offer, Offers, marginal_costs
from scheduling.queries import DayRows, day_rows, key_of
from school.convert import horse_size
from school.models import Arena, Horse, Instructor, Rider


class UnableToFind(ValueError):
    """Why no time can be looked for, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True, slots=True)
class Wish:
    """A lesson that might be booked: whose, how long, and with which grid."""

    minutes: int
    instructor: Instructor
    riders: Sequence[Rider] = ()
    horses: Sequence[Horse] = ()
    exercise: ExerciseRevision | None = None
    but: int | None = None


@dataclass(frozen=True, slots=True)
class FreeSlot:
    """A start and arena that are free, and the seconds of reset they add."""

    starts_at: datetime
    arena: Arena
    added_s: int

    @property
    def added_min(self) -> int:
        """Added minutes, a begun one counted whole; below 0 it saves some."""
        return -(-self.added_s // 60)

    @property
    def saved_min(self) -> int:
        """Saved minutes, only whole ones counted."""
        return -self.added_s // 60


def find_slots(*, date: date, wish: Wish, now: datetime) -> list[FreeSlot]:
    """Return the free slots of a day, the least added reset first.

    The day's other lessons stay where they are. Raises UnableToFind where the grid
    fits no horse, or the day as booked is not possible itself.
    """
    rows = day_rows(date)
    exercise = wish.exercise
    grid = None if exercise is None else _grid(rows, wish, exercise)
    document = day_document(rows)
    if wish.but is not None:
        own = f"lesson-{wish.but}"
        document["lessons"] = [x for x in document["lessons"] if x["id"] != own]
    lesson = new_lesson(
        rows,
        minutes=wish.minutes,
        people=[wish.instructor.pk, *(one.pk for one in wish.riders)],
        horses=[one.pk for one in wish.horses],
        grid=grid,
    )
    try:
        offers = marginal_costs(document, lesson)
    except InvalidDay as error:
        raise UnableToFind(f"No time can be looked for: {error}.") from error
    if offers.reset_s is None:
        raise UnableToFind(
            "The day as it is booked keeps no plan, so what a lesson would add can't "
            "be said. Order the day first."
        )
    return _free(rows, wish, offers, now)


def _free(rows: DayRows, wish: Wish, offers: Offers, now: datetime) -> list[FreeSlot]:
    arenas = {one.pk: one for one in rows.arenas}
    taken = forbidden_times(rows, wish.instructor.pk, [one.pk for one in wish.horses])
    found = []
    for one in offers.slots:
        start, end = one.start_min, one.start_min + wish.minutes
        if one.added_s is None or any(a < end and start < b for a, b in taken):
            continue
        slot = _slot(rows, arenas, one, one.added_s)
        if slot.starts_at >= now:
            found.append(slot)
    return sorted(found, key=lambda one: (one.added_s, one.starts_at, one.arena.name))


def _slot(
    rows: DayRows, arenas: dict[int, Arena], offer: Offer, added_s: int
) -> FreeSlot:
    starts_at = moment(rows, clock(offer.start_min))
    return FreeSlot(starts_at, arenas[key_of(offer.arena)], added_s)


def _grid(rows: DayRows, wish: Wish, exercise: ExerciseRevision) -> Data:
    """Return the grid as it would be fitted to the horses, in the day file's form."""
    spec = spec_of(exercise)
    use = Tradition(rows.school.tradition)
    try:
        row = fit_row(spec, [horse_size(one) for one in wish.horses], use)
    except UnableToFit as error:
        raise UnableToFind(f"The grid can't be fitted: {error}.") from error
    return {
        "start": [element_as_data(one) for one in row.start],
        "end": [element_as_data(one) for one in row.end],
        "approach_cm": spec.approach_cm,
        "runout_cm": spec.runout_cm,
        "may_mirror": True,
    }
