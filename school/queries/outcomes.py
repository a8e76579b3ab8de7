"""What became of places that were not ridden as booked, and what that costs."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from school.enums import Charge, OutcomeKind, PaidBy, RideState
from school.models import (
    Client,
    EarlyEnd,
    Lesson,
    MakeUpCredit,
    Outcome,
    PackUse,
    Ride,
    School,
)
from school.queries.prices import PriceList, fee_of, minutes_of, money, price_list
from school.queries.schools import free_until

BACK = timedelta(days=366)

_COSTS = {
    PaidBy.FEE: "the lesson's fee",
    PaidBy.PACK: "one lesson of the pack",
    PaidBy.CREDIT: "the lesson to make up that paid it",
    PaidBy.TERM: "what is paid with the term",
    PaidBy.NOTHING: "nothing",
}
_MADE_UP = "; it may be made up"


def payer_of(ride: Ride, lesson: Lesson) -> str:
    """Return what pays a place as it stands; the fee where nothing has yet."""
    if PackUse.objects.filter(ride=ride).exists():
        return PaidBy.PACK
    if MakeUpCredit.objects.filter(used_for=ride).exists():
        return PaidBy.CREDIT
    return PaidBy.FEE if lesson.series_id is None else PaidBy.TERM


def payers_of(rides: list[Ride], lesson: Lesson) -> dict[int, str]:
    """Return what pays each place of a lesson as it stands, in two queries."""
    return payers_in({one.pk: lesson for one in rides})


def payers_in(places: Mapping[int, Lesson]) -> dict[int, str]:
    """Return what pays places, each named by its key with its lesson; two queries."""
    rides = list(places)
    packs = set(PackUse.objects.filter(ride__in=rides).values_list("ride_id"))
    spent = set(MakeUpCredit.objects.filter(used_for__in=rides).values_list("used_for"))
    return {
        pk: PaidBy.PACK
        if (pk,) in packs
        else PaidBy.CREDIT
        if (pk,) in spent
        else PaidBy.FEE
        if lesson.series_id is None
        else PaidBy.TERM
        for pk, lesson in places.items()
    }


def costs_of_giving_back(
    school: School, lesson: Lesson, rides: list[Ride], now: datetime
) -> dict[int, str]:
    """Say of each place what it costs its client to give it back now."""
    until = free_until(school, lesson.starts_at, lesson.moved_at)
    charge = Charge.FREE if now <= until else ""
    fee = fee_in_words(school, lesson, price_list(school))
    return {
        pk: _with_what_comes_back(
            school, charge or school.late_cancel_charge, payer, fee
        )
        for pk, payer in payers_of(rides, lesson).items()
    }


def costs_later(
    school: School, lesson: Lesson, payers: Iterable[str], prices: PriceList
) -> str:
    """Say what giving places back costs once the free time is over."""
    fee = fee_in_words(school, lesson, prices)
    charge = school.late_cancel_charge
    words = [_with_what_comes_back(school, charge, one, fee) for one in payers]
    return " and ".join(dict.fromkeys(words))


def fee_in_words(
    school: School,
    lesson: Lesson,
    prices: PriceList,
    kind: str = OutcomeKind.CANCELLED_LATE,
) -> str:
    """Say the fee that is noted for a place of a lesson; empty without a figure."""
    price = prices.get((lesson.kind, minutes_of(lesson.starts_at, lesson.ends_at)))
    fee = fee_of(school, price, kind)
    return "" if fee is None else money(fee, school.currency)


_BACK = {
    PaidBy.PACK: "nothing; the pack has its lesson back",
    PaidBy.CREDIT: "nothing; the lesson to make up can be used again",
}


def _with_what_comes_back(
    school: School, charge: str, payer: str, fee: str = ""
) -> str:
    if charge == Charge.FREE and payer in _BACK:
        return _BACK[PaidBy(payer)]
    if charge == Charge.FREE and payer == PaidBy.TERM and not school.make_up_days:
        return "nothing; it can't be made up"
    words = costs_in_words(charge, payer, fee)
    days = f" within {school.make_up_days} days"
    return f"{words}{days}" if words.endswith("be made up") else words


def payer_as_read(ride: Ride, lesson: Lesson) -> str:
    """Return what pays a place that was read with `rides_of_the_day`."""
    if getattr(ride, "pack_use", None) is not None:
        return PaidBy.PACK
    if getattr(ride, "paid_by_credit", None) is not None:
        return PaidBy.CREDIT
    return PaidBy.FEE if lesson.series_id is None else PaidBy.TERM


def costs_in_words(charge: str, paid_by: str, fee: str = "") -> str:
    """Say what a place that was not ridden costs: "one lesson of the pack".

    A `fee` is said with its figure, where that is what pays.
    """
    if charge == Charge.FREE:
        if paid_by == PaidBy.TERM:
            return f"{_COSTS[PaidBy.NOTHING]}{_MADE_UP}"
        return _COSTS[PaidBy.NOTHING]
    words = _COSTS[PaidBy(paid_by)]
    if fee and paid_by == PaidBy.FEE:
        words = f"a fee of {fee}"
    return f"{words}{_MADE_UP}" if charge == Charge.MAKE_UP else words


def outcome_costs(outcome: Outcome) -> str:
    """Say what was noted that a place costs, with its figure as it was then."""
    fee = "" if outcome.amount is None else money(outcome.amount, outcome.currency)
    return costs_in_words(outcome.charge, outcome.paid_by, fee)


def cost_noted(ride: Ride) -> str:
    """Say what a place that was given back has cost, and until when it is made up."""
    outcome = Outcome.objects.filter(ride=ride).first()
    words = _COSTS[PaidBy.NOTHING] if outcome is None else outcome_costs(outcome)
    credit = MakeUpCredit.objects.filter(given_for=ride).first()
    if credit is None:
        return words
    day = credit.expires_date
    words = words.removesuffix(_MADE_UP)
    return f"{words}{_MADE_UP} until {day.day} {day:%B %Y}"


def outcome_in_words(outcome: Outcome) -> str:
    """Say what became of a place: "Came 10 minutes late"."""
    if outcome.kind == OutcomeKind.LATE:
        return f"Came {outcome.minutes_late} minutes late"
    if outcome.kind == OutcomeKind.LOST:
        return f"Came {outcome.minutes_late} minutes late, too late to ride"
    return str(outcome.get_kind_display())


def fee_reason(outcome: Outcome) -> tuple[str, str]:
    """Say what a fee is for, and how late that was: needs the ride and its lesson."""
    if outcome.kind == OutcomeKind.NO_SHOW:
        return "No-show", "did not come"
    if outcome.kind == OutcomeKind.LOST:
        return "Too late to ride", f"came {outcome.minutes_late} minutes late"
    if outcome.kind == OutcomeKind.CANCELLED_LATE:
        return "Late cancellation", _notice(outcome)
    return str(outcome.get_kind_display()), ""


def _notice(outcome: Outcome) -> str:
    """Say how long before its lesson a place was given back."""
    given_back = outcome.ride.cancelled_at or outcome.noted_at
    before_s = (outcome.ride.lesson.starts_at - given_back).total_seconds()
    if before_s <= 0:
        return "given back after the start"
    hours, minutes = divmod(int(before_s // 60), 60)
    if hours:
        return f"given back {hours} hour{'s' if hours > 1 else ''} before"
    return f"given back {minutes} minute{'' if minutes == 1 else 's'} before"


def outcomes_of(
    client: Client, now: datetime, lesson: Lesson | None = None
) -> list[Outcome]:
    """Return what was noted of a client's places in the last year, the newest first.

    With a lesson only what was noted of it.
    """
    its = {} if lesson is None else {"ride__lesson": lesson}
    return list(
        Outcome.objects.filter(
            ride__rider__client=client, ride__lesson__starts_at__gte=now - BACK, **its
        )
        .select_related("ride__lesson", "ride__rider__person")
        .order_by("-ride__lesson__starts_at", "-pk")
    )


def rides_of_the_day(lesson: Lesson) -> list[Ride]:
    """Return the places kept in a lesson, ridden or not, with what became of them."""
    return list(
        lesson.rides.exclude(state=RideState.CANCELLED)
        .select_related(
            "rider__person", "horse", "outcome", "pack_use", "paid_by_credit"
        )
        .order_by("pk")
    )


def missed_rides(lesson: Lesson) -> list[Ride]:
    """Return the places of a lesson whose riders did not ride."""
    return [one for one in rides_of_the_day(lesson) if one.state == RideState.MISSED]


def early_end_of(lesson: Lesson) -> EarlyEnd | None:
    """Return how a lesson was ended early, if it was."""
    return EarlyEnd.objects.filter(lesson=lesson).select_related("noted_by").first()
