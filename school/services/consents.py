"""Consents: given, renewed by a guardian, withdrawn."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from school.enums import ConsentKind
from school.models import Account, AuditEntry, Client, Consent, Person, Rider
from school.queries.riders import is_minor
from school.queries.schools import local_day, the_school
from school.services.audit import entry_of, record, snapshot
from school.services.refusals import UnableToBook

LASTS = timedelta(days=365)
"""A consent is renewed yearly: the handbook's proposal, no published source."""

LONGEST = timedelta(days=2 * 365 + 1)
"""Two years to the same date, also over a leap day."""


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
    of_age = the_school().of_age_years
    check_consent(rider, given_by, (first, last), today=today, of_age=of_age)
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


def check_consent(
    rider: Rider, given_by: Person, days: tuple[date, date], *, today: date, of_age: int
) -> None:
    """Refuse days that can't be, and a minor who would consent for themselves.

    Asks the database nothing, so that a whole table is checked row by row.
    """
    first, last = days
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
    if given_by == rider.person and is_minor(rider.born_date, today, of_age):
        raise UnableToBook(
            "own-consent",
            f"{rider.person.first_name} is under {of_age}: a guardian gives consent.",
            field="given_by",
        )


def note_consents(
    *,
    new: Sequence[Consent],
    changed: Sequence[tuple[Consent, dict[str, Any]]],
    by: Account | None,
    now: datetime,
) -> list[AuditEntry]:
    """Write many checked consents at once; return their audit, to be written too.

    Needs the caller's transaction. `changed` has each with what it was before.
    """
    Consent.objects.bulk_create(new, batch_size=200)
    Consent.objects.bulk_update(
        [one for one, _ in changed], ["given_by", "expires_date"], batch_size=100
    )
    return [
        entry_of(
            by=by, at=now, action="consent", subject=one, before=before,
            after=snapshot(one),
        )
        for one, before in [*((one, None) for one in new), *changed]
    ]  # fmt: skip


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
