"""Who rides whom in a lesson."""

from datetime import datetime

from django.db import IntegrityError, transaction

from school.enums import HOLDING_STATES, RideState
from school.models import Account, Horse, Lesson, Ride, Rider
from school.services import checks
from school.services.audit import record, snapshot
from school.services.invitations import lesson_changed
from school.services.locks import take_turn
from school.services.refusals import UnableToBook, refusal_of


def add_ride(
    *,
    lesson: Lesson,
    rider: Rider,
    horse: Horse | None,
    by: Account | None,
    now: datetime,
    tell: bool = True,
) -> Ride:
    """Give a rider a place in a lesson; a cancelled place is taken up again."""
    try:
        with transaction.atomic():
            fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
            take_turn(people=[rider.pk], horses=[horse.pk if horse else None])
            taken = fresh.rides.filter(state=RideState.BOOKED)
            if taken.filter(rider=rider).exists():
                raise UnableToBook(
                    "rider-twice",
                    f"{rider.person.first_name} is already in {fresh.title}.",
                )
            if taken.count() >= fresh.places:
                raise UnableToBook(
                    "full",
                    f"{fresh.title} is full: all {fresh.places} places are gone.",
                )
            _check(fresh, rider, horse)
            ride = fresh.rides.filter(rider=rider).first()
            ride = ride or Ride(lesson=fresh, rider=rider)
            ride.horse = horse
            ride.state = RideState.BOOKED
            ride.cancelled_at = ride.cancelled_reason = ride.cancelled_by = None
            ride.save()
            _touch(fresh, now)
            record(by=by, at=now, action="book", subject=ride, after=snapshot(ride))
            if tell:
                lesson_changed(lesson=fresh, now=now)
            return ride
    except IntegrityError as error:
        raise refusal_of(error) from error


def cancel_ride(
    *, ride: Ride, reason: str, by: Account | None, now: datetime, tell: bool = True
) -> Ride:
    """Give a rider's place back; doing it twice is harmless."""
    if not reason.strip():
        raise UnableToBook("reason", "Say why the place is given back.", field="reason")
    with transaction.atomic():
        lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
        fresh = Ride.objects.get(pk=ride.pk)
        if fresh.state == RideState.CANCELLED:
            return fresh
        before = snapshot(fresh)
        fresh.state = RideState.CANCELLED
        fresh.cancelled_at = now
        fresh.cancelled_reason = reason.strip()[:200]
        fresh.cancelled_by = by
        fresh.save()
        _touch(lesson, now)
        record(
            by=by,
            at=now,
            action="cancel",
            subject=fresh,
            before=before,
            after=snapshot(fresh),
        )
        if tell:
            lesson_changed(lesson=lesson, now=now)
        return fresh


def change_horse(
    *, ride: Ride, horse: Horse, by: Account | None, now: datetime
) -> Ride:
    """Give a rider another horse."""
    try:
        with transaction.atomic():
            lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
            take_turn(horses=[horse.pk])
            fresh = Ride.objects.select_related("rider__person").get(pk=ride.pk)
            checks.check_pair(fresh.rider, horse)
            if lesson.state in HOLDING_STATES:
                checks.check_horse(
                    horse, lesson.starts_at, lesson.ends_at, but=(lesson.pk,)
                )
            before = snapshot(fresh)
            fresh.horse = horse
            fresh.save()
            _touch(lesson, now)
            record(
                by=by,
                at=now,
                action="change horse",
                subject=fresh,
                before=before,
                after=snapshot(fresh),
            )
            lesson_changed(lesson=lesson, now=now)
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def _check(lesson: Lesson, rider: Rider, horse: Horse | None) -> None:
    if lesson.state not in HOLDING_STATES:
        return
    times = (lesson.starts_at, lesson.ends_at)
    checks.check_person(rider.pk, rider.person.first_name, *times, code="rider-busy")
    checks.check_teacher_level(lesson.instructor, rider, lesson.work)
    if horse is not None:
        checks.check_pair(rider, horse)
        checks.check_horse(horse, *times)


def _touch(lesson: Lesson, now: datetime) -> None:
    lesson.changed_at = now
    lesson.version += 1
    lesson.save()
