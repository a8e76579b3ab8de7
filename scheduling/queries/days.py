"""The rows a day is planned from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from scheduling.queries.standing import Elements, standing_before_each
from school.enums import HOLDING_STATES
from school.models import (
    Arena,
    ArenaClosure,
    Groundsperson,
    Horse,
    HorseState,
    InstructorAbsence,
    InstructorHours,
    Lesson,
    Line,
    School,
    StorePiece,
    WelfareOverride,
)
from school.queries.closures import closures_between
from school.queries.lessons import day_bounds, lessons_with_all
from school.queries.schools import the_school
from school.queries.touched import absences_between


@dataclass(frozen=True, slots=True)
class DayRows:
    """Everything a day is planned from, as rows."""

    date: date
    school: School
    arenas: Sequence[Arena]
    lines: Sequence[Line]
    standing: Mapping[int, Elements]
    closures: Sequence[ArenaClosure]
    lessons: Sequence[Lesson]
    horses: Sequence[Horse]
    horse_states: Sequence[HorseState]
    instructor_hours: Sequence[InstructorHours]
    absences: Sequence[InstructorAbsence]
    groundspeople: Sequence[Groundsperson]
    store: Sequence[StorePiece]
    overrides: Sequence[WelfareOverride] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The school's time zone."""
        return ZoneInfo(self.school.zone)


def day_rows(day: date) -> DayRows:
    """Return the rows of a local day, in a constant number of queries."""
    return rows_of_days([day])[day]


def rows_of_days(
    days: Sequence[date], lessons: Sequence[Lesson] | None = None
) -> dict[date, DayRows]:
    """Return the rows of each of some local days, in as many queries as of one.

    `lessons` are those of all the days with their booked rides, where fetched.
    """
    school = the_school()
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(min(days), zone)[0], day_bounds(max(days), zone)[1]
    common: dict[str, Any] = {
        "school": school,
        "arenas": list(Arena.objects.order_by("name", "pk")),
        "lines": list(Line.objects.order_by("arena_id", "name", "pk")),
        "horses": list(Horse.objects.order_by("pk")),
        "instructor_hours": list(InstructorHours.objects.order_by("from_at", "pk")),
        "groundspeople": list(
            Groundsperson.objects.select_related("person").order_by("works_from", "pk")
        ),
        "store": list(StorePiece.objects.order_by("piece", "pk")),
    }
    standing = standing_before_each(days)
    states = HorseState.objects.filter(state_from__lt=last).exclude(state_to__lte=first)
    overrides = WelfareOverride.objects.filter(
        lesson__starts_at__gte=first, lesson__starts_at__lt=last
    )
    shut = list(closures_between(first, last))
    off = list(states.order_by("state_from", "pk"))
    absences = absences_between(first, last)
    overruled = list(overrides.select_related("lesson").order_by("pk"))
    booked = lessons_with_all().filter(
        state__in=HOLDING_STATES, starts_at__gte=first, starts_at__lt=last
    )
    on: dict[date, list[Lesson]] = {}
    for lesson in booked if lessons is None else lessons:
        on.setdefault(lesson.starts_at.astimezone(zone).date(), []).append(lesson)
    found = {}
    for day in days:
        begins, ends = day_bounds(day, zone)
        found[day] = DayRows(
            date=day,
            lessons=on.get(day, []),
            standing=standing[day],
            closures=[x for x in shut if x.closed_from < ends and x.closed_to > begins],
            horse_states=[
                one
                for one in off
                if one.state_from < ends
                and (one.state_to is None or one.state_to > begins)
            ],
            absences=[
                x for x in absences if x.absent_from < ends and x.absent_to > begins
            ],
            overrides=[x for x in overruled if begins <= x.lesson.starts_at < ends],
            **common,
        )
    return found
