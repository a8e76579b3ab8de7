"""What a client answers: we come, we can't, another time please."""

from dataclasses import dataclass
from datetime import datetime, time

from django.db import transaction

from school.enums import Answer, LessonKind, LessonState, RideState, WishState
from school.models import (
    Account,
    Client,
    Invitation,
    InvitedDay,
    Lesson,
    Ride,
    Rider,
    WaitingWish,
)
from school.queries.schools import free_until, the_school
from school.services.audit import record, snapshot
from school.services.lessons import cancel_lesson
from school.services.refusals import UnableToBook, clock
from school.services.rides import cancel_ride

MOST_WISHES = 20
"""Open wishes of one rider; more are a slip or a nuisance."""


class UnableToAnswer(UnableToBook):
    """An answer that is not taken: a code, plain words, and what they speak of."""


def cancel_until(lesson: Lesson) -> datetime:
    """Return the last moment at which a place is given back without charge."""
    return free_until(the_school(), lesson.starts_at, lesson.moved_at)


def own_rides(client: Client, lesson: Lesson) -> list[Ride]:
    """Return the booked rides of a client's riders in a lesson."""
    return list(
        Ride.objects.filter(lesson=lesson, rider__client=client, state=RideState.BOOKED)
        .select_related("rider__person", "horse")
        .order_by("pk")
    )


def note_answer(
    *, client: Client, lesson: Lesson, answer: Answer, now: datetime
) -> None:
    """Keep a client's answer to the invite to a lesson; the booking stays as it is."""
    with transaction.atomic():
        _still_to_come(lesson, now)
        if not own_rides(client, lesson):
            raise UnableToAnswer(
                "not-booked", f"{lesson.title} is not booked for you any more."
            )
        entry = _entry(client, lesson)
        if entry is not None and entry.answer != answer:
            before = snapshot(entry)
            entry.answer = answer
            entry.save(update_fields=["answer"])
            record(
                by=None,
                at=now,
                action="answer",
                subject=entry,
                before=before,
                after=snapshot(entry),
            )


def _entry(client: Client, lesson: Lesson) -> Invitation | InvitedDay | None:
    """Return what a client's calendar has for a lesson: its own entry, or a day's."""
    return (
        Invitation.objects.select_for_update()
        .filter(client=client, lesson=lesson, withdrawn=False)
        .first()
    ) or (
        InvitedDay.objects.select_for_update(of=("self",))
        .filter(
            invitation__client=client,
            invitation__withdrawn=False,
            lesson=lesson,
            dropped=False,
        )
        .first()
    )


@dataclass(frozen=True, slots=True)
class GivenBack:
    """What was given back: whose places, whether late, and whether all of it."""

    names: list[str]
    late: bool
    lesson_cancelled: bool


def give_back(
    *,
    client: Client,
    lesson: Lesson,
    now: datetime,
    rides: list[int] | None = None,
    late_is_known: bool = False,
) -> GivenBack:
    """Give a client's places in a lesson back; twice is harmless.

    A private or shared lesson that is left empty is cancelled, which frees arena,
    horse and instructor.

    Parameters
    ----------
    rides
        Keys of the rides meant; all of the client's when None. Others' are ignored.
    late_is_known
        The client was told that the free time is over and means it all the same.

    Raises
    ------
    UnableToAnswer
        `late` if the free time is over and that was not known; `started`, `over`.
    """
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        if fresh.state == LessonState.CANCELLED:
            return GivenBack([], late=False, lesson_cancelled=True)
        _still_to_come(fresh, now)
        meant = [
            ride
            for ride in own_rides(client, fresh)
            if rides is None or ride.pk in rides
        ]
        until = cancel_until(fresh)
        late = now > until
        if late and meant and not late_is_known:
            raise UnableToAnswer(
                "late",
                f"{fresh.title} could be cancelled without charge until "
                f"{clock(until)}.",
                lesson=fresh.pk,
            )
        reason = "given back late by the client" if late else "given back by the client"
        empty = _let_go(fresh, meant, reason, by=None, now=now)
        return GivenBack(
            [ride.rider.person.first_name for ride in meant],
            late=late,
            lesson_cancelled=empty,
        )


def _let_go(
    lesson: Lesson,
    rides: list[Ride],
    reason: str,
    *,
    by: Account | None,
    now: datetime,
    for_school: bool = False,
) -> bool:
    """Give places back; say whether that left a lesson of one or two empty.

    Such a lesson is cancelled, which frees arena, horse and instructor.
    """
    for ride in rides:
        cancel_ride(ride=ride, reason=reason, by=by, now=now, for_school=for_school)
    empty = not lesson.rides.filter(state=RideState.BOOKED).exists()
    alone = lesson.kind in {LessonKind.PRIVATE, LessonKind.SHARED}
    if not (rides and empty and alone):
        return False
    cancel_lesson(lesson=lesson, reason=reason, by=by, now=now)
    return True


def give_back_for(
    *,
    ride: Ride,
    for_school: bool,
    reason: str,
    by: Account | None,
    now: datetime,
) -> bool:
    """Give a place back on a client's word, or take it back for the school.

    Only the client's word may cost something. Say whether the lesson is cancelled
    with it; twice is harmless.
    """
    if not reason.strip():
        raise UnableToBook("reason", "Say why the place is given back.", field="reason")
    with transaction.atomic():
        lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
        fresh = Ride.objects.get(pk=ride.pk)
        if fresh.state == RideState.CANCELLED or lesson.state == LessonState.CANCELLED:
            return lesson.state == LessonState.CANCELLED
        _still_to_come(lesson, now)
        return _let_go(
            lesson, [fresh], reason.strip(), by=by, now=now, for_school=for_school
        )


def _still_to_come(lesson: Lesson, now: datetime) -> None:
    if lesson.state in {LessonState.RUNNING, LessonState.DONE}:
        raise UnableToAnswer(
            "over", f"{lesson.title} is {lesson.get_state_display().lower()}."
        )
    if lesson.starts_at <= now:
        raise UnableToAnswer(
            "started",
            f"{lesson.title} began at {clock(lesson.starts_at)}. Call the school.",
        )


def make_wish(
    *,
    rider: Rider,
    work: str,
    weekday: int | None,
    from_at: time,
    to_at: time,
    now: datetime,
    instead_of: Lesson | None = None,
    note: str = "",
) -> WaitingWish:
    """Put a rider on the waiting list for a time; the same wish twice is one."""
    if from_at >= to_at:
        raise UnableToAnswer(
            "times", "The earliest start must come before the latest.", field="to_at"
        )
    with transaction.atomic():
        same = rider.wishes.filter(
            state=WishState.OPEN,
            work=work,
            weekday=weekday,
            from_at=from_at,
            to_at=to_at,
            instead_of=instead_of,
        ).first()
        if same is not None:
            return same
        if rider.wishes.filter(state=WishState.OPEN).count() >= MOST_WISHES:
            raise UnableToAnswer(
                "too-many",
                f"{rider.person.first_name} has {MOST_WISHES} wishes already. "
                "Withdraw one first.",
            )
        wish = WaitingWish.objects.create(
            rider=rider,
            work=work,
            weekday=weekday,
            from_at=from_at,
            to_at=to_at,
            instead_of=instead_of,
            note=note.strip()[:300],
            made_at=now,
            state_at=now,
        )
        record(by=None, at=now, action="wish", subject=wish, after=snapshot(wish))
        return wish


def withdraw_wish(*, wish: WaitingWish, now: datetime) -> WaitingWish:
    """Take a wish off the waiting list; twice is harmless."""
    with transaction.atomic():
        fresh = WaitingWish.objects.select_for_update().get(pk=wish.pk)
        if fresh.state == WishState.OPEN:
            fresh.state = WishState.WITHDRAWN
            fresh.state_at = now
            fresh.save()
            record(by=None, at=now, action="withdraw wish", subject=fresh)
        return fresh
