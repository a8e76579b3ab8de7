"""Weekly lessons: begun, joined, left, skipped, ended."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, timedelta

from django.db import transaction

from exercises.models import ExerciseRevision
from school.calendars.zones import UnableToSayZone, vtimezone
from school.enums import CalendarBy, LessonState
from school.models import (
    Account,
    Client,
    Horse,
    Invitation,
    Lesson,
    LessonSeries,
    Ride,
    Rider,
    SeriesException,
    Term,
)
from school.queries.schools import one_school, school_zone, the_school
from school.queries.series import lessons_from, moment_of, weeks_of
from school.services.audit import record, snapshot
from school.services.booking import book_with_grid, party_of
from school.services.invitations import lessons_changed
from school.services.lessons import cancel_lesson
from school.services.refusals import UnableToBook
from school.services.rides import add_ride, cancel_ride
from school.services.series_parts import (
    SeriesPlan,
    cut_entries,
    day_words,
    each_day,
    fields_of,
    locked,
    not_past,
    to_come,
)

MOST_WEEKS = 60
"""Weeks a series may be booked ahead at once: a little over a year."""


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
    term: Term | None = None,
    carried_from: LessonSeries | None = None,
    revision: ExerciseRevision | None = None,
) -> LessonSeries:
    """Book a lesson for every week, all or none; `skip` names days and why not.

    `overrule` is the reason to go against rules of horses' work in each of them;
    `term` is what it is booked for, `carried_from` what it goes on from; the grid
    of `revision` is fitted anew to the horses of each.

    Raises
    ------
    UnableToBook
        Naming each day that can't be booked, and why.
    """
    pairs, skipped = list(rides), skip or {}
    days, held = _weeks(first_date, last_date, skipped)
    with transaction.atomic(), one_school():
        series = LessonSeries.objects.create(
            **fields_of(plan),
            weekday=first_date.weekday(),
            first_date=days[0],
            last_date=days[-1],
            term=term,
            carried_from=carried_from,
        )
        for day, reason in skipped.items():
            SeriesException.objects.create(series=series, date=day, reason=reason)
        book = _booking(
            series, plan, pairs, revision, by=by, now=now, overrule=overrule
        )
        lessons = each_day(held, book)
        clients = {rider.client for rider, _ in pairs}
        for client in sorted(clients, key=lambda one: one.pk):
            _invite(series, client, held[0], held[-1], len(held), now)
        record(by=by, at=now, action="book", subject=series, after=snapshot(series))
        lessons_changed(lessons=lessons, now=now)
        return series


def _weeks(
    first_date: date, last_date: date, skip: Mapping[date, str]
) -> tuple[list[date], list[date]]:
    """Return the days of a series, and those of them on which it is held."""
    days = list(weeks_of(first_date, last_date))
    held = [day for day in days if day not in skip]
    if not held or len(days) > MOST_WEEKS:
        raise UnableToBook(
            "series-length",
            f"A series has from 1 to {MOST_WEEKS} weeks; look at the first and last "
            "day.",
            field="last_date",
        )
    return days, held


def _booking(
    series: LessonSeries,
    plan: SeriesPlan,
    pairs: list[tuple[Rider, Horse | None]],
    revision: ExerciseRevision | None,
    *,
    by: Account | None,
    now: datetime,
    overrule: str,
) -> Callable[[date], Lesson]:
    """Return what books a lesson of a series on some day, and tells nobody yet."""
    zone = school_zone()
    party = party_of(
        arena=plan.arena, instructor=plan.instructor, rides=pairs, kind=plan.kind
    )

    def book(day: date) -> Lesson:
        first, last = plan.window(day, zone)
        return book_with_grid(
            revision=revision,
            title=plan.name,
            kind=plan.kind,
            work=plan.work,
            starts_at=moment_of(day, plan.local_start, zone),
            minutes=plan.minutes,
            arena=plan.arena,
            instructor=plan.instructor,
            places=plan.places,
            rides=pairs,
            window_from=first,
            window_to=last,
            series=series,
            series_date=day,
            by=by,
            now=now,
            tell=False,
            overrule=overrule,
            party=party,
        )

    return book


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
    not_past(first_date, now)
    with transaction.atomic():
        lessons = {
            one.series_date: one
            for one in to_come(locked(series), first_date, now)
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

        each_day(list(lessons), join)
        days = sorted(lessons)
        _invite(series, rider.client, days[0], days[-1], len(days), now)
        lessons_changed(lessons=lessons.values(), now=now)
        return rides


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
    not_past(first_date, now)
    with transaction.atomic():
        lessons = to_come(locked(series), first_date, now)
        given_back = 0
        for ride in Ride.objects.filter(
            lesson__in=lessons, rider=rider, state="booked"
        ).order_by("pk"):
            cancel_ride(ride=ride, reason=reason, by=by, now=now, tell=False)
            given_back += 1
        others = Ride.objects.filter(
            lesson__in=lessons, rider__client_id=rider.client_id, state="booked"
        )
        if lessons and not others.exists():
            last = min(one.series_date or first_date for one in lessons)
            cut_entries(series, last - timedelta(days=1), client_id=rider.client_id)
        lessons_changed(lessons=_fresh(lessons), now=now)
        return given_back


def _fresh(lessons: Iterable[Lesson]) -> list[Lesson]:
    keys = [one.pk for one in lessons]
    return list(Lesson.objects.filter(pk__in=keys).order_by("pk"))


def skip_days(
    *,
    series: LessonSeries,
    days: Mapping[date, str],
    by: Account | None,
    now: datetime,
) -> None:
    """Hold no lesson on these days, each with its reason (a holiday, say)."""
    with transaction.atomic():
        fresh = locked(series)
        lessons = []
        for day, reason in days.items():
            if not reason.strip():
                raise UnableToBook(
                    "reason", "Say why the lesson is not held.", field="reason"
                )
            not_past(day, now)
            if fresh.exceptions.filter(date=day).exists():
                continue
            lesson = fresh.lessons.filter(series_date=day).first()
            if lesson is None:
                raise UnableToBook(
                    "not-held",
                    f"{fresh.name} is not held on {day_words(day)}: choose one of the "
                    "days of its lessons.",
                    field="day",
                )
            reason = reason.strip()[:120]
            SeriesException.objects.create(series=fresh, date=day, reason=reason)
            lessons.append(
                cancel_lesson(lesson=lesson, reason=reason, by=by, now=now, tell=False)
            )
            record(
                by=by,
                at=now,
                action="skip day",
                subject=fresh,
                after={"day": day.isoformat(), "reason": reason},
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
    not_past(last_date + timedelta(days=1), now)
    with transaction.atomic():
        fresh = locked(series)
        before = snapshot(fresh)
        lessons = [
            cancel_lesson(lesson=one, reason=reason, by=by, now=now, tell=False)
            for one in to_come(fresh, last_date + timedelta(days=1), now)
        ]
        # One of today that has begun after that day is the last of them.
        kept = lessons_from(fresh, last_date + timedelta(days=1))
        last = max([last_date, *(one.series_date or last_date for one in kept)])
        last = min(fresh.last_date, max(last, fresh.first_date))
        if not lessons and last == fresh.last_date:
            return fresh
        fresh.last_date = last
        fresh.save()
        cut_entries(fresh, last)
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
