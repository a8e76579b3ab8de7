"""What a place costs, what is noted where it was not ridden, and money in words."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from babel import Locale
from babel.numbers import format_currency, get_currency_precision
from django.utils.translation import get_language

from school.enums import OutcomeKind
from school.models import LessonPrice, Outcome, School
from school.queries.lessons import day_bounds

PriceList = Mapping[tuple[str, int], Decimal]
"""What a place costs, by kind of lesson and its minutes."""


def price_list(school: School) -> PriceList:
    """Return the school's prices; none, and no query, where it names no currency."""
    if not school.currency:
        return {}
    rows = LessonPrice.objects.order_by("kind", "minutes")
    return {(one.kind, one.minutes): one.amount for one in rows}


def money(amount: Decimal, currency: str) -> str:
    """Write an amount as the active language does: "€30.00", "30,00 €".

    By the patterns of the Unicode CLDR; `currency` is an ISO 4217 code.
    """
    locale = Locale.parse(get_language() or "en", sep="-")
    return format_currency(amount, currency, locale=locale)


def fee_of(
    school: School, price: Decimal | None, kind: str = OutcomeKind.CANCELLED_LATE
) -> Decimal | None:
    """Return what is noted for a place that was not ridden; None if no figure is set.

    A lesson ended early is noted at its price. The others go by the house rule: its
    amount where there is one, else its share of the price, to the currency's smallest
    coin.
    """
    if not school.currency or kind == OutcomeKind.LATE:
        return None
    fixed, percent = None, 100
    if kind == OutcomeKind.CANCELLED_LATE:
        fixed, percent = school.late_fee, school.late_fee_percent
    elif kind in {OutcomeKind.NO_SHOW, OutcomeKind.LOST}:
        fixed, percent = school.no_show_fee, school.no_show_fee_percent
    if fixed is not None:
        return fixed
    if price is None:
        return None
    coin = Decimal(1).scaleb(-get_currency_precision(school.currency))
    return (price * percent / 100).quantize(coin)


def minutes_of(begins_at: object, ends_at: object) -> int:
    """Return the whole minutes between two moments."""
    return int((ends_at - begins_at).total_seconds() // 60)  # type: ignore[operator]


@dataclass(frozen=True, slots=True)
class Owed:
    """What one client has been noted for, in one currency."""

    client: int
    name: str
    currency: str
    outcomes: tuple[Outcome, ...]

    @property
    def total(self) -> Decimal:
        """The sum of what was noted."""
        return sum((one.amount or Decimal(0) for one in self.outcomes), Decimal(0))


def fees_noted(first: date, last: date, zone: ZoneInfo) -> list[Owed]:
    """Return the fees of lessons from a day to another, by client; one query."""
    since, until = day_bounds(first, zone)[0], day_bounds(last, zone)[1]
    found: dict[tuple[str, int, str], list[Outcome]] = {}
    for one in (
        Outcome.objects.filter(
            amount__isnull=False,
            ride__lesson__starts_at__gte=since,
            ride__lesson__starts_at__lt=until,
        )
        .select_related("ride__lesson", "ride__rider__person")
        .select_related("ride__rider__client__person")
        .order_by("ride__lesson__starts_at", "pk")
    ):
        client = one.ride.rider.client
        key = (str(client.person), client.pk, one.currency)
        found.setdefault(key, []).append(one)
    return [
        Owed(pk, name, currency, tuple(its))
        for (name, pk, currency), its in sorted(found.items(), key=lambda x: x[0])
    ]
