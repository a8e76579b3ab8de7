"""Keeps each client's calendar entries true to their lessons, by rows to be sent."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from school.calendars.told import Told, told_of
from school.enums import (
    KEPT_PLACES,
    Answer,
    CalendarBy,
    LessonState,
    MessageKind,
    MessageMethod,
)
from school.models import Client, Invitation, Lesson, LessonSeries, Ride, School
from school.queries.schools import the_school
from school.services.outbox import tell
from school.services.packs import lock_payers, settle_lessons
from school.services.weekly import sync_weekly

_TOLD = {LessonState.BOOKED, LessonState.CONFIRMED}
"""States in which a change of a lesson is told to its clients."""

_KINDS = (MessageKind.INVITE, MessageKind.CHANGED, MessageKind.CANCELLED)


def lesson_changed(*, lesson: Lesson, now: datetime) -> None:
    """Write what must be told of a lesson; needs the transaction of the change.

    A lesson asked for invites nobody; one that runs or is over tells no more.
    """
    lessons_changed(lessons=[lesson], now=now)


def lessons_changed(*, lessons: Iterable[Lesson], now: datetime) -> None:
    """Write what must be told of several lessons, of a series only once."""
    school = the_school()
    changed = list(lessons)
    lock_payers(changed)
    # Whatever changes a place passes here, so what has paid it follows.
    settle_lessons(lessons=changed, now=now)
    telling = [
        one
        for one in changed
        if one.state not in {LessonState.RUNNING, LessonState.DONE}
    ]
    entries = _Entries(telling)
    for lesson in telling:
        _sync_single(school, lesson, entries, now)
    series = {one.series_id for one in telling if one.series_id is not None}
    _sync_series(school, series, now)


def series_changed(*, series: Iterable[LessonSeries], now: datetime) -> None:
    """Write what must be told of whole series to those invited to them."""
    _sync_series(the_school(), {one.pk for one in series}, now)


def _sync_series(school: School, keys: set[int], now: datetime) -> None:
    weekly = Invitation.objects.select_for_update(of=("self",)).select_related(
        "client__person", "series__arena", "series__instructor__person"
    )
    for invitation in weekly.filter(series_id__in=keys).order_by("pk"):
        sync_weekly(school=school, invitation=invitation, now=now)


class _Entries:
    """Who rides in some lessons, and which calendar entries they have: read once."""

    def __init__(self, lessons: Sequence[Lesson]) -> None:
        self._clients: dict[int, list[int]] = {}
        rides = Ride.objects.filter(
            lesson__in=[one.pk for one in lessons if one.state in _TOLD],
            state__in=KEPT_PLACES,
        ).order_by("lesson", "rider__client_id")
        for lesson, client in rides.values_list(
            "lesson", "rider__client_id"
        ).distinct():
            self._clients.setdefault(lesson, []).append(client)
        self._known: dict[int | None, dict[int, Invitation]] = {}
        own = Invitation.objects.select_for_update(of=("self",)).filter(
            lesson__in=[one.pk for one in lessons]
        )
        for one in own.select_related("client").order_by("pk"):
            self._known.setdefault(one.lesson_id, {})[one.client_id] = one
        self._weekly: dict[int | None, list[Invitation]] = {}
        keys = {one.series_id for one in lessons if one.series_id is not None}
        for one in Invitation.objects.filter(series__in=keys, withdrawn=False):
            self._weekly.setdefault(one.series_id, []).append(one)

    def clients_of(self, lesson: Lesson) -> list[int]:
        """Return the clients who are to have an entry of a lesson."""
        return self._clients.get(lesson.pk, [])

    def known_of(self, lesson: Lesson) -> dict[int, Invitation]:
        """Return the entries of a lesson alone, by client."""
        return self._known.get(lesson.pk, {})

    def weekly_of(self, lesson: Lesson) -> set[int]:
        """Return the clients whose weekly entry already has a lesson's day."""
        day = lesson.series_date
        return {
            one.client_id
            for one in self._weekly.get(lesson.series_id, [])
            if day and one.first_date and one.last_date
            and one.first_date <= day <= one.last_date
        }  # fmt: skip


def _sync_single(
    school: School, lesson: Lesson, entries: _Entries, now: datetime
) -> None:
    clients, known = entries.clients_of(lesson), entries.known_of(lesson)
    covered = entries.weekly_of(lesson)
    for client_id in clients:
        invitation = known.get(client_id)
        if client_id in covered and (invitation is None or invitation.withdrawn):
            continue
        told = told_of(school, lesson, client_id)
        digest = told.digest() + told.detail_digest()
        if invitation is None:
            client = Client.objects.get(pk=client_id)
            invitation = Invitation.objects.create(
                lesson=lesson,
                client=client,
                by_invite=client.calendar_by == CalendarBy.INVITE,
                content_digest=digest,
                changed_at=now,
            )
        elif invitation.content_digest == digest and not invitation.withdrawn:
            continue
        else:
            _change(invitation, told, now)
        _tell(invitation, MessageMethod.REQUEST, told, now)
    for client_id, invitation in known.items():
        if client_id not in clients and not invitation.withdrawn:
            invitation.withdrawn = True
            invitation.content_digest = ""
            raise_sequence(invitation, now)
            told = told_of(school, lesson, client_id)
            _tell(invitation, MessageMethod.CANCEL, told, now)


def _change(invitation: Invitation, told: Told, now: datetime) -> None:
    """Note what is new; only what an answer was given to makes it void.

    SEQUENCE rises with a new STATUS too (RFC 5546 section 2.1.4): a start that is
    settled where it was.
    """
    before = invitation.content_digest
    same = before.startswith(told.digest())
    invitation.content_digest = told.digest() + told.detail_digest()
    if same and not invitation.withdrawn:
        if before[-1:] != invitation.content_digest[-1:]:
            invitation.sequence += 1
        invitation.changed_at = now
        invitation.save()
        return
    if invitation.withdrawn:
        # It begins anew, the way the client has chosen since.
        invitation.by_invite = invitation.client.calendar_by == CalendarBy.INVITE
    invitation.withdrawn = False
    raise_sequence(invitation, now)


def raise_sequence(invitation: Invitation, now: datetime) -> None:
    """Raise what tells calendars that old answers are void, and forget the answer."""
    invitation.sequence += 1
    invitation.answer = Answer.NEEDS_ACTION
    invitation.changed_at = now
    invitation.save()


def _tell(invitation: Invitation, method: str, told: Told, now: datetime) -> None:
    tell(
        invitation=invitation,
        method=method,
        kinds=_KINDS,
        told=told.as_data(),
        digest=invitation.content_digest,
        starts_at=told.starts_at,
        now=now,
    )
