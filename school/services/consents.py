"""Consents: given, renewed by a guardian, withdrawn."""

from datetime import date, datetime, timedelta

from django.db import transaction

from school.enums import ConsentKind
from school.models import Account, Client, Consent, Person, Rider
from school.queries.riders import is_minor
from school.queries.schools import local_day, the_school
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook

LASTS = timedelta(days=365)
"""A consent is renewed yearly: the handbook's proposal, no published source."""

LONGEST = timedelta(days=2 * 365)


def renew_consent(*, consent: Consent, client: Client, now: datetime) -> Consent:
    """Give a consent anew for a year from today; twice on a day is once."""
    return give_consent(
        rider=consent.rider,
        kind=ConsentKind(consent.kind),
        name=consent.name,
        given_by=client.person,
        by=None,
        now=now,
    )


def give_consent(
    *,
    rider: Rider,
    kind: ConsentKind,
    given_by: Person,
    by: Account | None,
    now: datetime,
    name: str = "",
    given_date: date | None = None,
    expires_date: date | None = None,
) -> Consent:
    """Note a consent from a day on, for a year unless said; twice is harmless.

    One withdrawn the same day is given again. `by` is the manager who has the paper
    in hand; None where who gives it does so on their own page.

    Raises
    ------
    UnableToBook
        For days that can't be, or a minor who would consent for themselves.
    """
    today = local_day(now)
    first = given_date or today
    last = expires_date or first + LASTS
    _check(rider, given_by, first, last, today)
    with transaction.atomic():
        Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
        fresh, made = Consent.objects.get_or_create(
            rider=rider,
            name=name.strip()[:80] or kind.label,
            given_date=first,
            defaults={"kind": kind, "given_by": given_by, "expires_date": last},
        )
        wanted = (kind, given_by.pk, last)
        if not made:
            same = (fresh.kind, fresh.given_by_id, fresh.expires_date) == wanted
            # Pressed twice, or renewed by another who gave as long: nothing new.
            if fresh.withdrawn_date is None and (same or by is None):
                return fresh
        before = None if made else snapshot(fresh)
        fresh.kind, fresh.given_by, fresh.expires_date = kind, given_by, last
        fresh.withdrawn_date, fresh.withdrawn_reason = None, ""
        fresh.save()
        record(
            by=by, at=now, action="consent", subject=fresh, before=before,
            after=snapshot(fresh),
        )  # fmt: skip
        return fresh


def _check(
    rider: Rider, given_by: Person, first: date, last: date, today: date
) -> None:
    if first > today:
        raise UnableToBook(
            "given", "A consent can't be given on a day to come.", field="given_date"
        )
    if not first < last <= first + LONGEST:
        raise UnableToBook(
            "expires",
            "A consent ends after the day it was given, two years later at most.",
            field="expires_date",
        )
    of_age = the_school().of_age_years
    if given_by.pk == rider.pk and is_minor(rider.born_date, today, of_age):
        raise UnableToBook(
            "own-consent",
            f"{rider.person.first_name} is under {of_age}: a guardian gives consent.",
            field="given_by",
        )


def withdraw_consent(
    *, consent: Consent, reason: str, by: Account | None, now: datetime
) -> Consent:
    """Withdraw a consent from today on; twice is harmless.

    What is booked stays booked, and the page says so: the lesson is cancelled by a
    person, who tells the client.
    """
    if not reason.strip():
        raise UnableToBook(
            "reason", "Say who withdraws it, and how you heard.", field="reason"
        )
    with transaction.atomic():
        fresh = Consent.objects.select_for_update().get(pk=consent.pk)
        if fresh.withdrawn_date is not None:
            return fresh
        before = snapshot(fresh)
        fresh.withdrawn_date = local_day(now)
        fresh.withdrawn_reason = reason.strip()[:200]
        fresh.save()
        record(
            by=by, at=now, action="withdraw consent", subject=fresh, before=before,
            after=snapshot(fresh),
        )  # fmt: skip
        return fresh
