"""A day to plan, as checked values: minutes of the day, whole centimetres."""

from collections.abc import Mapping
from dataclasses import dataclass

from exercises.geometry.elements import Piece
from scheduling.changeover.effort import Handling
from scheduling.changeover.setups import GridRow, Place, Setup


@dataclass(frozen=True, slots=True)
class DayLine:
    """A line of an arena, with what stands on it in the morning."""

    id: str
    length_cm: int
    standing: Setup


@dataclass(frozen=True, slots=True)
class DayArena:
    """An arena of the day."""

    id: str
    length_cm: int
    lines: tuple[DayLine, ...]


@dataclass(frozen=True, slots=True)
class DayHorse:
    """A horse's limits: rest between lessons [min], lessons and minutes a day."""

    id: str
    rest_min: int
    max_lessons: int | None
    max_minutes: int | None


@dataclass(frozen=True, slots=True)
class Booked:
    """Where and when a lesson was booked [min of the day]."""

    start_min: int
    arena: str


@dataclass(frozen=True, slots=True)
class FixedPlace:
    """Where a row stands, and may only stand."""

    line: str
    place: Place


@dataclass(frozen=True, slots=True)
class DayLesson:
    """A lesson of the day; times in minutes of the day."""

    id: str
    minutes: int
    arenas: tuple[str, ...]
    not_before_min: int
    not_after_min: int
    booked: Booked | None
    people: tuple[str, ...]
    horses: tuple[str, ...]
    warm_up_min: int
    cool_down_min: int
    grid: GridRow | None
    needs_clear: bool
    place: FixedPlace | None = None

    @property
    def fixed(self) -> bool:
        """Whether its start is fixed; then it is exempt from the raster."""
        return self.not_before_min == self.not_after_min

    def places_on(self, line: DayLine, every_cm: int) -> tuple[Place, ...]:
        """Return where its row may stand on a line; nowhere without a row."""
        if self.grid is None:
            return ()
        if self.place is None:
            return self.grid.places(line.length_cm, every_cm)
        fits = self.grid.fits(line.length_cm, self.place.place)
        return (self.place.place,) if self.place.line == line.id and fits else ()


@dataclass(frozen=True, slots=True)
class Day:
    """A whole day, as the day file describes it."""

    date: str
    zone: str
    opens_min: int
    closes_min: int
    start_every_min: int
    place_every_cm: int
    crew: int
    crew_from_min: int
    crew_to_min: int
    handling: Handling
    stock: Mapping[Piece, int]
    moved_start_s: int
    moved_arena_s: int
    arenas: tuple[DayArena, ...]
    horses: Mapping[str, DayHorse]
    lessons: tuple[DayLesson, ...]

    def starts(self, lesson: DayLesson) -> tuple[int, ...]:
        """Return the starts a lesson may have: in its window and opening hours."""
        if lesson.fixed:
            starts: tuple[int, ...] = (lesson.not_before_min,)
        else:
            every = self.start_every_min
            first = -(-lesson.not_before_min // every) * every
            starts = tuple(range(first, lesson.not_after_min + 1, every))
        return tuple(
            one
            for one in starts
            if self.opens_min <= one and one + lesson.minutes <= self.closes_min
        )


def clock(minutes: int) -> str:
    """Write minutes of the day as a local clock time, "09:30" say."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def minutes_at(written: str) -> int:
    """Read a local clock time as minutes of the day."""
    return int(written[:2]) * 60 + int(written[3:])
