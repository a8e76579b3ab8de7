"""The school's prices and fees, set on the manager's word; nothing is paid here."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any, TypedDict

from babel.numbers import get_currency_precision, list_currencies
from django.db import transaction

from school.enums import LessonKind
from school.models import Account, LessonPrice, School
from school.services.audit import record
from school.services.units import UnableToSet

MOST = Decimal(99999)


class Prices(TypedDict):
    """What may be set, each by its name in the school's record."""

    currency: str
    late_fee: Decimal | None
    late_fee_percent: int
    no_show_fee: Decimal | None
    no_show_fee_percent: int
    price_in_invites: bool


def set_prices(
    *,
    prices: Prices,
    lessons: Mapping[tuple[str, int], Decimal | None],
    by: Account | None,
    now: datetime,
) -> School:
    """Set what places cost and what is noted for those not ridden; twice is harmless.

    `lessons` names a price by kind and minutes; None takes it away, and what is not
    named stays. What was noted already stays as it was told.

    Raises
    ------
    UnableToSet
        For an unknown currency, an amount it has no coins for, a share out of range.
    """
    values: dict[str, Any] = dict(prices)
    _check(prices, lessons)
    with transaction.atomic():
        school = School.objects.select_for_update().get()
        before = {name: getattr(school, name) for name in values}
        known = {(one.kind, one.minutes): one for one in LessonPrice.objects.all()}
        changed = {
            key: amount
            for key, amount in lessons.items()
            if amount != (known[key].amount if key in known else None)
        }
        if before == values and not changed:
            return school
        for name, value in values.items():
            setattr(school, name, value)
        school.save(update_fields=list(values))
        for (kind, minutes), amount in changed.items():
            if amount is None:
                known[kind, minutes].delete()
            else:
                LessonPrice.objects.update_or_create(
                    kind=kind, minutes=minutes, defaults={"amount": amount}
                )
        record(
            by=by,
            at=now,
            action="set prices",
            subject=school,
            before=_as_data(before),
            after=_as_data(values)
            | {
                f"{kind} {minutes} min": str(x)
                for (kind, minutes), x in changed.items()
            },
        )
        return school


def _as_data(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: str(one) if isinstance(one, Decimal) else one
        for name, one in values.items()
    }


def _check(prices: Prices, lessons: Mapping[tuple[str, int], Decimal | None]) -> None:
    currency = prices["currency"]
    if currency and currency not in list_currencies():
        raise UnableToSet(
            "currency", "Give the three letters of a currency, EUR or GBP.", "currency"
        )
    for name in ("late_fee_percent", "no_show_fee_percent"):
        if not 0 <= int(str(prices[name])) <= 100:
            raise UnableToSet(name, "Give a number from 0 to 100.", name)
    amounts: dict[str, Decimal | None] = {
        "late_fee": prices["late_fee"],
        "no_show_fee": prices["no_show_fee"],
    }
    for (kind, minutes), amount in lessons.items():
        if kind not in LessonKind.values or not 10 <= minutes <= 240:
            raise UnableToSet(
                "price", "A lesson lasts from 10 to 240 minutes.", "new_minutes"
            )
        amounts[f"price-{kind}-{minutes}"] = amount
    for name, amount in amounts.items():
        _check_amount(name, amount, currency)


def _check_amount(name: str, amount: Decimal | None, currency: str) -> None:
    if amount is None:
        return
    if not currency:
        raise UnableToSet("currency", "Say in which currency it is.", "currency")
    if not 0 <= amount <= MOST:
        raise UnableToSet(name, f"Give an amount from 0 to {MOST}.", name)
    places = get_currency_precision(currency)
    if amount != round(amount, places):
        raise UnableToSet(name, f"{currency} has {places} decimal places.", name)
