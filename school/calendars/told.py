"""A lesson as one client is told of it: what is said, kept and compared."""

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from school.enums import KEPT_PLACES
from school.models import Invitation, Lesson, LessonSeries, Ride, School
from school.queries.series import lessons_of_invitation, moment_of, weeks_of
from school.queries.windows import is_open


@dataclass(frozen=True, slots=True)
class Told:
    """What a client is told of a lesson; moments are aware.

    With a window it may still start at any time of it, and is told when that is
    settled.
    """

    starts_at: datetime
    ends_at: datetime
    arena_id: int
    arena: str
    instructor_id: int
    instructor: str
    kind: str
    work: str
    names: tuple[str, ...]
    horses: tuple[str, ...] = ()
    reason: str = ""
    window_from: datetime | None = None
    window_to: datetime | None = None
    moved_at: datetime | None = None

    def as_data(self) -> dict[str, Any]:
        """Return it as plain data, to be kept with the message that says it."""
        known = {
            name: moment.isoformat()
            for name, moment in (
                ("window_from", self.window_from),
                ("window_to", self.window_to),
                ("moved_at", self.moved_at),
            )
            if moment is not None
        }
        return known | {
            "starts_at": self.starts_at.isoformat(),
            "ends_at": self.ends_at.isoformat(),
            "arena_id": self.arena_id,
            "arena": self.arena,
            "instructor_id": self.instructor_id,
            "instructor": self.instructor,
            "kind": self.kind,
            "work": self.work,
            "names": list(self.names),
            "horses": list(self.horses),
        }

    def digest(self) -> str:
        """Digest what a client must know anew (RFC 5546 section 2.1.4)."""
        return digest_of(
            self.starts_at.timestamp(),
            self.ends_at.timestamp(),
            self.arena_id,
            self.instructor_id,
            self.work,
            self.kind,
            self.names,
        )

    def detail_digest(self) -> str:
        """Digest what is worth a mail but leaves an answer as it was.

        Its last letter is the entry's STATUS, tentative or confirmed.
        """
        if self.window_from is None or self.window_to is None:
            return digest_of(self.horses)[:-1] + "c"
        window = self.window_from.timestamp(), self.window_to.timestamp()
        return digest_of(self.horses, *window)[:-1] + "t"


def told_from_data(data: dict[str, Any]) -> Told:
    """Return what a message says, from what was kept with it."""
    moments = {
        name: datetime.fromisoformat(data[name])
        for name in ("starts_at", "ends_at", "window_from", "window_to", "moved_at")
        if name in data
    }
    names = {name: tuple(data[name]) for name in ("names", "horses")}
    return Told(**(data | moments | names))


def digest_of(*parts: Any) -> str:
    """Return a short digest of plain values."""
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


def told_of(school: School, lesson: Lesson, client_id: int) -> Told:
    """Return what a client is told of a lesson: their own riders only."""
    found: list[Ride] | None = getattr(lesson, "told_rides", None)
    if found is None:
        found = list(lesson.rides.select_related("rider__person", "horse"))
    rides = sorted(
        (one for one in found if one.rider.client_id == client_id),
        key=lambda one: one.pk,
    )
    # A place given back is still spoken of by its rider's name.
    booked = [one for one in rides if one.state in KEPT_PLACES]
    horses = [one.horse.name for one in booked if one.horse is not None]
    open_ = is_open(lesson)
    given_back = [one.cancelled_reason or "" for one in rides]
    return Told(
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        arena_id=lesson.arena_id,
        arena=lesson.arena.name,
        instructor_id=lesson.instructor_id,
        instructor=lesson.instructor.person.first_name,
        kind=lesson.kind,
        work=lesson.work,
        names=tuple(one.rider.person.first_name for one in booked or rides),
        horses=tuple(horses) if school.publish_horses else (),
        window_from=lesson.window_from if open_ else None,
        window_to=lesson.window_to if open_ else None,
        moved_at=lesson.moved_at,
        reason=_reason(lesson, "" if booked else "".join(given_back[:1])),
    )


def _reason(lesson: Lesson, given_back: str) -> str:
    return lesson.state_reason or given_back or lesson.moved_reason


@dataclass(frozen=True, slots=True)
class WeeklyPart:
    """A client's part of a series: how each week usually is, and each lesson."""

    series: LessonSeries
    zone: ZoneInfo
    weeks: tuple[date, ...]
    names: tuple[str, ...]
    lessons: dict[date, Lesson]
    told: dict[date, Told]

    def usual(self, day: date) -> Told:
        """Return the lesson of a day as the series has it."""
        one, zone = self.series, self.zone
        starts_at = moment_of(day, one.local_start, zone)
        return Told(
            starts_at=starts_at,
            ends_at=starts_at + timedelta(minutes=one.minutes),
            arena_id=one.arena_id,
            arena=one.arena.name,
            instructor_id=one.instructor_id,
            instructor=one.instructor.person.first_name,
            kind=one.kind,
            work=one.work,
            names=self.names,
        )

    def missing(self) -> list[date]:
        """Return the weeks without a lesson."""
        return [day for day in self.weeks if day not in self.told]

    def unusual(self) -> list[date]:
        """Return the days on which the lesson is not as the series has it."""
        return [day for day in self.told if self.day_digest(day)]

    def day_digest(self, day: date) -> str:
        """Digest what is unusual of a day; empty where nothing is."""
        told = self.told[day]
        digest = told.digest()
        if self.series.window_from is not None and told.window_from is None:
            # Its time is settled, be it the usual one.
            return digest_of(digest, "settled")
        return "" if digest == self.usual(day).digest() else digest

    def digest(self) -> str:
        """Digest the series' own rule and facts."""
        first, last = self.usual(self.weeks[0]), self.usual(self.weeks[-1])
        window = [
            f"{one:%H:%M}"
            for one in (self.series.window_from, self.series.window_to)
            if one is not None
        ]
        return digest_of(first.digest(), last.digest(), self.zone.key, *window)


def weekly_part(school: School, invitation: Invitation) -> WeeklyPart:
    """Return a client's part of the series they are invited to."""
    lessons = {
        one.series_date: one
        for one in lessons_of_invitation(invitation)
        if one.series_date is not None
    }
    told = {
        day: replace(told_of(school, one, invitation.client_id), horses=())
        for day, one in lessons.items()
    }
    series = invitation.series
    if series is None or invitation.first_date is None or invitation.last_date is None:
        raise ValueError("an invitation to one lesson has no weekly part")
    return WeeklyPart(
        series=series,
        zone=ZoneInfo(school.zone),
        weeks=tuple(weeks_of(invitation.first_date, invitation.last_date)),
        names=_most_common(one.names for one in told.values()),
        lessons=lessons,
        told=told,
    )


def _most_common(names: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    ranked = Counter(names).most_common(1)
    return ranked[0][0] if ranked else ()
