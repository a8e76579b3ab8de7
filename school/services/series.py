"""Weekly lessons: begun, joined, left, changed from a day on, ended."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import transaction

from school.calendars.zones import UnableToSayZone, vtimezone
from school.enums import CalendarBy, LessonState
from school.models import (
    Account,
    Arena,
    Client,
    Horse,
    Instructor,
    Invitation,
    Lesson,
    LessonSeries,
    Ride,
    Rider,
    SeriesException,
)
from school.queries.schools import school_zone, the_school
from school.queries.series import WEEK, lessons_from, moment_of, weeks_of
from school.services.audit import record, snapshot
from school.services.invitations import lessons_changed, series_changed
from school.services.lessons import Move, book_lesson, cancel_lesson, move_lessons
from school.services.refusals import UnableToBook, clock
from school.services.rides import add_ride, cancel_ride

MOST_WEEKS = 60
"""Weeks a series may be booked ahead at once: a little over a year."""


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


def start_series(
    *,
    plan: SeriesPlan,
    first_date: date,
    last_date: date,
    by: Account | None,
    now: datetime,
    rides: Iterable[tuple[Rider, Horse | None]] = (),
    skip: Mapping[date, str] | None = None,
    overrule: str = "",
) -> LessonSeries:
    """Book a lesson for every week, all or none; `skip` names days and why not.

    `overrule` is the reason to go against rules of horses' work in each of them.

    Raises
    ------
    UnableToBook
        Naming each day that can't be booked, and why.
    """
    pairs, days = list(rides), list(weeks_of(first_date, last_date))
    held = [day for day in days if day not in (skip or {})]
    if not held or len(days) > MOST_WEEKS:
        raise UnableToBook(
            "series-length",
            f"A series has from 1 to {MOST_WEEKS} weeks; look at the first and last "
            "day.",
            field="last_date",
        )
    zone = school_zone()
    with transaction.atomic():
        series = LessonSeries.objects.create(
            **_fields(plan),
            weekday=first_date.weekday(),
            first_date=days[0],
            last_date=days[-1],
        )
        for day, reason in (skip or {}).items():
            SeriesException.objects.create(series=series, date=day, reason=reason)

        def book(day: date) -> Lesson:
            return book_lesson(
                title=plan.name,
                kind=plan.kind,
                work=plan.work,
                starts_at=moment_of(day, plan.local_start, zone),
                minutes=plan.minutes,
                arena=plan.arena,
                instructor=plan.instructor,
                places=plan.places,
                rides=pairs,
                series=series,
                series_date=day,
                by=by,
                now=now,
                tell=False,
                overrule=overrule,
            )

        lessons = _each(held, book)
        clients = {rider.client for rider, _ in pairs}
        for client in sorted(clients, key=lambda one: one.pk):
            _invite(series, client, held[0], held[-1], len(held), now)
        record(by=by, at=now, action="book", subject=series, after=snapshot(series))
        lessons_changed(lessons=lessons, now=now)
        return series


def _fields(plan: SeriesPlan) -> dict[str, object]:
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


def _each(days: list[date], do: Callable[[date], Lesson]) -> list[Lesson]:
    """Do something for each day, and refuse all of it with every day's reason."""
    done, refused = [], {}
    for day in days:
        try:
            done.append(do(day))
        except UnableToBook as error:
            refused[day] = error
    if refused:
        listed = " ".join(
            f"{day:%a} {day.day} {day:%b}: {one.says}" for day, one in refused.items()
        )
        raise UnableToBook(
            "series",
            f"{len(refused)} of {len(days)} weeks can't be booked, so none was. "
            f"{listed} Leave these days out, or choose otherwise.",
            overridable=all(one.overridable for one in refused.values()),
            details=[
                f"{day:%a} {day.day} {day:%b}: {said}"
                for day, one in refused.items()
                for said in one.details
            ],
            dates=[day.isoformat() for day in refused],
            codes={day.isoformat(): one.code for day, one in refused.items()},
        )
    return done


def _invite(
    series: LessonSeries,
    client: Client,
    first: date,
    last: date,
    lessons: int,
    now: datetime,
) -> None:
    """Give a client one entry for their part of a series, or make it longer.

    One lesson alone, or a zone whose rule has no yearly form, gets an entry of its
    own for each lesson instead.
    """
    known = Invitation.objects.filter(series=series, client=client).first()
    if known is not None and not known.withdrawn:
        known.first_date = min(first, known.first_date or first)
        known.last_date = max(last, known.last_date or last)
        known.save()
        return
    if lessons < 2 or not _sayable():
        return
    if known is not None:
        known.first_date, known.last_date, known.withdrawn = first, last, False
        known.by_invite = client.calendar_by == CalendarBy.INVITE
        known.save()
        return
    Invitation.objects.create(
        series=series,
        client=client,
        by_invite=client.calendar_by == CalendarBy.INVITE,
        first_date=first,
        last_date=last,
        changed_at=now,
    )


def _sayable() -> bool:
    try:
        vtimezone(the_school().zone)
    except UnableToSayZone:
        return False
    return True


def join_series(
    *,
    series: LessonSeries,
    rider: Rider,
    horse: Horse | None,
    first_date: date,
    by: Account | None,
    now: datetime,
    last_date: date | None = None,
    overrule: str = "",
) -> list[Ride]:
    """Give a rider a place in every lesson of a series from a day on, or in none."""
    with transaction.atomic():
        lessons = {
            one.series_date: one
            for one in lessons_from(_locked(series), first_date)
            if one.series_date is not None
            and (last_date is None or one.series_date <= last_date)
            and one.state in {LessonState.BOOKED, LessonState.CONFIRMED}
        }
        if not lessons:
            raise UnableToBook(
                "series-over", f"{series.name} has no lessons left from that day on."
            )
        rides: list[Ride] = []

        def join(day: date) -> Lesson:
            lesson = lessons[day]
            taken = add_ride(
                lesson=lesson,
                rider=rider,
                horse=horse,
                by=by,
                now=now,
                tell=False,
                overrule=overrule,
            )
            rides.append(taken)
            return lesson

        _each(list(lessons), join)
        days = sorted(lessons)
        _invite(series, rider.client, days[0], days[-1], len(days), now)
        lessons_changed(lessons=lessons.values(), now=now)
        return rides


def _locked(series: LessonSeries) -> LessonSeries:
    return LessonSeries.objects.select_for_update().get(pk=series.pk)


def leave_series(
    *,
    series: LessonSeries,
    rider: Rider,
    first_date: date,
    reason: str,
    by: Account | None,
    now: datetime,
) -> int:
    """Give a rider's places back from a day on; return how many. Twice is harmless."""
    with transaction.atomic():
        lessons = lessons_from(_locked(series), first_date)
        given_back = 0
        for ride in Ride.objects.filter(
            lesson__in=lessons, rider=rider, state="booked"
        ).order_by("pk"):
            cancel_ride(ride=ride, reason=reason, by=by, now=now, tell=False)
            given_back += 1
        others = Ride.objects.filter(
            lesson__in=lessons, rider__client_id=rider.client_id, state="booked"
        )
        if not others.exists():
            _cut(series, first_date - timedelta(days=1), client_id=rider.client_id)
        lessons_changed(lessons=_fresh(lessons), now=now)
        return given_back


def _fresh(lessons: Iterable[Lesson]) -> list[Lesson]:
    keys = [one.pk for one in lessons]
    return list(Lesson.objects.filter(pk__in=keys).order_by("pk"))


def _cut(series: LessonSeries, last: date, client_id: int | None = None) -> None:
    """Let weekly entries end on the last week up to a day; one empty then stays."""
    invitations = Invitation.objects.filter(series=series, last_date__gt=last)
    if client_id is not None:
        invitations = invitations.filter(client_id=client_id)
    for one in invitations.order_by("pk"):
        if one.first_date is None or one.first_date > last:
            continue
        one.last_date = one.first_date + (last - one.first_date) // WEEK * WEEK
        one.save()


def skip_days(
    *,
    series: LessonSeries,
    days: Mapping[date, str],
    by: Account | None,
    now: datetime,
) -> None:
    """Hold no lesson on these days, each with its reason (a holiday, say)."""
    with transaction.atomic():
        fresh = _locked(series)
        lessons = []
        for day, reason in days.items():
            if not reason.strip():
                raise UnableToBook(
                    "reason", "Say why the lesson is not held.", field="reason"
                )
            SeriesException.objects.get_or_create(
                series=fresh, date=day, defaults={"reason": reason.strip()[:120]}
            )
            lesson = fresh.lessons.filter(series_date=day).first()
            if lesson is not None:
                lessons.append(
                    cancel_lesson(
                        lesson=lesson, reason=reason, by=by, now=now, tell=False
                    )
                )
        lessons_changed(lessons=lessons, now=now)


def end_series(
    *,
    series: LessonSeries,
    last_date: date,
    reason: str,
    by: Account | None,
    now: datetime,
) -> LessonSeries:
    """Cancel every lesson after a day; those up to it stay. Twice is harmless."""
    with transaction.atomic():
        fresh = _locked(series)
        before = snapshot(fresh)
        lessons = [
            cancel_lesson(lesson=one, reason=reason, by=by, now=now, tell=False)
            for one in lessons_from(fresh, last_date + timedelta(days=1))
        ]
        fresh.last_date = min(fresh.last_date, max(last_date, fresh.first_date))
        fresh.save()
        _cut(fresh, last_date)
        record(
            by=by,
            at=now,
            action="end",
            subject=fresh,
            before=before,
            after=snapshot(fresh),
        )
        lessons_changed(lessons=lessons, now=now)
        return fresh


def change_series_from(
    *,
    series: LessonSeries,
    plan: SeriesPlan,
    first_date: date,
    by: Account | None,
    now: datetime,
    weekday: int | None = None,
    overrule: str = "",
) -> LessonSeries:
    """Hold a series otherwise from a day on, all of it or nothing; return it.

    Where lessons come before that day, the series ends there and a new one begins
    (a new UID for clients); else it is changed as it is. Riders and horses stay.
    Lessons moved singly before now follow the new rule too.

    Raises
    ------
    UnableToBook
        Naming each day on which the change clashes, and why.
    """
    zone = school_zone()
    with transaction.atomic():
        old = _locked(series)
        shift = timedelta(days=(old.weekday if weekday is None else weekday))
        shift -= timedelta(days=old.weekday)
        lessons = {
            one.series_date: one
            for one in lessons_from(old, first_date)
            if one.series_date is not None
            and one.state in {LessonState.BOOKED, LessonState.CONFIRMED}
        }
        if not lessons:
            raise UnableToBook(
                "series-over", f"{old.name} has no lessons left from that day on."
            )
        before = snapshot(old)
        earlier = old.lessons.filter(series_date__lt=min(lessons)).exclude(
            state=LessonState.CANCELLED
        )
        new = old
        if earlier.exists():
            new = _split(old, plan, shift, sorted(lessons), now)
        if new is old:
            _replan(old, plan, shift, sorted(lessons))

        def move(day: date) -> Lesson:
            lesson = lessons[day]
            starts_at = moment_of(day + shift, plan.local_start, zone)
            if starts_at <= now:
                raise UnableToBook("past", f"{clock(starts_at)} is over already.")
            lesson.series, lesson.series_date = new, day + shift
            lesson.title, lesson.kind, lesson.work = plan.name, plan.kind, plan.work
            lesson.places = plan.places
            lesson.save()
            change = Move(lesson, starts_at, plan.arena, plan.minutes, plan.instructor)
            (moved,) = move_lessons(
                moves=[change], by=by, now=now, tell=False, overrule=overrule
            )
            return moved

        moved = _each(sorted(lessons), move)
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


def _split(
    old: LessonSeries,
    plan: SeriesPlan,
    shift: timedelta,
    days: list[date],
    now: datetime,
) -> LessonSeries:
    """End a series before its `days`, and begin the next with the same clients."""
    new = LessonSeries.objects.create(
        **_fields(plan),
        weekday=(old.weekday + shift.days) % 7,
        first_date=days[0] + shift,
        last_date=old.last_date + shift,
        split_from=old,
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
    _cut(old, days[0] - timedelta(days=1))
    return new


def _replan(
    series: LessonSeries, plan: SeriesPlan, shift: timedelta, days: list[date]
) -> None:
    """Change a series that has held no lesson yet as it is."""
    for name, value in _fields(plan).items():
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
