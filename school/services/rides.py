"""Who rides whom in a lesson."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from school.enums import HOLDING_STATES, LessonState, RideState
from school.models import Account, Horse, Lesson, Ride, Rider
from school.queries.schools import school_zone
from school.services import checks, welfare
from school.services.audit import record, snapshot
from school.services.invitations import lesson_changed, lessons_changed
from school.services.locks import take_turn
from school.services.may_ride import check_may_ride
from school.services.offer_ends import close_offers
from school.services.refusals import UnableToBook, asking_of, clock, refusal_of
from school.services.welfare import Told


def add_ride(
    *,
    lesson: Lesson,
    rider: Rider,
    horse: Horse | None,
    by: Account | None,
    now: datetime,
    tell: bool = True,
    overrule: str = "",
) -> Ride:
    """Give a rider a place in a lesson; a cancelled place is taken up again.

    `overrule` is the reason to go against rules of the horse's work.
    """
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
            told = _check(fresh, rider, horse)
            _refuse(told, fresh, overrule, by)
            ride = fresh.rides.filter(rider=rider).first()
            ride = ride or Ride(lesson=fresh, rider=rider)
            ride.horse = horse
            ride.state = RideState.BOOKED
            ride.cancelled_at = ride.cancelled_reason = ride.cancelled_by = None
            ride.cancelled_for_school = False
            ride.save()
            welfare.keep(told, fresh, overrule=overrule, by=by, now=now)
            _touch(fresh, now)
            record(by=by, at=now, action="book", subject=ride, after=snapshot(ride))
            close_offers(lesson=fresh, now=now)
            if tell:
                lesson_changed(lesson=fresh, now=now)
            return ride
    except IntegrityError as error:
        raise refusal_of(error) from error


def cancel_ride(
    *,
    ride: Ride,
    reason: str,
    by: Account | None,
    now: datetime,
    tell: bool = True,
    for_school: bool = False,
) -> Ride:
    """Give a rider's place back; doing it twice is harmless.

    What is taken back `for_school` costs nothing, however late.
    """
    if not reason.strip():
        raise UnableToBook("reason", "Say why the place is given back.", field="reason")
    with transaction.atomic():
        lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
        fresh = Ride.objects.get(pk=ride.pk)
        if fresh.state == RideState.CANCELLED:
            return fresh
        if lesson.starts_at <= now and lesson.state in HOLDING_STATES:
            raise UnableToBook(
                "past",
                f"{lesson.title} began at {clock(lesson.starts_at)}: what has been "
                "ridden stays as it was.",
                lesson=lesson.pk,
            )
        before = snapshot(fresh)
        fresh.state = RideState.CANCELLED
        fresh.cancelled_at = now
        fresh.cancelled_reason = reason.strip()[:200]
        fresh.cancelled_by = by
        fresh.cancelled_for_school = for_school
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
    *,
    ride: Ride,
    horse: Horse | None,
    by: Account | None,
    now: datetime,
    tell: bool = True,
    before: dict[str, Any] | None = None,
    overrule: str = "",
) -> Ride:
    """Give a rider another horse, or none yet.

    `before` is the ride as it was, where its horse was let go in the same
    transaction; with `tell` false the caller tells of all it changes at once;
    `overrule` goes against rules of the horse's work.
    """
    try:
        with transaction.atomic():
            lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
            take_turn(horses=[horse.pk if horse else None])
            fresh = Ride.objects.select_related("rider__person").get(pk=ride.pk)
            told = _told(lesson, fresh.rider, horse, but=(lesson.pk,))
            _refuse(told, lesson, overrule, by)
            was = before or snapshot(fresh)
            fresh.horse = horse
            fresh.save()
            welfare.keep(told, lesson, overrule=overrule, by=by, now=now)
            _touch(lesson, now)
            record(
                by=by,
                at=now,
                action="change horse",
                subject=fresh,
                before=was,
                after=snapshot(fresh),
            )
            if tell:
                lesson_changed(lesson=lesson, now=now)
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def change_horses(
    *,
    changes: Sequence[tuple[Ride, Horse | None]],
    by: Account | None,
    now: datetime,
    tell: bool = True,
) -> list[Ride]:
    """Give several riders other horses, all or none; two may change with each other.

    Whoever has the horse already stays untouched, so twice is harmless.
    """
    wanted = {ride.pk: horse for ride, horse in changes}
    try:
        with transaction.atomic():
            held = Ride.objects.filter(pk__in=wanted)
            lessons = {
                one.pk: one
                for one in Lesson.objects.select_for_update()
                .filter(pk__in=held.values("lesson"))
                .order_by("pk")
            }
            rides = [
                ride
                for ride in held.select_related("rider__person", "horse").order_by("pk")
                if ride.horse != wanted[ride.pk]
            ]
            take_turn(
                horses=[
                    *(ride.horse_id for ride in rides),
                    *(horse.pk for horse in wanted.values() if horse),
                ]
            )
            before = {ride.pk: snapshot(ride) for ride in rides}
            # All are let go first, so that two may change with each other.
            Ride.objects.filter(pk__in=before).update(horse=None)
            for ride in rides:
                ride.horse = wanted[ride.pk]
                with asking_of(ride.lesson_id):
                    _change_one(ride, lessons[ride.lesson_id], ride.horse, by, now)
                record(
                    by=by,
                    at=now,
                    action="change horse",
                    subject=ride,
                    before=before[ride.pk],
                    after=snapshot(ride),
                )
            touched = [lessons[key] for key in sorted({r.lesson_id for r in rides})]
            for lesson in touched:
                _touch(lesson, now)
            if tell:
                lessons_changed(lessons=touched, now=now)
            return rides
    except IntegrityError as error:
        raise refusal_of(error) from error


def _change_one(
    ride: Ride,
    lesson: Lesson,
    horse: Horse | None,
    by: Account | None,
    now: datetime,
) -> None:
    settled = lesson.state not in {
        LessonState.ASKED,
        LessonState.BOOKED,
        LessonState.CONFIRMED,
    }
    if settled or ride.state == RideState.CANCELLED:
        raise UnableToBook(
            "settled",
            f"{ride.rider.person.first_name} is not riding in {lesson.title} any more, "
            "or it has begun: no horse is changed.",
            lesson=lesson.pk,
        )
    told = _told(lesson, ride.rider, horse, but=(lesson.pk,))
    _refuse(told, lesson, "", by)
    ride.save()
    welfare.keep(told, lesson, overrule="", by=by, now=now)


def _check(lesson: Lesson, rider: Rider, horse: Horse | None) -> list[Told]:
    if lesson.state not in HOLDING_STATES:
        return []
    times = (lesson.starts_at, lesson.ends_at)
    check_may_ride([rider], lesson.starts_at, lesson.kind)
    checks.check_person(rider.pk, rider.person.first_name, *times, code="rider-busy")
    checks.check_teacher_level(lesson.instructor, rider, lesson.work)
    return _told(lesson, rider, horse)


def _told(
    lesson: Lesson, rider: Rider, horse: Horse | None, but: tuple[int, ...] = ()
) -> list[Told]:
    """Return what a ride breaks of the rules; a lesson that holds nothing, nothing."""
    if lesson.state not in HOLDING_STATES:
        return []
    return checks.check_horses(
        [(rider, horse)],
        lesson.starts_at,
        lesson.ends_at,
        work=lesson.horse_work,
        lesson=lesson.pk,
        but=but,
    )


def _refuse(
    told: list[Told], lesson: Lesson, overrule: str, by: Account | None
) -> None:
    welfare.refuse(
        told,
        lesson.starts_at,
        school_zone(),
        overrule=overrule,
        by=by,
        lesson=lesson.pk,
    )


def _touch(lesson: Lesson, now: datetime) -> None:
    lesson.changed_at = now
    lesson.version += 1
    lesson.save()
