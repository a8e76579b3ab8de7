"""What is noted of a rider: level, stops, and the facts they are matched by."""

from datetime import date, datetime
from typing import TypedDict

from django.db import IntegrityError, transaction

from school.enums import Level
from school.models import Account, Instructor, LevelSigning, Rider, RiderStop
from school.queries.schools import local_day
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook, on_day

ORDER = list(Level.values)


def sign_level(
    *,
    rider: Rider,
    level: str,
    highest_fence_cm: int,
    by: Account,
    now: datetime,
    note: str = "",
) -> LevelSigning:
    """Sign how far a rider is, by the instructor who saw it; twice a day is once.

    Up goes one band at a time, as the handbook proposes (own judgement, from rider
    tests); the first signing and a step down are free.

    Raises
    ------
    UnableToBook
        For one who is no instructor, beyond what they teach, or two bands at once.
    """
    instructor = _signer(by, level, highest_fence_cm)
    today = local_day(now)
    with transaction.atomic():
        fresh = (
            Rider.objects.select_for_update(of=("self",))
            .select_related("person")
            .get(pk=rider.pk)
        )
        step = ORDER.index(level) - ORDER.index(fresh.level)
        if fresh.level_signed_date is not None and step > 1:
            raise UnableToBook(
                "one-band",
                f"{fresh.person.first_name} is {fresh.get_level_display().lower()}: "
                "one level up at a time.",
            )
        signing, made = LevelSigning.objects.get_or_create(
            rider=fresh,
            level=level,
            highest_fence_cm=highest_fence_cm,
            signed_by=instructor,
            signed_date=today,
            defaults={"note": note.strip()[:200]},
        )
        if not made:
            return signing
        before = snapshot(fresh)
        fresh.level, fresh.highest_fence_cm = level, highest_fence_cm
        fresh.level_signed_by, fresh.level_signed_date = instructor, today
        fresh.save()
        record(
            by=by, at=now, action="sign level", subject=fresh,
            before=_level(before), after=_level(snapshot(fresh)),
        )  # fmt: skip
        return signing


def _signer(by: Account, level: str, highest_fence_cm: int) -> Instructor:
    """Return the instructor who signs, or refuse what they may not sign."""
    instructor: Instructor | None = getattr(by.person, "instructor", None)
    if instructor is None:
        raise UnableToBook("not-instructor", "Only an instructor signs a level.")
    if level not in ORDER or not 0 <= highest_fence_cm <= 160:
        raise UnableToBook("level", "Choose a level and a fence of 0 to 160 cm.")
    if (
        ORDER.index(level) > ORDER.index(instructor.level)
        or highest_fence_cm > instructor.highest_fence_cm
    ):
        raise UnableToBook(
            "beyond-teaching",
            f"You teach up to {instructor.get_level_display().lower()} and "
            f"{instructor.highest_fence_cm} cm: somebody further on signs this.",
        )
    return instructor


def _level(data: dict[str, object]) -> dict[str, object]:
    """Return of a rider what a signing changes, and nothing that is sensitive."""
    return {
        key: data[key]
        for key in ("level", "highest_fence_cm", "level_signed_by", "level_signed_date")
    }


def stop_rider(
    *,
    rider: Rider,
    reason: str,
    by: Account,
    now: datetime,
    not_before_date: date | None = None,
) -> RiderStop:
    """Stop a rider from being booked, from today until a manager lifts it.

    Raises
    ------
    UnableToBook
        Without a reason, for a day gone by, or where they are stopped already.
    """
    today = local_day(now)
    if not reason.strip():
        raise UnableToBook("reason", "Say why, in a few words.", field="reason")
    if not_before_date is not None and not_before_date < today:
        raise UnableToBook(
            "not-before", "That day has gone by.", field="not_before_date"
        )
    try:
        with transaction.atomic():
            Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
            known = RiderStop.objects.filter(rider=rider, lifted_at=None).first()
            same = (reason.strip()[:200], not_before_date)
            if known and (known.reason, known.not_before_date) == same:
                return known
            stop = RiderStop.objects.create(
                rider=rider,
                from_date=today,
                not_before_date=not_before_date,
                reason=reason.strip()[:200],
                noted_at=now,
                noted_by=by,
            )
            # Without the reason: the audit is read by more than may know health.
            record(
                by=by, at=now, action="stop", subject=stop,
                after={"rider": rider.pk, "from_date": today.isoformat()},
            )  # fmt: skip
            return stop
    except IntegrityError as error:
        raise UnableToBook(
            "stopped",
            "They are stopped already. Lift that first, or leave it.",
        ) from error


def lift_stop(
    *,
    stop: RiderStop,
    reason: str,
    by: Account,
    now: datetime,
    sooner: bool = False,
) -> RiderStop:
    """Let a rider ride again, on the manager's word; twice is harmless.

    `sooner` says that it is meant although the day noted has not come.
    """
    if not reason.strip():
        raise UnableToBook(
            "reason", "Say who said that they may ride again.", field="reason"
        )
    today = local_day(now)
    with transaction.atomic():
        fresh = RiderStop.objects.select_for_update(of=("self",)).get(pk=stop.pk)
        if fresh.lifted_at is not None:
            return fresh
        until = fresh.not_before_date
        if until is not None and today < until and not sooner:
            raise UnableToBook(
                "sooner",
                f"It was noted not to be lifted before {on_day(until)}. Tick that you "
                "mean it sooner, and say who decided it.",
                field="sooner",
            )
        fresh.lifted_at, fresh.lifted_by = now, by
        fresh.lifted_reason = reason.strip()[:200]
        fresh.save()
        record(
            by=by, at=now, action="lift stop", subject=fresh,
            after={"rider": fresh.rider_id, "sooner": bool(until and today < until)},
        )  # fmt: skip
        return fresh


class Facts(TypedDict):
    """What horses are matched by, and whom to call."""

    weight_kg: int
    height_cm: int | None
    health: str
    emergency_name: str
    emergency_phone: str


def set_facts(*, rider: Rider, facts: Facts, by: Account, now: datetime) -> Rider:
    """Set what has changed of a rider, a child that grew say; twice is harmless."""
    with transaction.atomic():
        fresh = Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
        before = snapshot(fresh)
        for name, value in facts.items():
            setattr(fresh, name, value)
        after = snapshot(fresh)
        if after == before:
            return fresh
        fresh.save()
        record(
            by=by, at=now, action="set facts", subject=fresh, before=before, after=after
        )
        return fresh
