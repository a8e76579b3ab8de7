"""When arenas, riders and instructors are free, from the diary alone."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from exercises.models import ExerciseRevision
from scheduling.finding.best import Points, Time
from scheduling.finding.points import (
    Reason,
    Weights,
    teacher_points,
    teacher_reason,
    wish_points,
)
from scheduling.queries.days import DayRows
from school.enums import LessonKind, Work, horse_work
from school.models import Arena, Horse, Instructor, Rider, School
from school.queries.daylight import daylight, needs_daylight
from school.queries.spans import Span
from school.services.checks import ORDER
from school.services.may_ride import MayRide

Stretch = tuple[float, float]
"""From when to when something is taken [s since the epoch]."""

Moments = tuple[datetime, datetime]
"""When a lesson would begin and end, in the school's zone."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What a time is looked for: who, what, how long, and when it would suit.

    Parameters
    ----------
    first_date, weeks, weekdays
        From which day on, for how many weeks; none named is any weekday.
    from_at, to_at
        Earliest and latest start, in local time.
    riders, horses
        Each rider with a horse, or None for whichever suits best.
    places
        Of the lesson; those that no rider is named for want a horse too.
    """

    work: str
    minutes: int
    first_date: date
    weeks: int = 4
    weekdays: frozenset[int] = frozenset()
    from_at: time | None = None
    to_at: time | None = None
    riders: Sequence[Rider] = ()
    horses: Sequence[Horse | None] = ()
    places: int = 1
    instructor: Instructor | None = None
    exercise: ExerciseRevision | None = None
    skip_holidays: bool = False
    kind: str = LessonKind.PRIVATE

    @property
    def horse_work(self) -> str:
        """What the lesson would count as in the work of its horses."""
        return horse_work(self.kind, self.work)


@dataclass(slots=True)
class _Taken:
    """Who and what is taken when: by kind, key and day."""

    by: dict[tuple[str, int, date], list[Stretch]] = field(default_factory=dict)

    def add(self, kind: str, key: int, day: date, stretch: Stretch) -> None:
        self.by.setdefault((kind, key, day), []).append(stretch)

    def on(self, kind: str, key: int, day: date) -> list[Stretch]:
        return self.by.get((kind, key, day), [])


def _free(taken: Sequence[Stretch], begins: float, ends: float) -> bool:
    return all(end <= begins or ends <= begin for begin, end in taken)


class Diary:
    """The times that are free for a wish, each with the instructor who suits best.

    Parameters
    ----------
    rows
        The rows of each day that comes into question, without its lessons.
    span
        What is booked around them.
    fence_cm
        The highest fence of the grid that goes with the lesson.
    """

    def __init__(
        self,
        school: School,
        span: Span,
        rows: Mapping[date, DayRows],
        wish: Wish,
        now: datetime,
        weights: Weights,
        fence_cm: int = 0,
    ) -> None:
        self.fence_cm = fence_cm
        self.school, self.span, self.rows = school, span, rows
        self.wish, self.weights, self.now = wish, weights, now
        self.days = list(rows)
        self.arenas: list[Arena] = list(rows[self.days[0]].arenas)
        self.notes: list[str] = []
        self._taken = _Taken()
        self._moments: dict[tuple[int, int], Moments] = {}
        self._teachers: dict[tuple[int, int], tuple[Points, Instructor, int | None]]
        self._teachers = {}
        for lesson in span.lessons:
            day = span.day_of(lesson)
            stretch = (lesson.starts_at.timestamp(), lesson.ends_at.timestamp())
            self._taken.add("arena", lesson.arena_id, day, stretch)
            self._taken.add("person", lesson.instructor_id, day, stretch)
            if lesson.kind == LessonKind.LEAD_REIN:
                for _ in range(lesson.places):
                    self._taken.add("leader", 0, day, stretch)
            for ride in lesson.booked_rides:  # type: ignore[attr-defined]
                self._taken.add("person", ride.rider_id, day, stretch)
        self._hours = {one.pk: list(one.hours.all()) for one in span.teachers}
        self._papers = {one.pk: list(one.papers.all()) for one in span.teachers}
        self._absences = {one.pk: list(one.absences.all()) for one in span.teachers}
        self._able = self._able_teachers()
        self._open_days = self._days_to_ride()

    def _days_to_ride(self) -> set[date]:
        """Return the days on which all the riders may ride; say why on others not."""
        if not self.wish.riders:
            return set(self.days)
        may_ride = MayRide(self.wish.riders)
        refusals = {one: may_ride.refusal(one, self.wish.kind) for one in self.days}
        said = [one.says for one in refusals.values() if one is not None]
        self.notes += said[:1]
        return {day for day, one in refusals.items() if one is None}

    def _able_teachers(self) -> list[Instructor]:
        """Return who may teach the lesson at all; say whose papers end meanwhile."""
        wish, able = self.wish, []
        size = max(wish.places, len(wish.riders))
        highest = max((ORDER.index(one.level) for one in wish.riders), default=0)
        for one in self.span.teachers:
            if wish.instructor is not None and one.pk != wish.instructor.pk:
                continue
            if one.group_limit < size:
                continue
            if wish.work == Work.JUMPING and ORDER.index(one.level) < highest:
                continue
            if one.highest_fence_cm < self.fence_cm:
                continue
            able.append(one)
            ends = min(
                ((x.expires_date, x.name) for x in self._papers[one.pk]), default=None
            )
            if ends is not None and ends[0] < self.days[-1]:
                self.notes.append(
                    f"{one.person.first_name} is left out after {ends[0].day} "
                    f"{ends[0]:%B %Y}: {ends[1]} ends."
                )
        return able

    def moments(self, one: Time) -> Moments:
        """Return when a lesson at a time begins and ends."""
        key = (one.day, one.start_min)
        if key not in self._moments:
            clock = time(one.start_min // 60, one.start_min % 60)
            begins = datetime.combine(self.days[one.day], clock, tzinfo=self.span.zone)
            # In UTC, since an hour by the wall clock is none on the night it changes.
            ends = begins.astimezone(UTC) + timedelta(minutes=self.wish.minutes)
            self._moments[key] = (begins, ends.astimezone(self.span.zone))
        return self._moments[key]

    def times(self) -> Iterator[Time]:
        """Yield every time at which arena, riders and an instructor are free."""
        frozen_until = self.now + timedelta(minutes=self.school.freeze_min)
        for number, day in enumerate(self.days):
            if day not in self._open_days:
                continue
            light = daylight(self.school, day)
            for start in self._starts():
                begins, ends = self.moments(Time(number, start, 0))
                if begins < frozen_until or ends.date() != day:
                    continue
                free = [
                    n
                    for n, arena in enumerate(self.arenas)
                    if self._arena_free(day, arena, begins, ends)
                    and not (
                        light is not None
                        and needs_daylight(arena)
                        and not (light.rises <= begins and ends <= light.sets)
                    )
                ]
                if (
                    free
                    and self._riders_free(day, begins, ends)
                    and self._leaders_free(day, begins, ends)
                    and self._teacher(number, start) is not None
                ):
                    yield from (Time(number, start, n) for n in free)

    def _starts(self) -> range:
        every = self.school.start_every_min
        first = min((_minute(one.opens_at) for one in self.arenas), default=0)
        last = max((_minute(one.closes_at) for one in self.arenas), default=0)
        last -= self.wish.minutes
        if self.wish.from_at is not None:
            first = max(first, _minute(self.wish.from_at))
        if self.wish.to_at is not None:
            last = min(last, _minute(self.wish.to_at))
        return range(-(-first // every) * every, last + 1, every)

    def _riders_free(self, day: date, begins: datetime, ends: datetime) -> bool:
        times = (begins.timestamp(), ends.timestamp())
        return all(
            _free(self._taken.on("person", one.pk, day), *times)
            for one in self.wish.riders
        )

    def _leaders_free(self, day: date, begins: datetime, ends: datetime) -> bool:
        """Say whether each place has a leader on foot, beside other such lessons."""
        if self.wish.kind != LessonKind.LEAD_REIN:
            return True
        times = (begins.timestamp(), ends.timestamp())
        taken = self._taken.on("leader", 0, day)
        led = sum(not _free([one], *times) for one in taken)
        return led + self.wish.places <= self.school.leaders

    def _arena_free(
        self, day: date, arena: Arena, begins: datetime, ends: datetime
    ) -> bool:
        if begins.time() < arena.opens_at or ends.time() > arena.closes_at:
            return False
        if any(
            one.arena_id == arena.pk
            and one.closed_from < ends
            and one.closed_to > begins
            for one in self.rows[day].closures
        ):
            return False
        taken = self._taken.on("arena", arena.pk, day)
        return _free(taken, begins.timestamp(), ends.timestamp())

    def _teacher(
        self, day: int, start: int
    ) -> tuple[Points, Instructor, int | None] | None:
        """Return the instructor who is free and suits best, with their wait."""
        key = (day, start)
        if key not in self._teachers:
            begins, ends = self.moments(Time(day, start, 0))
            best = None
            for n, one in enumerate(self._able):
                if not self._teaches(one, self.days[day], begins, ends):
                    continue
                wait = self._wait(one, self.days[day], begins, ends)
                points = teacher_points(wait, self.weights)
                if best is None or (points, n) < best[0]:
                    best = ((points, n), one, wait)
            if best is None:
                return None
            self._teachers[key] = (best[0][0], best[1], best[2])
        return self._teachers[key]

    def _teaches(
        self, one: Instructor, day: date, begins: datetime, ends: datetime
    ) -> bool:
        if any(paper.expires_date < day for paper in self._papers[one.pk]):
            return False
        if any(
            out.absent_from < ends and out.absent_to > begins
            for out in self._absences[one.pk]
        ):
            return False
        hours = self._hours[one.pk]
        if hours and not any(
            x.weekday == day.weekday()
            and x.from_at <= begins.time()
            and ends.time() <= x.to_at
            for x in hours
        ):
            return False
        taken = self._taken.on("person", one.pk, day)
        return _free(taken, begins.timestamp(), ends.timestamp())

    def _wait(
        self, one: Instructor, day: date, begins: datetime, ends: datetime
    ) -> int | None:
        """Return the minutes to the nearest other lesson of an instructor's day."""
        begin, end = begins.timestamp(), ends.timestamp()
        taken = self._taken.on("person", one.pk, day)
        waits = [max(begin - last, first - end) for first, last in taken]
        return int(min(waits) // 60) if waits else None

    def teacher_of(self, one: Time) -> Instructor:
        """Return the instructor of a time that is free."""
        return self._teachers[one.day, one.start_min][1]

    def points(self, one: Time) -> Points:
        """Return what speaks against a time from the diary alone."""
        teacher, _, _ = self._teachers[one.day, one.start_min]
        return teacher + self._wish_points(one)

    def _wish_points(self, one: Time) -> Points:
        days = (self.days[one.day] - self.wish.first_date).days
        short = self._short_notice(one)
        return wish_points(days, short_notice=short, weights=self.weights)

    def _short_notice(self, one: Time) -> bool:
        notice = timedelta(hours=self.school.notice_hours)
        return self.moments(one)[0] < self.now + notice

    def reasons(self, one: Time) -> list[Reason]:
        """Say what was looked at in the diary."""
        _, teacher, wait = self._teachers[one.day, one.start_min]
        said = [teacher_reason(teacher.person.first_name, wait, self.weights)]
        days = (self.days[one.day] - self.wish.first_date).days
        says = "on the first day asked for"
        if days:
            says = f"{days} day{'s' if days > 1 else ''} after the first day asked for"
        if self._short_notice(one):
            says += (
                f"; within the {self.school.notice_hours} hours' notice, so it can't "
                "be given back free of charge"
            )
        said.append(Reason("wish", self._wish_points(one), says))
        return said


def _minute(clock: time) -> int:
    return clock.hour * 60 + clock.minute
