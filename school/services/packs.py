"""What is paid in advance: packs of lessons, and credits for lessons to make up."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Count, F

from school.enums import (
    HOLDING_STATES,
    Charge,
    LessonState,
    OutcomeKind,
    PaidBy,
    RideState,
)
from school.models import (
    Account,
    Client,
    Lesson,
    LessonPack,
    MakeUpCredit,
    Outcome,
    PackUse,
    Ride,
    School,
)
from school.queries.outcomes import payer_of
from school.queries.prices import fee_of, minutes_of, price_list
from school.queries.schools import free_until, school_zone, the_school
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook


def sell_pack(
    *,
    client: Client,
    name: str,
    lessons: int,
    bought_date: date,
    expires_date: date,
    by: Account | None,
    now: datetime,
    token: UUID | None = None,
) -> LessonPack:
    """Note a pack of lessons that a client paid; once for a form's token."""
    if not name.strip():
        raise UnableToBook("name", "Give the pack a name.", field="name")
    if not 1 <= lessons <= 100:
        raise UnableToBook(
            "lessons", "A pack has from 1 to 100 lessons.", field="lessons"
        )
    if expires_date <= bought_date:
        raise UnableToBook(
            "expires", "A pack ends after the day it is bought.", field="expires_date"
        )
    with transaction.atomic():
        pack, new = LessonPack.objects.get_or_create(
            **_once(token),
            defaults={
                "client": client,
                "name": name.strip(),
                "lessons": lessons,
                "bought_date": bought_date,
                "expires_date": expires_date,
            },
        )
        if new:
            after = snapshot(pack)
            record(by=by, at=now, action="sell pack", subject=pack, after=after)
        return pack


def change_pack(
    *,
    pack: LessonPack,
    name: str,
    lessons: int,
    expires_date: date,
    by: Account | None,
    now: datetime,
) -> LessonPack:
    """Set a pack right, or end it by its last day; twice is harmless.

    What it has paid for stays paid: it has no fewer lessons than that.
    """
    if not name.strip():
        raise UnableToBook("name", "Give the pack a name.", field="name")
    with transaction.atomic():
        fresh = LessonPack.objects.select_for_update().get(pk=pack.pk)
        used = fresh.uses.count()
        if not max(1, used) <= lessons <= 100:
            raise UnableToBook(
                "lessons",
                f"{used} of its lessons are ridden or booked: a pack has from "
                f"{max(1, used)} to 100.",
                field="lessons",
            )
        if expires_date <= fresh.bought_date:
            raise UnableToBook(
                "expires",
                "A pack ends after the day it is bought.",
                field="expires_date",
            )
        before = snapshot(fresh)
        fresh.name, fresh.lessons = name.strip(), lessons
        fresh.expires_date = expires_date
        if snapshot(fresh) != before:
            fresh.save()
            record(
                by=by, at=now, action="change pack", subject=fresh, before=before,
                after=snapshot(fresh),
            )  # fmt: skip
        return fresh


def _once(token: UUID | None) -> dict[str, UUID]:
    """Return what a form's row is known by; a new token where it came by no form."""
    return {"token": token or uuid4()}


def give_credit(
    *,
    client: Client,
    reason: str,
    expires_date: date,
    by: Account | None,
    now: datetime,
    token: UUID | None = None,
) -> MakeUpCredit:
    """Give a client a lesson to make up, by hand; once for a form's token."""
    if not reason.strip():
        raise UnableToBook("reason", "Say what the credit is for.", field="reason")
    with transaction.atomic():
        credit, new = MakeUpCredit.objects.get_or_create(
            **_once(token),
            defaults={
                "client": client,
                "reason": reason.strip()[:120],
                "given_at": now,
                "expires_date": expires_date,
            },
        )
        if new:
            after = snapshot(credit)
            record(by=by, at=now, action="credit", subject=credit, after=after)
        return credit


def lock_payers(lessons: Iterable[Lesson]) -> None:
    """Make others wait who would spend what the same clients have paid.

    All at once and in one order, so that no two wait for each other.
    """
    rides = Ride.objects.filter(lesson__in=[one.pk for one in lessons])
    payers = Client.objects.filter(pk__in=rides.values("rider__client_id"))
    list(payers.select_for_update(no_key=True).order_by("pk").values_list("pk"))


def settle_lesson(*, lesson: Lesson, now: datetime) -> None:
    """Let packs and credits follow a lesson's rides, as `settle_lessons` does."""
    settle_lessons(lessons=[lesson], now=now)


def settle_lessons(*, lessons: Iterable[Lesson], now: datetime) -> None:
    """Let packs and credits follow the rides of lessons; twice changes nothing.

    Needs the transaction of the change, and `lock_payers` before. A ride that is
    booked is paid by a credit, else by a pack, what ends first going first; a weekly
    lesson is paid with its term. A place given back in the free time, or taken by the
    school, costs nothing: what had paid it is free again, and a weekly lesson becomes
    a credit. One given back late, or missed, costs what the house rule says. Two
    queries for lessons of which nothing is to be written.
    """
    kept = [one for one in lessons if one.state != LessonState.ASKED]
    by_lesson: dict[int, list[Ride]] = {one.pk: [] for one in kept}
    rides = Ride.objects.filter(lesson__in=by_lesson)
    for ride in rides.select_related("rider", "outcome").order_by("pk"):
        by_lesson[ride.lesson_id].append(ride)
    owed = set(
        MakeUpCredit.objects.filter(
            given_for__lesson__in=by_lesson, used_for=None
        ).values_list("given_for", flat=True)
    )
    school = the_school()
    for lesson in kept:
        for ride in by_lesson[lesson.pk]:
            _settle(school, lesson, ride, now, owes=ride.pk in owed)


def _settle(
    school: School, lesson: Lesson, ride: Ride, now: datetime, *, owes: bool
) -> None:
    """Let what pays follow one ride; `owes` where a credit for it is unspent."""
    outcome: Outcome | None = getattr(ride, "outcome", None)
    holds = ride.state != RideState.CANCELLED and lesson.state in HOLDING_STATES
    if holds and outcome and outcome.kind != OutcomeKind.CANCELLED_LATE:
        charge_place(outcome, lesson, ride, now)
    elif holds:
        if outcome is not None:
            Outcome.objects.filter(ride=ride).delete()
        _pay(lesson, ride, now, take_back=owes)
    elif _is_late(ride, free_until(school, lesson.starts_at, lesson.moved_at)):
        outcome = outcome or Outcome(
            ride=ride,
            kind=OutcomeKind.CANCELLED_LATE,
            charge=school.late_cancel_charge,
            noted_at=now,
            noted_by=ride.cancelled_by,
        )
        charge_place(outcome, lesson, ride, now)
    else:
        if outcome is not None:
            Outcome.objects.filter(ride=ride).delete()
        _free(school, lesson, ride, now)


def _is_late(ride: Ride, until: datetime) -> bool:
    return (
        ride.cancelled_at is not None
        and ride.cancelled_at > until
        and not ride.cancelled_for_school
    )


def charge_place(outcome: Outcome, lesson: Lesson, ride: Ride, now: datetime) -> None:
    """Let what was paid for a place follow what became of it, and note what pays.

    Needs the transaction of the change; twice changes nothing.
    """
    school = the_school()
    if outcome.charge == Charge.FREE:
        outcome.paid_by = payer_of(ride, lesson)
        if outcome.paid_by != PaidBy.TERM:
            outcome.paid_by = PaidBy.NOTHING
        _free(school, lesson, ride, now)
    else:
        if ride.state != RideState.CANCELLED:
            _pay(lesson, ride, now, take_back=outcome.charge != Charge.MAKE_UP)
        outcome.paid_by = payer_of(ride, lesson)
        if outcome.charge == Charge.MAKE_UP:
            _make_up(school, lesson, ride, now)
    _note_fee(school, outcome, lesson)
    outcome.save()


def _note_fee(school: School, outcome: Outcome, lesson: Lesson) -> None:
    """Note the fee by the prices of now; one that was told for the same stays."""
    if outcome.charge == Charge.FREE or outcome.paid_by != PaidBy.FEE:
        outcome.amount, outcome.currency = None, ""
        return
    same = Outcome.objects.filter(
        ride=outcome.ride_id, kind=outcome.kind, amount__isnull=False
    )
    if outcome.amount is not None and same.exists():
        return
    length = minutes_of(lesson.starts_at, lesson.ends_at)
    price = price_list(school).get((lesson.kind, length))
    outcome.amount = fee_of(school, price, outcome.kind)
    outcome.currency = "" if outcome.amount is None else school.currency


def _pay(lesson: Lesson, ride: Ride, now: datetime, *, take_back: bool = True) -> None:
    if take_back:
        _take_back(ride)
    if lesson.series_id is not None or _is_paid(ride):
        return
    day, client = (
        lesson.starts_at.astimezone(school_zone()).date(),
        ride.rider.client_id,
    )
    credit = (
        MakeUpCredit.objects.select_for_update(of=("self",))
        .filter(client=client, used_for=None, expires_date__gte=day)
        .exclude(given_for=ride)
        .order_by("expires_date", "pk")
        .first()
    )
    if credit is not None:
        credit.used_for, credit.used_at = ride, now
        credit.save()
        return
    pack = (
        LessonPack.objects.filter(
            client=client, bought_date__lte=day, expires_date__gte=day
        )
        .annotate(used=Count("uses"))
        .filter(used__lt=F("lessons"))
        .order_by("expires_date", "pk")
        .first()
    )
    if pack is not None:
        PackUse.objects.create(pack=pack, ride=ride, used_at=now)


def _is_paid(ride: Ride) -> bool:
    return (
        PackUse.objects.filter(ride=ride).exists()
        or MakeUpCredit.objects.filter(used_for=ride).exists()
    )


def _take_back(ride: Ride) -> None:
    """Take back the credit of a place that is taken up again, if it is unspent."""
    MakeUpCredit.objects.filter(given_for=ride, used_for=None).delete()


def _free(school: School, lesson: Lesson, ride: Ride, now: datetime) -> None:
    PackUse.objects.filter(ride=ride).delete()
    MakeUpCredit.objects.filter(used_for=ride).update(used_for=None, used_at=None)
    if lesson.series_id is not None:
        _make_up(school, lesson, ride, now)


def _make_up(school: School, lesson: Lesson, ride: Ride, now: datetime) -> None:
    if not school.make_up_days:
        return
    day = lesson.starts_at.astimezone(school_zone()).date()
    last = day + timedelta(days=school.make_up_days)
    if MakeUpCredit.objects.filter(given_for=ride).exists():
        return
    MakeUpCredit.objects.create(
        client_id=ride.rider.client_id,
        given_for=ride,
        reason=f"{lesson.title}, {day:%d %b %Y}"[:120],
        given_at=now,
        expires_date=last,
    )
