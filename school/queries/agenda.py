"""Lessons as calendar feeds show them: plain rows, few queries, no models built."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q, QuerySet

from school.enums import (
    HOLDING_STATES,
    KEPT_PLACES,
    FeedKind,
    LessonState,
    RideState,
)
from school.models import FeedToken, Invitation, InvitedDay, Lesson, Ride

CALLED_OFF_SHOWN = timedelta(days=7)
"""Called off this near, a lesson stays in its client's feed and says so."""


@dataclass(frozen=True, slots=True)
class AgendaRide:
    """A booked ride: whose rider, their first name, and the horse's name."""

    client_id: int
    first_name: str
    horse: str


@dataclass(frozen=True, slots=True)
class AgendaLesson:
    """A lesson with its booked rides: one that holds its place, or was called off.

    Its start may still move within `window` where that is given. `reason` is why it
    was moved, or called off.
    """

    pk: int
    uuid: UUID
    version: int
    changed_at: datetime
    starts_at: datetime
    ends_at: datetime
    kind: str
    work: str
    arena: str
    instructor: str
    window: tuple[datetime, datetime] | None
    moved_at: datetime | None
    reason: str
    called_off: bool
    rides: tuple[AgendaRide, ...]


@dataclass(frozen=True, slots=True)
class InvitedEntry:
    """What a client's calendar has for a lesson by invite.

    `original` is set for a day of a weekly invite.
    """

    uid: UUID
    sequence: int
    changed_at: datetime
    original: datetime | None = None
    by_invite: bool = True


def agenda_of(
    token: FeedToken, first: datetime, last: datetime, now: datetime
) -> list[AgendaLesson]:
    """Return the lessons a feed shows, by start, in two queries."""
    # Who did not come stays in their own calendar, and rode no horse of the yard's.
    client = token.kind == FeedKind.CLIENT
    shown = Q(state__in=HOLDING_STATES)
    if client:
        shown |= _called_off_late(now)
    lessons = _lessons_of(token).filter(shown, starts_at__gte=first, starts_at__lt=last)
    states = KEPT_PLACES if client else (RideState.BOOKED,)
    rides: dict[int, list[AgendaRide]] = {}
    for lesson_id, client_id, name, horse in (
        Ride.objects.filter(lesson__in=lessons, state__in=states)
        .order_by("lesson_id", "pk")
        .values_list(
            "lesson_id", "rider__client_id", "rider__person__first_name", "horse__name"
        )
    ):
        ride = AgendaRide(client_id, name, horse or "")
        rides.setdefault(lesson_id, []).append(ride)
    rows = lessons.order_by("starts_at", "pk").values_list(
        "pk",
        "uuid",
        "version",
        "changed_at",
        "starts_at",
        "ends_at",
        "kind",
        "work",
        "arena__name",
        "instructor__person__first_name",
        "window_from",
        "window_to",
        "time_set_at",
        "state",
        "state_reason",
        "moved_reason",
        "moved_at",
    )
    return [
        AgendaLesson(
            *row[:10],
            # Once its time is settled the window is the planner's business alone.
            (row[10], row[11]) if row[10] and row[11] and row[12] is None else None,
            row[16],
            row[14] or row[15],
            row[13] == LessonState.CANCELLED,
            tuple(rides.get(row[0], [])),
        )
        for row in rows
    ]


def _called_off_late(now: datetime) -> Q:
    """Say which lessons were called off so near that they may be missed, until over.

    An entry that only goes is seen by nobody who looked before; what falls out long
    before its day would only heap up.
    """
    near = Q(state_at__gte=F("starts_at") - CALLED_OFF_SHOWN)
    return near & Q(state=LessonState.CANCELLED, ends_at__gt=now)


def _lessons_of(token: FeedToken) -> QuerySet[Lesson]:
    """Return the lessons of a feed's holder; by keys, so that none comes twice."""
    booked = Ride.objects.filter(state=RideState.BOOKED)
    if token.kind == "client":
        kept = Ride.objects.filter(state__in=KEPT_PLACES)
        own = kept.filter(rider__client_id=token.person_id)
        return Lesson.objects.filter(pk__in=own.values("lesson_id"))
    if token.kind == "horse":
        own = booked.filter(horse=token.horse)
        return Lesson.objects.filter(pk__in=own.values("lesson_id"))
    if token.kind == "instructor":
        return Lesson.objects.filter(instructor_id=token.person_id)
    return Lesson.objects.filter(arena=token.arena)


def invited_entries(
    client_id: int, first: datetime, last: datetime
) -> dict[int, InvitedEntry]:
    """Return a client's invites by lesson, in two queries; their own entry first.

    Of a cancelled lesson the one that was withdrawn.
    """
    when = Q(lesson__starts_at__gte=first, lesson__starts_at__lt=last)
    off = Q(lesson__state=LessonState.CANCELLED)
    days = InvitedDay.objects.filter(
        when,
        off | Q(invitation__withdrawn=False, dropped=False),
        invitation__client_id=client_id,
    )
    found = {
        lesson_id: InvitedEntry(uid, sequence, changed, original, by_invite)
        for lesson_id, uid, sequence, changed, original, by_invite in days.values_list(
            "lesson_id",
            "invitation__uid",
            "sequence",
            "changed_at",
            "original_starts_at",
            "invitation__by_invite",
        )
    }
    for lesson_id, uid, sequence, changed_at, by_invite in Invitation.objects.filter(
        when, off | Q(withdrawn=False), client_id=client_id
    ).values_list("lesson_id", "uid", "sequence", "changed_at", "by_invite"):
        if lesson_id is not None:
            found[lesson_id] = InvitedEntry(
                uid, sequence, changed_at, by_invite=by_invite
            )
    return found
