"""Keeps each client's calendar entries true to their lessons, by rows to be sent."""

from collections.abc import Iterable
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
from school.services.packs import lock_payers, settle_lesson
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
    series: set[int] = set()
    changed = list(lessons)
    lock_payers(changed)
    for lesson in changed:
        # Whatever changes a place passes here, so what has paid it follows.
        settle_lesson(lesson=lesson, now=now)
        if lesson.state in {LessonState.RUNNING, LessonState.DONE}:
            continue
        if lesson.series_id is not None:
            series.add(lesson.series_id)
        _sync_single(school, lesson, now)
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


def _sync_single(school: School, lesson: Lesson, now: datetime) -> None:
    clients: list[int] = []
    if lesson.state in _TOLD:
        clients = list(
            Ride.objects.filter(lesson=lesson, state__in=KEPT_PLACES)
            .order_by("rider__client_id")
            .values_list("rider__client_id", flat=True)
            .distinct()
        )
    known = {
        one.client_id: one
        for one in Invitation.objects.select_for_update(of=("self",))
        .select_related("client")
        .filter(lesson=lesson)
    }
    covered = _covered_by_series(lesson)
    for client_id in clients:
        told = told_of(school, lesson, client_id)
        digest = told.digest() + told.detail_digest()
        invitation = known.get(client_id)
        if client_id in covered and (invitation is None or invitation.withdrawn):
            continue
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


def _covered_by_series(lesson: Lesson) -> set[int]:
    """Return the clients whose weekly entry already has this lesson's day."""
    if lesson.series_id is None:
        return set()
    return set(
        Invitation.objects.filter(
            series_id=lesson.series_id,
            first_date__lte=lesson.series_date,
            last_date__gte=lesson.series_date,
            withdrawn=False,
        ).values_list("client_id", flat=True)
    )


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
