"""Consents that a guardian renews."""

from datetime import date, datetime, timedelta

from django.db import transaction

from school.models import Client, Consent
from school.queries.schools import school_zone
from school.services.audit import record, snapshot

LASTS = timedelta(days=365)


def renew_consent(*, consent: Consent, client: Client, now: datetime) -> Consent:
    """Give a consent anew for a year from today; twice on a day is once."""
    today: date = now.astimezone(school_zone()).date()
    with transaction.atomic():
        fresh, made = Consent.objects.get_or_create(
            rider=consent.rider,
            name=consent.name,
            given_date=today,
            defaults={"given_by": client.person, "expires_date": today + LASTS},
        )
        if made:
            record(
                by=None, at=now, action="consent", subject=fresh, after=snapshot(fresh)
            )
        return fresh
