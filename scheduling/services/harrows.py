"""Harrows that leave no time: fences must come off before, and be built again after.

Said where a harrow or a lesson is booked, since afterwards no order of the day can be
found.
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
from school.models import Lesson, YardWork
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


def tight_harrows(works: Iterable[YardWork]) -> list[str]:
    """Say of each harrow which lesson leaves it no time, and until when it lasts."""
    harrows = [one for one in works if one.kind == YardKind.HARROW]
    if not harrows:
        return []
    return [words for _, words in _tight(harrows)]


def tight_at(lesson: Lesson) -> list[str]:
    """Say which harrows of its day a lesson over fences leaves no time."""
    day = local_day(lesson.starts_at)
    harrows = yard_work_with_all().filter(
        arena=lesson.arena, date=day, kind=YardKind.HARROW, called_off_at__isnull=True
    )
    return [words for one, words in _tight(list(harrows)) if one.pk == lesson.pk]


def _tight(harrows: Sequence[YardWork]) -> list[tuple[Lesson, str]]:
    lessons = _lessons(harrows)
    if not lessons:
        return []
    school = the_school()
    handling, zone = handling_from(school.handling), ZoneInfo(school.zone)
    found = []
    for harrow in harrows:
        day = [one for one in lessons if _same(one, harrow, zone)]
        before = [one for one in day if one.ends_at <= harrow.starts_at]
        after = [one for one in day if one.starts_at >= harrow.ends_at]
        last = next((one for one in reversed(before) if _jumps(one)), None)
        first = next((one for one in after if _jumps(one)), None)
        if last is not None:
            begins = last.ends_at - timedelta(minutes=last.cool_down_min)
            ridden = before[before.index(last) + 1 :]
            room = _longest(begins, harrow.starts_at, ridden)
            it = _Between(harrow, last, room, _strip(last, handling), zone)
            if room < it.need.minutes:
                found.append((last, _off_words(it)))
        if first is not None:
            ends = first.starts_at + timedelta(minutes=first.warm_up_min)
            room = _longest(harrow.ends_at, ends, after[: after.index(first)])
            it = _Between(harrow, first, room, _build(first, handling), zone)
            if room < it.need.minutes:
                found.append((first, _built_words(it)))
    return found


def _lessons(harrows: Sequence[YardWork]) -> list[Lesson]:
    if not harrows:
        return []
    around = timedelta(days=1)
    return list(
        Lesson.objects.filter(
            arena__in={one.arena_id for one in harrows},
            state__in=HOLDING_STATES,
            starts_at__gt=min(one.starts_at for one in harrows) - around,
            starts_at__lt=max(one.ends_at for one in harrows) + around,
        )
        .select_related("grid", "arena")
        .order_by("starts_at", "pk")
    )


def _same(lesson: Lesson, harrow: YardWork, zone: ZoneInfo) -> bool:
    """Say whether a lesson is in a harrow's arena, on its day."""
    day: date = lesson.starts_at.astimezone(zone).date()
    return lesson.arena_id == harrow.arena_id and day == harrow.date


def _jumps(lesson: Lesson) -> bool:
    return lesson.work == Work.JUMPING or hasattr(lesson, "grid")


def _longest(begins: datetime, ends: datetime, ridden: Iterable[Lesson]) -> int:
    """Return the longest time in which an arena is free from one moment on [min]."""
    room, free_from = timedelta(0), begins
    for one in ridden:
        room = max(room, one.starts_at - free_from)
        free_from = max(free_from, one.ends_at)
    return int(max(room, ends - free_from).total_seconds() // 60)


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
    """A harrow, a lesson over fences, the minutes between them and those needed."""

    harrow: YardWork
    lesson: Lesson
    room: int
    need: _Need
    zone: ZoneInfo

    def times(self) -> str:
        """Say what it takes and what there is."""
        about = "about " if self.need.guessed else ""
        there = f"there are {self.room}" if self.room > 0 else "there is none"
        return (
            f"{about}{self.need.minutes} min, and {there}. Leave time between them, or "
            "the day can't be ordered."
        )


def _off_words(it: _Between) -> str:
    ends, at = clock(it.lesson.ends_at, it.zone), it.harrow.starts_at
    return (
        f"{it.lesson.title} jumps in {it.harrow.arena} until {ends}. Its fences must "
        f"be off before harrowing at {at.astimezone(it.zone):%H:%M}: that takes "
        f"{it.times()}"
    )


def _built_words(it: _Between) -> str:
    starts, at = clock(it.lesson.starts_at, it.zone), it.harrow.ends_at
    return (
        f"{it.lesson.title} jumps in {it.harrow.arena} at {starts}. Its fences are "
        f"built after harrowing, which ends at {at.astimezone(it.zone):%H:%M}: that "
        f"takes one person {it.times()}"
    )
