"""Mails about consents that end soon: once, while there is time to sign again."""

from datetime import date, datetime, timedelta

from django.db import transaction

from school.enums import MessageKind
from school.models import Client, Consent
from school.queries.consents import ending_consents, mark_of
from school.queries.riders import uncovered_rides
from school.queries.schools import school_zone
from school.services.outbox import remind

AHEAD = timedelta(days=21)
"""So long before its last day who signs is written to: common practice, no source."""


def write_consent_ends(*, now: datetime) -> int:
    """Write to whose riders' consents end soon; return how many mails.

    What ends on one day is one mail. Twice is harmless.
    """
    zone = school_zone()
    today, written = now.astimezone(zone).date(), 0
    due: dict[tuple[int, date], list[Consent]] = {}
    for one in ending_consents(today, today + AHEAD):
        due.setdefault((one.rider.client_id, one.expires_date), []).append(one)
    if not due:
        return 0
    bare = uncovered_rides(today)
    with transaction.atomic():
        for (_, until), consents in due.items():
            client = consents[0].rider.client
            if not client.person.email:
                continue
            after = [
                ride.lesson.starts_at
                for one in consents
                for ride in bare.get(one.rider_id, ())
                if ride.lesson.starts_at.astimezone(zone).date() > until
            ]
            written += _write(client, until, consents, min(after, default=None), now)
    return written


def _write(
    client: Client,
    until: date,
    consents: list[Consent],
    after: datetime | None,
    now: datetime,
) -> bool:
    told = {
        "consents": [
            [one.rider.person.first_name, one.kind, one.name] for one in consents
        ],
        "riders": sorted({one.rider_id for one in consents}),
        "until": until.isoformat(),
        "booked_after": after.isoformat() if after else "",
    }
    return remind(
        client=client,
        lesson=None,
        once=mark_of(client.pk, until),
        told=told,
        now=now,
        kind=MessageKind.CONSENT_ENDS,
    )
