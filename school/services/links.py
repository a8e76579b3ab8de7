"""Closing a client's signed links."""

from datetime import datetime

from django.db import transaction

from school.models import Account, Client
from school.services.audit import record


def withdraw_links(*, client: Client, by: Account | None, now: datetime) -> Client:
    """Close every signed link given to a client so far; new ones work."""
    with transaction.atomic():
        fresh = Client.objects.select_for_update().get(pk=client.pk)
        fresh.link_round += 1
        fresh.save()
        record(by=by, at=now, action="withdraw links", subject=fresh)
        return fresh
