"""What the verbs of weekly lessons share."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from school.models import Arena, Instructor, Invitation, Lesson, LessonSeries
from school.queries.schools import school_zone
from school.queries.series import WEEK, lessons_from, moment_of
from school.services.refusals import UnableToBook


@dataclass(frozen=True, slots=True)
class SeriesPlan:
    """What a weekly lesson is, each week.

    With a window each may start from one local time to another, and is booked at
    `local_start` until its day is planned.
    """

    name: str
    kind: str
    work: str
    arena: Arena
    instructor: Instructor
    local_start: time
    minutes: int
    places: int = 1
    window_from: time | None = None
    window_to: time | None = None

    def window(
        self, day: date, zone: ZoneInfo
    ) -> tuple[datetime | None, datetime | None]:
        """Return between which moments of a day the lesson may start, if it may."""
        if self.window_from is None or self.window_to is None:
            return None, None
        return (
            moment_of(day, self.window_from, zone),
            moment_of(day, self.window_to, zone),
        )


def fields_of(plan: SeriesPlan) -> dict[str, object]:
    """Return what a plan says as the series' own fields; refuse a window that is none.

    Raises
    ------
    UnableToBook
        Where the window has one end only, or does not hold the start.
    """
    first, last = plan.window_from, plan.window_to
    if (first is None) != (last is None) or (
        first and last and not first <= plan.local_start <= last
    ):
        raise UnableToBook(
            "window",
            "A weekly lesson begins within its window: say from when and until when "
            "it may start, and a start between them.",
            field="window_from",
        )
    return {
        "name": plan.name.strip(),
        "kind": plan.kind,
        "work": plan.work,
        "arena": plan.arena,
        "instructor": plan.instructor,
        "local_start": plan.local_start,
        "minutes": plan.minutes,
        "places": plan.places,
        "window_from": plan.window_from,
        "window_to": plan.window_to,
    }


def each_day(days: list[date], do: Callable[[date], Lesson]) -> list[Lesson]:
    """Do something for each day, and refuse all of it with every day's reason."""
    done, refused = [], {}
    for day in days:
        try:
            done.append(do(day))
        except UnableToBook as error:
            refused[day] = error
    if refused:
        same: dict[str, list[str]] = {}
        for day, one in refused.items():
            same.setdefault(one.says, []).append(day_words(day))
        listed = " ".join(f"{', '.join(on)}: {says}" for says, on in same.items())
        raise UnableToBook(
            "series",
            f"{len(refused)} of {len(days)} weeks can't be booked, so none was. "
            f"{listed} Leave these days out, or choose otherwise.",
            overridable=all(one.overridable for one in refused.values()),
            details=[
                f"{day_words(day)}: {said}"
                for day, one in refused.items()
                for said in one.details
            ],
            dates=[day.isoformat() for day in refused],
            codes={day.isoformat(): one.code for day, one in refused.items()},
        )
    return done


def locked(series: LessonSeries) -> LessonSeries:
    return LessonSeries.objects.select_for_update().get(pk=series.pk)


def not_past(first: date, now: datetime) -> None:
    """Refuse to change days that are over: they stand in the registers."""
    if first < now.astimezone(school_zone()).date():
        raise UnableToBook(
            "past",
            f"What was ridden from {day_words(first)} on stays as it was: choose "
            "today or a later day.",
        )


def day_words(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def to_come(series: LessonSeries, first: date, now: datetime) -> list[Lesson]:
    """Return the lessons from a day on that have not begun."""
    return [one for one in lessons_from(series, first) if one.starts_at > now]


def cut_entries(series: LessonSeries, last: date, client_id: int | None = None) -> None:
    """Let weekly entries end on the last week up to a day; one empty then stays."""
    invitations = Invitation.objects.filter(series=series, last_date__gt=last)
    if client_id is not None:
        invitations = invitations.filter(client_id=client_id)
    for one in invitations.order_by("pk"):
        if one.first_date is None or one.first_date > last:
            continue
        one.last_date = one.first_date + (last - one.first_date) // WEEK * WEEK
        one.save()
