"""Feeds of a client, an instructor, a horse and an arena."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import translation

from school.calendars.components import Entry
from school.calendars.facts import title_of
from school.calendars.snapshots import Snapshot
from school.enums import CalendarBy, FeedKind, LessonKind, Work
from school.models import FeedToken, School
from school.queries.agenda import (
    AgendaLesson,
    InvitedEntry,
    agenda_of,
    invited_entries,
)
from school.queries.schools import free_until
from school.queries.windows import exact_time_by

BACK = timedelta(days=14)
AHEAD = timedelta(days=366)
REFRESH_MIN = 60


def personal_snapshot(school: School, token: FeedToken, now: datetime) -> Snapshot:
    """Return what a token's holder is shown, from two weeks back to a year ahead."""
    first, last = now - BACK, now + AHEAD
    lessons = [
        # What has begun is not open any more.
        replace(one, window=None) if one.starts_at <= now else one
        for one in agenda_of(token, first, last, now)
    ]
    invited = _invited(token, first, last)
    # What was only asked for, and of which nobody was told, is called off unseen.
    lessons = [one for one in lessons if not one.called_off or one.pk in invited]
    by_mail: set[int] = set()
    if invited and _by_feed_alone(token):
        by_mail = {pk for pk, one in invited.items() if one.by_invite}
    entry = _entry_maker(school, token, invited, now)
    # In one language, whatever the request asks for: the bytes are for all alike.
    with translation.override("en"):
        entries = tuple(entry(one) for one in lessons if one.pk not in by_mail)
    return Snapshot(
        name=f"{_name(token)}, {school.name}",
        zone=school.zone,
        refresh_min=REFRESH_MIN,
        entries=entries,
    )


def _name(token: FeedToken) -> str:
    if token.kind == FeedKind.CLIENT and token.person is not None:
        return f"Lessons of {token.person.first_name}"
    if token.kind == FeedKind.INSTRUCTOR and token.person is not None:
        return f"Lessons taught by {token.person.first_name}"
    if token.horse is not None:
        return f"Work of {token.horse.name}"
    return f"Lessons in {token.arena}"


def _invited(
    token: FeedToken, first: datetime, last: datetime
) -> dict[int, InvitedEntry]:
    if token.kind != FeedKind.CLIENT or token.person_id is None:
        return {}
    return invited_entries(token.person_id, first, last)


def _by_feed_alone(token: FeedToken) -> bool:
    """Say whether a client chose the feed: what came by mail then stays by mail."""
    client = getattr(token.person, "client", None)
    return client is not None and client.calendar_by == CalendarBy.FEED


def _entry_maker(
    school: School, token: FeedToken, invited: dict[int, InvitedEntry], now: datetime
) -> Callable[[AgendaLesson], Entry]:
    if token.kind != FeedKind.CLIENT or token.person_id is None:
        return lambda lesson: _plain(lesson, token.kind)
    client_id = token.person_id
    return lambda lesson: _client(
        lesson, client_id, invited.get(lesson.pk), school, now
    )


def _client(
    lesson: AgendaLesson,
    client_id: int,
    invited: InvitedEntry | None,
    school: School,
    now: datetime,
) -> Entry:
    """Return a client's entry: their own riders only, the invite's own UID.

    The days of a weekly invite have one UID in a mail; here each stands alone, so
    each has its own, made of the invite's and the day's first start.
    """
    uid = uuid5(lesson.uuid, f"client {client_id}")
    if invited is not None and invited.original is not None:
        uid = uuid5(invited.uid, invited.original.isoformat())
    elif invited is not None:
        uid = invited.uid
    names = [one.first_name for one in lesson.rides if one.client_id == client_id]
    title = title_of(names, lesson.work)
    return Entry(
        uid=uid,
        sequence=invited.sequence if invited else lesson.version,
        changed_at=max(lesson.changed_at, invited.changed_at)
        if invited
        else lesson.changed_at,
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        summary=f"Cancelled: {title}" if lesson.called_off else title,
        location=lesson.arena,
        description=_called_off_words(lesson, school)
        if lesson.called_off
        else _client_words(lesson, school, now),
        # Not by STATUS: some programs hide what has it, others show it as before.
        free=lesson.called_off,
        tentative=lesson.window is not None and not lesson.called_off,
    )


def _client_words(lesson: AgendaLesson, school: School, now: datetime) -> str:
    zone = ZoneInfo(school.zone)
    arrive = lesson.starts_at - timedelta(minutes=school.arrive_before_min)
    until = free_until(school, lesson.starts_at, lesson.moved_at).astimezone(zone)
    wear = "riding hat, boots with a heel"
    if lesson.work == Work.JUMPING:
        wear += ", body protector"
    return "\n".join(
        [
            *_moved_words(lesson),
            *_not_fixed(lesson, school, now),
            f"Be there by {arrive.astimezone(zone):%H:%M}. With {lesson.instructor}.",
            f"Wear: {wear}.",
            *([f"Weather: {school.weather_rule}"] if school.weather_rule else []),
            f"Free to cancel until {until:%A} {until.day} {until:%B %H:%M}, by the "
            f"link in the lesson's mail or at {school.organiser_email}.",
            *_telephone(school),
        ]
    )


def _moved_words(lesson: AgendaLesson) -> list[str]:
    """Say why it is not as it was: first, since it is read first."""
    if not lesson.reason:
        return []
    return [f"Changed: {lesson.reason.rstrip('.')}. Now in {lesson.arena}."]


def _called_off_words(lesson: AgendaLesson, school: School) -> str:
    return "\n".join(
        [
            f"Not held: {lesson.reason}",
            f"Please do not come. Questions: {school.organiser_email}.",
            *_telephone(school),
        ]
    )


def _telephone(school: School) -> list[str]:
    return [f"Telephone: {school.phone}"] if school.phone else []


def _not_fixed(lesson: AgendaLesson, school: School, now: datetime) -> list[str]:
    """Say until when an open start is told: first, since it is read first."""
    if lesson.window is None:
        return []
    zone = ZoneInfo(school.zone)
    first, last = (one.astimezone(zone) for one in lesson.window)
    says = f"Not fixed yet: may start from {first:%H:%M} to {last:%H:%M}; "
    by = exact_time_by(school, lesson.starts_at).astimezone(zone)
    if by <= now:
        return [says + "the time above holds unless the school writes to you."]
    return [says + f"you are told the exact time by {by:%A} {by.day} {by:%B %H:%M}."]


def _plain(lesson: AgendaLesson, kind: str) -> Entry:
    """Return an entry without any rider's name."""
    riders = len(lesson.rides)
    what = "jumping" if lesson.work == Work.JUMPING else "flat"
    many = "" if riders == 1 else "s"
    words = f"{LessonKind(lesson.kind).label} {what}, {riders} rider{many}"
    more = lesson.arena if kind != FeedKind.ARENA else f"with {lesson.instructor}"
    horses = ", ".join(ride.horse for ride in lesson.rides if ride.horse)
    return Entry(
        uid=uuid5(lesson.uuid, kind),
        sequence=lesson.version,
        changed_at=lesson.changed_at,
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        summary=words,
        location=lesson.arena,
        description=f"{words}, {more}. Horses: {horses or 'none yet'}.",
        url=f"{settings.BASE_URL}/lessons/{lesson.pk}/",
        # A horse's or an arena's hours do not fill the time of who looks at them.
        free=kind in {FeedKind.HORSE, FeedKind.ARENA},
        tentative=lesson.window is not None,
    )
