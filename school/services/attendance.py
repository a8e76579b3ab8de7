"""Who came and when: no-shows, who came late, and lessons that were ended early.

Only what happened is noted, and what it costs by the rules of the house; nothing is
paid here. A missed place lets its horse go; an ended lesson lets its arena, its
people and its horses go, and its minutes are those that were ridden.
"""

from datetime import UTC, datetime, timedelta

from django.db import IntegrityError, transaction

from school.enums import (
    HOLDING_STATES,
    Charge,
    EndCause,
    LessonState,
    OutcomeKind,
    PaidBy,
    RideState,
)
from school.models import Account, EarlyEnd, Lesson, MakeUpCredit, Outcome, Ride, School
from school.queries.ride_logs import valid_rides
from school.queries.schools import school_zone, the_school
from school.services import checks
from school.services.audit import record, snapshot
from school.services.locks import take_turn
from school.services.offer_ends import close_offers
from school.services.packs import charge_place, lock_payers, settle_lesson
from school.services.refusals import UnableToBook, clock, hour, refusal_of

CORRECT_WITHIN = timedelta(days=7)
"""So long after a lesson its notes can be set right; then accounts rely on them."""


def note_no_show(*, ride: Ride, by: Account | None, now: datetime) -> Ride:
    """Note that a rider did not come; twice is harmless."""
    school = the_school()
    return _note(
        ride, OutcomeKind.NO_SHOW, RideState.MISSED, school.no_show_charge, by, now
    )


def note_late(
    *,
    ride: Ride,
    minutes: int,
    by: Account | None,
    now: datetime,
    rode: bool = False,
) -> Ride:
    """Note how late a rider came; twice is harmless.

    Later than the house rule allows the lesson is lost, unless they `rode` all the
    same; who rides what is left of it pays as booked.
    """
    if not 1 <= minutes <= 240:
        raise UnableToBook(
            "minutes", "Say how many minutes late, from 1 to 240.", field="minutes"
        )
    school = the_school()
    kind, state, charge = OutcomeKind.LATE, RideState.BOOKED, str(Charge.CHARGED)
    if minutes > school.late_lost_min and not rode:
        kind, state = OutcomeKind.LOST, RideState.MISSED
        charge = school.lost_charge
    return _note(ride, kind, state, charge, by, now, minutes)


def take_back(*, ride: Ride, by: Account | None, now: datetime) -> Ride:
    """Note that a rider came and rode as booked after all; twice is harmless."""
    try:
        with transaction.atomic():
            lesson, fresh = _held(ride, now)
            outcome = Outcome.objects.filter(ride=fresh).first()
            if outcome is None or outcome.kind == OutcomeKind.ENDED_EARLY:
                return fresh
            _check_credit(fresh)
            before = snapshot(fresh) | snapshot(outcome)
            _set_state(lesson, fresh, RideState.BOOKED, now)
            outcome.minutes_late = None
            if _as_ended(outcome, lesson):
                outcome.save()
            else:
                outcome.delete()
            settle_lesson(lesson=lesson, now=now)
            record(
                by=by, at=now, action="rode after all", subject=fresh, before=before,
                after=snapshot(fresh),
            )  # fmt: skip
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def _note(
    ride: Ride,
    kind: str,
    state: str,
    charge: str,
    by: Account | None,
    now: datetime,
    minutes: int | None = None,
) -> Ride:
    try:
        with transaction.atomic():
            lesson, fresh = _held(ride, now)
            known = Outcome.objects.filter(ride=fresh).first()
            same = known and (fresh.state, known.minutes_late) == (state, minutes)
            if known and same and known.kind in {kind, OutcomeKind.ENDED_EARLY}:
                return fresh
            if state == RideState.MISSED:
                _check_not_logged(fresh)
            _check_credit(fresh)
            before = snapshot(fresh) | (snapshot(known) if known else {})
            outcome = known or Outcome(ride=fresh, paid_by=PaidBy.NOTHING)
            outcome.kind, outcome.minutes_late, outcome.charge = kind, minutes, charge
            outcome.noted_at, outcome.noted_by = now, by
            if kind == OutcomeKind.LATE:
                _as_ended(outcome, lesson)
            _set_state(lesson, fresh, state, now)
            charge_place(outcome, lesson, fresh, now)
            record(
                by=by, at=now, action=kind, subject=fresh, before=before,
                after=snapshot(fresh) | snapshot(outcome),
            )  # fmt: skip
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def _held(ride: Ride, now: datetime) -> tuple[Lesson, Ride]:
    """Hold a lesson and the place in it that something is to be noted of."""
    lesson = Lesson.objects.select_for_update().get(pk=ride.lesson_id)
    _check_when(lesson, now)
    fresh = Ride.objects.select_related("rider__person", "horse").get(pk=ride.pk)
    if fresh.state == RideState.CANCELLED:
        raise UnableToBook(
            "given-back",
            f"{fresh.rider.person.first_name} has given the place in {lesson.title} "
            "back: there is nothing to note.",
        )
    lock_payers([lesson])
    return lesson, fresh


def _check_when(lesson: Lesson, now: datetime) -> None:
    if lesson.state not in HOLDING_STATES:
        raise UnableToBook(
            "not-held",
            f"{lesson.title} is {lesson.get_state_display().lower()}: there is nothing "
            "to note.",
            lesson=lesson.pk,
        )
    if now < lesson.starts_at:
        raise UnableToBook(
            "not-begun",
            f"{lesson.title} begins at {clock(lesson.starts_at)}: note who came then.",
            lesson=lesson.pk,
        )
    if now > lesson.starts_at + CORRECT_WITHIN:
        raise UnableToBook(
            "long-over",
            f"{lesson.title} was on {clock(lesson.starts_at)}: what was noted of it "
            "stays, after a week.",
            lesson=lesson.pk,
        )


def _check_not_logged(ride: Ride) -> None:
    if valid_rides().filter(ride=ride).exclude(went="not-ridden").exists():
        raise UnableToBook(
            "logged",
            f"{ride.rider.person.first_name} is in the log of this lesson as having "
            "ridden: correct the log first.",
        )


def _check_credit(ride: Ride) -> None:
    """Refuse to take back what the rider has made up for already."""
    spent = MakeUpCredit.objects.filter(given_for=ride, used_for__isnull=False)
    used = spent.select_related("used_for__lesson").first()
    if used is not None and used.used_for is not None:
        raise UnableToBook(
            "made-up",
            f"{ride.rider.person.first_name} makes this lesson up already, on "
            f"{clock(used.used_for.lesson.starts_at)}: what was noted stays.",
        )


def _set_state(lesson: Lesson, ride: Ride, state: str, now: datetime) -> None:
    """Keep or let go a place; one that is kept again may find its horse taken."""
    if ride.state != state and state == RideState.BOOKED:
        times, own = (lesson.starts_at, lesson.ends_at), (lesson.pk,)
        name = ride.rider.person.first_name
        take_turn(people=[ride.rider_id], horses=[ride.horse_id])
        checks.check_person(ride.rider_id, name, *times, code="rider-busy", but=own)
        checks.check_horses(
            [(ride.rider, ride.horse)], *times, work=lesson.horse_work,
            lesson=lesson.pk, but=own,
        )  # fmt: skip
    ride.state = state
    ride.save(update_fields=["state"])
    lesson.changed_at = now
    lesson.version += 1
    lesson.save(update_fields=["changed_at", "version"])


def charge_of_end(
    school: School, starts_at: datetime, booked: datetime, ends_at: datetime, cause: str
) -> str:
    """Return what a lesson that was ended early costs, by the house rules."""
    whole = school.ended_counts_percent * (booked - starts_at)
    if 100 * (ends_at - starts_at) >= whole:
        return Charge.CHARGED
    return charge_for(school, cause)


def charge_for(school: School, cause: str) -> str:
    """Return what a lesson costs that was ended before it counts as held.

    The yard's own reasons, and the weather, cost nobody anything.
    """
    if cause == EndCause.RIDER:
        return school.ended_rider_charge
    return school.ended_horse_charge if cause == EndCause.HORSE else Charge.FREE


def _as_ended(outcome: Outcome, lesson: Lesson) -> bool:
    """Let who rode in a lesson that was ended early pay by that; say whether so."""
    end = EarlyEnd.objects.filter(lesson=lesson).first()
    if end is None:
        return False
    outcome.kind = OutcomeKind.ENDED_EARLY
    outcome.charge = charge_of_end(
        the_school(), lesson.starts_at, end.booked_ends_at, lesson.ends_at, end.cause
    )
    return True


def end_early(
    *,
    lesson: Lesson,
    ends_at: datetime,
    cause: str,
    by: Account | None,
    now: datetime,
    note: str = "",
) -> Lesson:
    """End a lesson before its time: what it held is free from then on.

    Doing the same twice is harmless.

    Raises
    ------
    UnableToBook
        For a time outside the lesson, or one that was ended otherwise already.
    """
    if cause not in EndCause.values:
        raise UnableToBook("cause", "Say why it was ended.", field="cause")
    ends_at = ends_at.astimezone(UTC).replace(second=0, microsecond=0)
    with transaction.atomic():
        fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
        known = EarlyEnd.objects.filter(lesson=fresh).first()
        if known is not None:
            return _same_end(fresh, known, ends_at, cause)
        _check_when(fresh, now)
        if not fresh.starts_at < ends_at < fresh.ends_at:
            raise UnableToBook(
                "not-early",
                f"{fresh.title} is booked from {hour(fresh.starts_at)} to "
                f"{hour(fresh.ends_at)}: give a time between.",
                field="ends",
            )
        lock_payers([fresh])
        before = snapshot(fresh)
        end = EarlyEnd.objects.create(
            lesson=fresh,
            booked_ends_at=fresh.ends_at,
            state_before=fresh.state,
            cause=cause,
            note=note.strip()[:200],
            noted_at=now,
            noted_by=by,
        )
        fresh.ends_at, fresh.state = ends_at, LessonState.DONE
        _save_end(fresh, f"Ended early: {end.get_cause_display().lower()}", by, now)
        for ride in fresh.rides.filter(state=RideState.BOOKED).order_by("pk"):
            outcome = Outcome.objects.filter(ride=ride).first() or Outcome(ride=ride)
            _as_ended(outcome, fresh)
            outcome.noted_at, outcome.noted_by = now, by
            charge_place(outcome, fresh, ride, now)
        record(
            by=by, at=now, action="end early", subject=fresh, before=before,
            after=snapshot(fresh),
        )  # fmt: skip
        close_offers(lesson=fresh, now=now)
        return fresh


def _same_end(lesson: Lesson, known: EarlyEnd, ends_at: datetime, cause: str) -> Lesson:
    if (lesson.ends_at, known.cause) == (ends_at, cause):
        return lesson
    raise UnableToBook(
        "ended",
        f"{lesson.title} was ended at {hour(lesson.ends_at)} already: take that back "
        "first.",
        lesson=lesson.pk,
    )


def _save_end(lesson: Lesson, reason: str, by: Account | None, now: datetime) -> None:
    lesson.state_at, lesson.state_by, lesson.state_reason = now, by, reason
    lesson.changed_at = now
    lesson.version += 1
    lesson.save()


def go_on(*, lesson: Lesson, by: Account | None, now: datetime) -> Lesson:
    """Take back that a lesson was ended early, if its time is still its own.

    Twice is harmless.
    """
    try:
        with transaction.atomic():
            fresh = Lesson.objects.select_for_update().get(pk=lesson.pk)
            known = EarlyEnd.objects.filter(lesson=fresh).first()
            if known is None:
                return fresh
            _check_when(fresh, now)
            lock_payers([fresh])
            rides = list(fresh.rides.select_related("rider__person").order_by("pk"))
            for ride in rides:
                _check_credit(ride)
            _check_time_left(fresh, known.booked_ends_at, rides)
            before = snapshot(fresh)
            fresh.ends_at, fresh.state = known.booked_ends_at, known.state_before
            _save_end(fresh, "", by, now)
            known.delete()
            ended = Outcome.objects.filter(
                ride__lesson=fresh, kind=OutcomeKind.ENDED_EARLY
            )
            # Who had come late has come late still.
            ended.filter(minutes_late__isnull=False).update(
                kind=OutcomeKind.LATE, charge=Charge.CHARGED
            )
            ended.delete()
            settle_lesson(lesson=fresh, now=now)
            record(
                by=by, at=now, action="go on", subject=fresh, before=before,
                after=snapshot(fresh),
            )  # fmt: skip
            return fresh
    except IntegrityError as error:
        raise refusal_of(error) from error


def _check_time_left(lesson: Lesson, ends_at: datetime, rides: list[Ride]) -> None:
    """Refuse, in words, where what the lesson let go is taken meanwhile."""
    times, own = (lesson.starts_at, ends_at), (lesson.pk,)
    booked = [ride for ride in rides if ride.state == RideState.BOOKED]
    take_turn(
        arenas=[lesson.arena_id],
        people=[lesson.instructor_id, *(ride.rider_id for ride in booked)],
        horses=[ride.horse_id for ride in booked],
    )
    checks.check_arena(lesson.arena, *times, but=own)
    checks.check_person(
        lesson.instructor_id,
        lesson.instructor.person.first_name,
        *times,
        code="instructor-busy",
        but=own,
    )
    for ride in booked:
        name = ride.rider.person.first_name
        checks.check_person(ride.rider_id, name, *times, code="rider-busy", but=own)
    checks.check_horses(
        [(ride.rider, ride.horse) for ride in booked],
        *times,
        work=lesson.horse_work,
        lesson=lesson.pk,
        but=own,
    )


def may_still_note(lesson: Lesson, now: datetime) -> bool:
    """Say whether anything may be noted of a lesson now."""
    begun = lesson.starts_at <= now <= lesson.starts_at + CORRECT_WITHIN
    return begun and lesson.state in HOLDING_STATES


def is_todays(lesson: Lesson, now: datetime) -> bool:
    """Say whether a lesson is of the local day."""
    zone = school_zone()
    return lesson.starts_at.astimezone(zone).date() == now.astimezone(zone).date()
