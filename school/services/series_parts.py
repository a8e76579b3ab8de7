"""What the verbs of weekly lessons share."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time

from school.models import Arena, Instructor, Invitation, Lesson, LessonSeries
from school.queries.schools import school_zone
from school.queries.series import WEEK, lessons_from
from school.services.refusals import UnableToBook


@dataclass(frozen=True, slots=True)
class SeriesPlan:
    """What a weekly lesson is, each week."""

    name: str
    kind: str
    work: str
    arena: Arena
    instructor: Instructor
    local_start: time
    minutes: int
    places: int = 1


def fields_of(plan: SeriesPlan) -> dict[str, object]:
    return {
        "name": plan.name.strip(),
        "kind": plan.kind,
        "work": plan.work,
        "arena": plan.arena,
        "instructor": plan.instructor,
        "local_start": plan.local_start,
        "minutes": plan.minutes,
        "places": plan.places,
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
        listed = " ".join(
            f"{day_words(day)}: {one.says}" for day, one in refused.items()
        )
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
