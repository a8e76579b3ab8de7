"""Consents that end soon, and whether who signs was written to."""

from datetime import date, timedelta

from django.db.models import Exists, OuterRef

from school.enums import ConsentKind, MessageState, RideState
from school.models import Consent, OutboxMessage, Ride
from school.queries.lessons import day_bounds
from school.queries.riders import is_minor
from school.queries.schools import school_zone, the_school

RIDES_STILL = timedelta(days=90)
"""Who has had no lesson for so long is not asked to sign again."""


def mark_of(client: int, until: date) -> str:
    """Return what the one mail to a client about a day's ends is known by."""
    return f"consent:{client}:{until.isoformat()}"


def ending_consents(first: date, last: date) -> list[Consent]:
    """Return the consents that end from a day to another and should be signed again.

    The latest of each, not withdrawn, of riders who still ride; nobody of age needs
    one to riding lessons. By rider, in two queries.
    """
    later = Consent.objects.filter(
        rider=OuterRef("rider"),
        kind=OuterRef("kind"),
        name=OuterRef("name"),
        withdrawn_date=None,
        expires_date__gt=OuterRef("expires_date"),
    )
    since = day_bounds(first - RIDES_STILL, school_zone())[0]
    rides = Ride.objects.filter(
        rider=OuterRef("rider"), lesson__starts_at__gte=since
    ).exclude(state=RideState.CANCELLED)
    found = (
        Consent.objects.filter(
            ~Exists(later),
            Exists(rides),
            withdrawn_date=None,
            expires_date__gte=first,
            expires_date__lte=last,
        )
        .select_related("rider__person", "rider__client__person", "given_by")
        .order_by("expires_date", "rider_id", "pk")
    )
    of_age = the_school().of_age_years
    return [one for one in found if wanted_again(one, of_age)]


def wanted_again(consent: Consent, of_age: int) -> bool:
    """Say whether a consent is still needed on the day after its last."""
    after = consent.expires_date + timedelta(days=1)
    return consent.kind != ConsentKind.RIDING or is_minor(
        consent.rider.born_date, after, of_age
    )


def written_to(client: int, until: date) -> OutboxMessage | None:
    """Return the mail that told a client what ends on a day, once it went."""
    return OutboxMessage.objects.filter(
        once=mark_of(client, until), state=MessageState.SENT
    ).first()
