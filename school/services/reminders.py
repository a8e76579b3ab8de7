"""Reminders by mail: at set times, not in quiet hours, each once."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from school.calendars.told import told_of
from school.enums import LessonState, MessageState
from school.models import (
    Client,
    Invitation,
    InvitedDay,
    Lesson,
    OutboxMessage,
    School,
)
from school.queries.lessons import lessons_to_remind_of
from school.queries.schools import free_until, the_school
from school.services.outbox import remind

GRACE = timedelta(hours=6)
"""How late a reminder may still be written, after an outage say."""

APART = timedelta(hours=6)
"""Two reminders closer than this are one: the later."""

DAY = timedelta(days=1)


def reminder_moments(school: School, starts_at: datetime) -> dict[str, datetime]:
    """Return when a lesson is reminded of, by the name of the reminder, in UTC.

    The first is counted in hours, the second by the clock on the evening before; a
    moment in quiet hours is put off to their end, unless that is after the last
    moment to cancel without charge: then it comes before them.
    """
    zone, starts_at = ZoneInfo(school.zone), starts_at.astimezone(UTC)
    moments = {}
    if school.remind_hours:
        moments["hours"] = starts_at - timedelta(hours=school.remind_hours)
    if school.remind_evening_at is not None:
        eve = starts_at.astimezone(zone).date() - DAY
        moments["evening"] = _at(eve, school.remind_evening_at, zone)
    limit = free_until(school, starts_at, None)
    moments = {
        name: _outside_quiet(school, moment, limit, starts_at)
        for name, moment in moments.items()
    }
    if len(moments) == 2 and abs(moments["evening"] - moments["hours"]) < APART:
        del moments[min(moments, key=lambda name: (moments[name], name))]
    return moments


def _at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


def _outside_quiet(
    school: School, moment: datetime, limit: datetime, starts_at: datetime
) -> datetime:
    zone, begin, end = ZoneInfo(school.zone), school.quiet_from, school.quiet_to
    local = moment.astimezone(zone)
    clock, day = local.time(), local.date()
    over_midnight = begin > end
    if over_midnight:
        quiet = clock >= begin or clock < end
        first_day = day if clock >= begin else day - DAY
    else:
        quiet = begin <= clock < end
        first_day = day
    if not quiet:
        return moment.astimezone(UTC)
    put_off = _at(first_day + DAY if over_midnight else first_day, end, zone)
    if put_off >= starts_at or moment <= limit < put_off:
        return _at(first_day, begin, zone) - timedelta(minutes=1)
    return put_off


def write_reminders(*, now: datetime) -> int:
    """Write the reminders that are due; return how many. Twice is harmless."""
    school, written = the_school(), 0
    ahead = timedelta(hours=school.remind_hours) + 2 * DAY
    for lesson in lessons_to_remind_of(now, now + ahead):
        for name, moment in reminder_moments(school, lesson.starts_at).items():
            if moment <= now < moment + GRACE:
                written += _remind_all(school, lesson, name, moment, now)
    return written


def _remind_all(
    school: School, lesson: Lesson, name: str, moment: datetime, now: datetime
) -> int:
    day = lesson.starts_at.astimezone(ZoneInfo(school.zone)).date()
    written = 0
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        told_after = _told_after(fresh, moment) | _not_told_yet(fresh)
        if fresh.starts_at != lesson.starts_at or fresh.state not in {
            LessonState.BOOKED,
            LessonState.CONFIRMED,
        }:
            return 0
        for client in Client.objects.filter(
            riders__rides__lesson=fresh, riders__rides__state="booked"
        ).distinct():
            # Who was written to since the reminder's moment needs none; who is still
            # to be told of the lesson itself is reminded after that.
            if not client.person.email or client.pk in told_after:
                continue
            written += remind(
                client=client,
                lesson=fresh,
                once=f"{name}:{fresh.pk}:{client.pk}:{day.isoformat()}",
                told=told_of(school, fresh, client.pk).as_data(),
                now=now,
            )
    return written


def _told_after(lesson: Lesson, moment: datetime) -> set[int]:
    """Return the clients whose entry for a lesson changed after a moment."""
    own = Invitation.objects.filter(lesson=lesson, changed_at__gt=moment)
    days = InvitedDay.objects.filter(
        lesson=lesson, changed_at__gt=moment, dropped=False
    )
    return {
        *own.values_list("client_id", flat=True),
        *days.values_list("invitation__client_id", flat=True),
    }


def _not_told_yet(lesson: Lesson) -> set[int]:
    """Return the clients to whom a mail about a lesson has not gone yet."""
    about = Q(invitation__lesson=lesson) | Q(day__lesson=lesson)
    if lesson.series_id is not None:
        about |= Q(invitation__series_id=lesson.series_id, day=None)
    waiting = OutboxMessage.objects.filter(about, state=MessageState.WAITING)
    return set(waiting.values_list("client_id", flat=True))
