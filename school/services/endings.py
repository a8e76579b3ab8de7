"""Mails about a credit or a pack that ends soon: once, while it can still be used."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Count, F

from school.enums import MessageKind
from school.models import Client, LessonPack, MakeUpCredit
from school.queries.schools import school_zone
from school.services.outbox import remind

AHEAD = timedelta(days=14)
"""So long before its last day a client is told (the school's own)."""


def write_endings(*, now: datetime) -> int:
    """Write to whom something paid ends soon; return how many. Twice is harmless."""
    today = now.astimezone(school_zone()).date()
    with transaction.atomic():
        return _credits(today, now) + _packs(today, now)


def _credits(today: date, now: datetime) -> int:
    soon = MakeUpCredit.objects.filter(
        used_for=None, expires_date__gte=today, expires_date__lte=today + AHEAD
    ).select_related("client__person")
    return sum(
        _write(
            one.client,
            f"credit:{one.pk}:{one.expires_date.isoformat()}",
            {"of": "credit", "what": one.reason, "until": one.expires_date.isoformat()},
            now,
        )
        for one in soon.order_by("pk")
    )


def _packs(today: date, now: datetime) -> int:
    soon = (
        LessonPack.objects.filter(
            expires_date__gte=today, expires_date__lte=today + AHEAD
        )
        .annotate(used=Count("uses"))
        .filter(used__lt=F("lessons"))
        .select_related("client__person")
    )
    return sum(
        _write(
            one.client,
            f"pack:{one.pk}:{one.expires_date.isoformat()}",
            {
                "of": "pack",
                "what": one.name,
                "left": str(one.lessons - one.used),
                "until": one.expires_date.isoformat(),
            },
            now,
        )
        for one in soon.order_by("pk")
    )


def _write(client: Client, once: str, told: dict[str, str], now: datetime) -> bool:
    if not client.person.email:
        return False
    return remind(
        client=client,
        lesson=None,
        once=once,
        told=told,
        now=now,
        kind=MessageKind.ENDS_SOON,
    )
