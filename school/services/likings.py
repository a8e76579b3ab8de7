"""What is noted of riders and horses, and how confident a rider is."""

from datetime import datetime

from django.db import transaction

from school.enums import Liking
from school.models import Account, Horse, Rider, RiderConfidence, RiderHorse
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook


def note_liking(
    *,
    rider: Rider,
    horse: Horse,
    liking: str,
    reason: str,
    by: Account | None,
    now: datetime,
) -> RiderHorse | None:
    """Note a wish, rather not or never again; an empty `liking` takes the note away."""
    if liking == Liking.NEVER and not reason.strip():
        raise UnableToBook(
            "reason",
            f"Say why {rider.person.first_name} is never to ride {horse} again.",
            field="reason",
        )
    with transaction.atomic():
        Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
        known = RiderHorse.objects.filter(rider=rider, horse=horse).first()
        before = snapshot(known) if known else None
        if not liking:
            if known:
                record(by=by, at=now, action="forget", subject=known, before=before)
                known.delete()
            return None
        one = known or RiderHorse(rider=rider, horse=horse)
        same = (one.liking, one.reason) == (liking, reason.strip()[:200])
        if known and same:
            return known
        one.liking, one.reason = liking, reason.strip()[:200]
        one.set_at, one.set_by = now, by
        one.save()
        record(
            by=by, at=now, action="note", subject=one, before=before,
            after=snapshot(one),
        )  # fmt: skip
        return one


def set_confidence(
    *, rider: Rider, confidence: int, by: Account | None, now: datetime
) -> None:
    """Set how confident a rider is, from 1 to 5; twice is harmless."""
    if not 1 <= confidence <= 5:
        raise UnableToBook(
            "confidence", "Give a number from 1 (timid) to 5.", field="confidence"
        )
    with transaction.atomic():
        Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
        known = RiderConfidence.objects.filter(rider=rider).first()
        if known and known.confidence == confidence:
            return
        before = snapshot(known) if known else None
        one = known or RiderConfidence(rider=rider)
        one.confidence, one.set_at, one.set_by = confidence, now, by
        one.save()
        record(
            by=by, at=now, action="set confidence", subject=one, before=before,
            after=snapshot(one),
        )  # fmt: skip
