"""How hot a day is: noted by who stands in it, or from a forecast."""

from datetime import date, datetime

from django.db import transaction

from school.models import Account, DayHeat
from school.services.audit import record, snapshot
from school.services.units import UnableToSet


def note_heat(
    *,
    day: date,
    temperature_c: int,
    humidity_pct: int,
    by: Account | None,
    now: datetime,
) -> DayHeat:
    """Note the heat of a day at its worst hour, in place of what was noted before."""
    if not -40 <= temperature_c <= 55:
        raise UnableToSet("temperature", "Give degrees from -40 to 55.", "temperature")
    if not 0 <= humidity_pct <= 100:
        raise UnableToSet("humidity", "Give a percentage from 0 to 100.", "humidity")
    with transaction.atomic():
        known = DayHeat.objects.filter(date=day).first()
        figures = (temperature_c, humidity_pct)
        if known and (known.temperature_c, known.humidity_pct) == figures:
            return known
        before = None if known is None else snapshot(known)
        noted, _ = DayHeat.objects.update_or_create(
            date=day,
            defaults={
                "temperature_c": temperature_c,
                "humidity_pct": humidity_pct,
                "noted_by": by,
                "noted_at": now,
            },
        )
        record(
            by=by,
            at=now,
            action="note heat",
            subject=noted,
            before=before,
            after=snapshot(noted),
        )
        return noted
