"""A weekly lesson held otherwise from a day on."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Literal

from django.db import transaction

from exercises.models import ExerciseRevision
from school.enums import CalendarBy, LessonState, Work
from school.models import Account, Invitation, Lesson, LessonSeries, SeriesException
from school.queries.schools import school_zone
from school.queries.series import WEEK, moment_of
from school.services.audit import record, snapshot
from school.services.booking import give_grid
from school.services.grids import UnableToAttach, detach_grid
from school.services.invitations import lessons_changed, series_changed
from school.services.lessons import Move, move_lessons
from school.services.refusals import UnableToBook, clock
from school.services.series_parts import (
    SeriesPlan,
    cut_entries,
    each_day,
    fields_of,
    locked,
    not_past,
    to_come,
)

Grids = ExerciseRevision | Literal["as they are", "off"]
"""What becomes of the grids of lessons that are changed."""


def change_series_from(
    *,
    series: LessonSeries,
    plan: SeriesPlan,
    first_date: date,
    by: Account | None,
    now: datetime,
    weekday: int | None = None,
    overrule: str = "",
    grids: Grids = "as they are",
) -> LessonSeries:
    """Hold a series otherwise from a day on, all of it or nothing; return it.

    Where lessons come before that day, the series ends there and a new one begins
    (a new UID for clients); else it is changed as it is. Riders and horses stay.
    Lessons moved singly before now follow the new rule too. `grids` is the grid that
    each is given, fitted anew to its horses, or that they are taken off, as those of
    lessons that become flat are.

    Raises
    ------
    UnableToBook
        Naming each day on which the change clashes, and why.
    """
    not_past(first_date, now)
    with transaction.atomic():
        old = locked(series)
        shift = timedelta(days=(old.weekday if weekday is None else weekday))
        shift -= timedelta(days=old.weekday)
        lessons = _left(old, first_date, now)
        before = snapshot(old)
        earlier = old.lessons.filter(series_date__lt=min(lessons)).exclude(
            state=LessonState.CANCELLED
        )
        new = old
        if earlier.exists():
            new = _split(old, plan, shift, sorted(lessons), now)
        if new is old:
            _replan(old, plan, shift, sorted(lessons))

        move = _moving(new, plan, lessons, shift, by=by, now=now, overrule=overrule)
        if plan.work == Work.FLAT and grids == "as they are":
            grids = "off"
        regrid = _regridding(move, lessons, grids, by=by, now=now, overrule=overrule)
        moved = each_day(sorted(lessons), regrid)
        record(
            by=by,
            at=now,
            action="change from here on",
            subject=new,
            before=before,
            after=snapshot(new),
        )
        # What ends is told before what begins.
        series_changed(series={old, new}, now=now)
        lessons_changed(lessons=moved, now=now)
        return new


def _left(series: LessonSeries, first_date: date, now: datetime) -> dict[date, Lesson]:
    """Return the lessons of a series that are still held from a day on, by day."""
    lessons = {
        one.series_date: one
        for one in to_come(series, first_date, now)
        if one.series_date is not None
        and one.state in {LessonState.BOOKED, LessonState.CONFIRMED}
    }
    if not lessons:
        raise UnableToBook(
            "series-over", f"{series.name} has no lessons left from that day on."
        )
    return lessons


def _moving(
    series: LessonSeries,
    plan: SeriesPlan,
    lessons: Mapping[date, Lesson],
    shift: timedelta,
    *,
    by: Account | None,
    now: datetime,
    overrule: str,
) -> Callable[[date], Lesson]:
    """Return what moves the lesson of a day to where its series is held now."""
    zone = school_zone()

    def move(day: date) -> Lesson:
        lesson = lessons[day]
        starts_at = moment_of(day + shift, plan.local_start, zone)
        if starts_at <= now:
            raise UnableToBook("past", f"{clock(starts_at)} is over already.")
        lesson.series, lesson.series_date = series, day + shift
        lesson.title, lesson.kind, lesson.work = plan.name, plan.kind, plan.work
        lesson.places = plan.places
        # The window of before gives way first, or nothing could leave it.
        lesson.window_from = lesson.window_to = lesson.time_set_at = None
        lesson.save()
        change = Move(lesson, starts_at, plan.arena, plan.minutes, plan.instructor)
        (moved,) = move_lessons(
            moves=[change], by=by, now=now, tell=False, overrule=overrule
        )
        moved.window_from, moved.window_to = plan.window(day + shift, zone)
        moved.save(update_fields=["window_from", "window_to"])
        return moved

    return move


def _regridding(
    move: Callable[[date], Lesson],
    lessons: Mapping[date, Lesson],
    grids: Grids,
    *,
    by: Account | None,
    now: datetime,
    overrule: str,
) -> Callable[[date], Lesson]:
    """Return what moves the lesson of a day, and gives it its grid or takes it off."""

    def regrid(day: date) -> Lesson:
        if grids == "off":
            try:
                # Before it may become a flat lesson, which has none to take off.
                detach_grid(lesson=lessons[day], by=by, now=now)
            except UnableToAttach as error:
                if hasattr(lessons[day], "grid"):
                    raise UnableToBook("grid", error.says, field="grids") from error
        moved = move(day)
        if isinstance(grids, ExerciseRevision):
            give_grid(lesson=moved, revision=grids, by=by, now=now, overrule=overrule)
        return moved

    return regrid


def _split(
    old: LessonSeries,
    plan: SeriesPlan,
    shift: timedelta,
    days: list[date],
    now: datetime,
) -> LessonSeries:
    """End a series before its `days`, and begin the next with the same clients."""
    new = LessonSeries.objects.create(
        **fields_of(plan),
        weekday=(old.weekday + shift.days) % 7,
        first_date=days[0] + shift,
        last_date=old.last_date + shift,
        split_from=old,
        term=old.term,
    )
    for holiday in old.exceptions.filter(date__gte=days[0]).order_by("date"):
        SeriesException.objects.create(
            series=new, date=holiday.date + shift, reason=holiday.reason
        )
    old.last_date = max(old.first_date, days[0] - WEEK)
    old.save()
    invited = old.invitations.filter(withdrawn=False, last_date__gte=days[0])
    for one in invited.order_by("pk"):
        if one.first_date is None or one.last_date is None:
            continue
        Invitation.objects.create(
            series=new,
            client=one.client,
            by_invite=one.client.calendar_by == CalendarBy.INVITE,
            first_date=max(one.first_date, days[0]) + shift,
            last_date=one.last_date + shift,
            changed_at=now,
        )
    cut_entries(old, days[0] - timedelta(days=1))
    return new


def _replan(
    series: LessonSeries, plan: SeriesPlan, shift: timedelta, days: list[date]
) -> None:
    """Change a series that has held no lesson yet as it is."""
    for name, value in fields_of(plan).items():
        setattr(series, name, value)
    series.weekday = (series.weekday + shift.days) % 7
    series.first_date = days[0] + shift
    series.last_date += shift
    series.save()
    for holiday in series.exceptions.order_by("date"):
        holiday.date += shift
        holiday.save()
    for invited in series.invitations.order_by("pk"):
        if invited.first_date is not None and invited.last_date is not None:
            invited.first_date = max(invited.first_date, days[0]) + shift
            invited.last_date = max(invited.last_date + shift, invited.first_date)
            invited.save()
