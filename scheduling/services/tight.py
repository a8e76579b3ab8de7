"""Harrows and lessons that want their arena clear, and leave no time for the fences.

They must come off before, and be built again after. Said where a harrow or a lesson is
booked, since afterwards no order of the day can be found.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from exercises.geometry.data import as_planned
from scheduling.changeover.costs import build_us
from scheduling.changeover.effort import US_PER_S, Handling, handling_from
from scheduling.changeover.evening import strip_seconds
from scheduling.changeover.setups import PlacedElement
from scheduling.dayplan.document import placed_from_data
from school.enums import HOLDING_STATES, Work, YardKind
from school.models import Arena, Lesson, YardWork
from school.queries.schools import local_day, the_school
from school.queries.yard import yard_work_with_all
from school.services.refusals import clock

STRIP_MIN, BUILD_MIN = 12, 20
"""For a lesson over fences whose grid is not known yet: four fences at 3 min each, and
a grid of four built alone (handbook, practice 5: own figures)."""


@dataclass(frozen=True, slots=True)
class _Need:
    """What a lesson needs before or after it: minutes, and whether that is a guess."""

    minutes: int
    guessed: bool


@dataclass(frozen=True, slots=True)
class _Clear:
    """A time in which nothing may stand in an arena: for a harrow, or for a lesson."""

    arena: Arena
    starts_at: datetime
    ends_at: datetime
    lesson: Lesson | None = None


@dataclass(frozen=True, slots=True)
class _Room:
    """A time in which an arena is free; none where it ends before it begins."""

    first: datetime
    last: datetime

    @property
    def minutes(self) -> int:
        return int((self.last - self.first).total_seconds() // 60)


def tight_harrows(works: Iterable[YardWork]) -> list[str]:
    """Say of each harrow which lesson leaves it no time, and until when it lasts."""
    harrows = [_of_harrow(one) for one in works if one.kind == YardKind.HARROW]
    return [it.words() for it in _tight(harrows, _lessons(harrows))]


def tight_at(lesson: Lesson) -> list[str]:
    """Say what of its day a lesson leaves no time to take fences off, or to build.

    A lesson over fences what wants its arena clear; one that wants it clear the fences
    of others.
    """
    day = local_day(lesson.starts_at)
    harrows = yard_work_with_all().filter(
        arena=lesson.arena, date=day, kind=YardKind.HARROW, called_off_at__isnull=True
    )
    here = _Clear(lesson.arena, lesson.starts_at, lesson.ends_at)
    zone = ZoneInfo(the_school().zone)
    lessons = [x for x in _lessons([here]) if _same(x, here, zone)]
    clear = [
        *map(_of_harrow, harrows),
        *(
            _Clear(one.arena, one.starts_at, one.ends_at, one)
            for one in lessons
            if one.needs_clear
        ),
    ]
    return [
        it.words()
        for it in _tight(clear, lessons)
        if lesson.pk == it.lesson.pk
        or (it.clear.lesson is not None and it.clear.lesson.pk == lesson.pk)
    ]


def _of_harrow(work: YardWork) -> _Clear:
    return _Clear(work.arena, work.starts_at, work.ends_at)


def _tight(clear: Sequence[_Clear], lessons: Sequence[Lesson]) -> list["_Between"]:
    if not clear or not lessons:
        return []
    school = the_school()
    handling, zone = handling_from(school.handling), ZoneInfo(school.zone)
    found = []
    for one in clear:
        day = [x for x in lessons if _same(x, one, zone)]
        found += [_off(one, day, handling, zone), _built(one, day, handling, zone)]
    return [it for it in found if it is not None and it.room.minutes < it.need.minutes]


def _off(
    clear: _Clear, day: Sequence[Lesson], handling: Handling, zone: ZoneInfo
) -> "_Between | None":
    """Return what there is between the last fences and what wants them off."""
    ridden: list[Lesson] = []
    for one in reversed([x for x in day if x.ends_at <= clear.starts_at]):
        if one.needs_clear:
            return None
        if _jumps(one):
            begins = one.ends_at - timedelta(minutes=one.cool_down_min)
            room = _longest(begins, clear.starts_at, reversed(ridden))
            return _Between(clear, one, room, _strip(one, handling), zone, off=True)
        ridden.append(one)
    return None


def _built(
    clear: _Clear, day: Sequence[Lesson], handling: Handling, zone: ZoneInfo
) -> "_Between | None":
    """Return what there is between it and the next fences."""
    ridden: list[Lesson] = []
    for one in (x for x in day if x.starts_at >= clear.ends_at):
        if one.needs_clear:
            return None
        if _jumps(one):
            ends = one.starts_at + timedelta(minutes=one.warm_up_min)
            room = _longest(clear.ends_at, ends, ridden)
            return _Between(clear, one, room, _build(one, handling), zone, off=False)
        ridden.append(one)
    return None


def _lessons(clear: Sequence[_Clear]) -> list[Lesson]:
    if not clear:
        return []
    around = timedelta(days=1)
    return list(
        Lesson.objects.filter(
            arena__in={one.arena.pk for one in clear},
            state__in=HOLDING_STATES,
            starts_at__gt=min(one.starts_at for one in clear) - around,
            starts_at__lt=max(one.ends_at for one in clear) + around,
        )
        .select_related("grid", "arena")
        .order_by("starts_at", "pk")
    )


def _same(lesson: Lesson, clear: _Clear, zone: ZoneInfo) -> bool:
    """Say whether a lesson is in the arena, on the day."""
    day: date = lesson.starts_at.astimezone(zone).date()
    there: date = clear.starts_at.astimezone(zone).date()
    return lesson.arena_id == clear.arena.pk and day == there


def _jumps(lesson: Lesson) -> bool:
    return lesson.work == Work.JUMPING or hasattr(lesson, "grid")


def _longest(begins: datetime, ends: datetime, ridden: Iterable[Lesson]) -> _Room:
    """Return the longest time in which an arena is free from one moment on."""
    rooms, free_from = [], begins
    for one in ridden:
        rooms.append(_Room(free_from, one.starts_at))
        free_from = max(free_from, one.ends_at)
    return max([*rooms, _Room(free_from, ends)], key=lambda room: room.minutes)


def _strip(lesson: Lesson, handling: Handling) -> _Need:
    if not hasattr(lesson, "grid"):
        return _Need(STRIP_MIN, guessed=True)
    seconds = strip_seconds(_row(lesson.grid.end), handling)
    return _Need(-(-seconds // 60), guessed=False)


def _build(lesson: Lesson, handling: Handling) -> _Need:
    if not hasattr(lesson, "grid"):
        return _Need(BUILD_MIN, guessed=True)
    us = sum(build_us(one, handling) for one in _row(lesson.grid.start))
    us += handling.start_us
    return _Need(-(-us // (60 * US_PER_S)), guessed=False)


def _row(elements: Iterable[dict[str, object]]) -> list[PlacedElement]:
    return [placed_from_data(as_planned(one)) for one in elements]


@dataclass(frozen=True, slots=True)
class _Between:
    """What wants an arena clear, a lesson over fences, the room between and the need.

    `off` says that the fences must come off before it, else they are built after.
    """

    clear: _Clear
    lesson: Lesson
    room: _Room
    need: _Need
    zone: ZoneInfo
    off: bool

    def words(self) -> str:
        """Say which fences, what they are in the way of, and what room there is."""
        title, arena = self.lesson.title, self.clear.arena
        if self.off:
            return (
                f"{title} jumps in {arena} until "
                f"{clock(self.lesson.ends_at, self.zone)}. Its fences {self._before()}"
                f"{self._times()}"
            )
        return (
            f"{title} jumps in {arena} at {clock(self.lesson.starts_at, self.zone)}. "
            f"Its fences are built after {self._after()}: that takes one person "
            f"{self._times()}"
        )

    def _before(self) -> str:
        at, one = self._hour(self.clear.starts_at), self.clear.lesson
        if one is None:
            return f"must be off before harrowing at {at}: that takes "
        return (
            f"stand in the way of {one.title}, which needs the arena clear at {at}: "
            "taking them off takes "
        )

    def _after(self) -> str:
        at, one = self._hour(self.clear.ends_at), self.clear.lesson
        if one is None:
            return f"harrowing, which ends at {at}"
        return f"{one.title}, which needs the arena clear until {at}"

    def _times(self) -> str:
        about = "about " if self.need.guessed else ""
        there = "there is none"
        if self.room.minutes > 0:
            first, last = self._hour(self.room.first), self._hour(self.room.last)
            there = f"there are {self.room.minutes}, from {first} to {last}"
        return (
            f"{about}{self.need.minutes} min, and {there}. Leave time between them, or "
            "the day can't be ordered."
        )

    def _hour(self, moment: datetime) -> str:
        return f"{moment.astimezone(self.zone):%H:%M}"
