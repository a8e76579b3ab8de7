"""Secret addresses of calendar feeds: made, found, withdrawn."""

import hashlib
import secrets
from datetime import datetime

from django.conf import settings
from django.db import transaction

from school.enums import FeedKind
from school.models import Account, Arena, FeedToken, Horse, Person
from school.services.audit import record

LONGEST_TOKEN = 100


def make_feed(
    *,
    kind: str,
    holder: Person | Horse | Arena,
    now: datetime,
    by: Account | None = None,
    token: str | None = None,
) -> tuple[FeedToken, str]:
    """Make a feed's address; it is shown once, only its digest is kept.

    With `token` the same address is made again, and kept if it is there.
    """
    token = token or secrets.token_urlsafe(32)
    digest = _digest(token)
    url = f"{settings.BASE_URL}/agenda/{kind}/{token}.ics"
    with transaction.atomic():
        known = FeedToken.objects.filter(digest=digest).first()
        if known is not None:
            return known, url
        field = {FeedKind.HORSE: "horse", FeedKind.ARENA: "arena"}.get(
            FeedKind(kind), "person"
        )
        feed = FeedToken.objects.create(
            kind=kind, digest=digest, made_at=now, **{field: holder}
        )
        record(by=by, at=now, action="make feed", subject=feed, after={"kind": kind})
        return feed, url


def find_feed(*, kind: str, token: str) -> FeedToken | None:
    """Return the feed of a token, if it is one and not withdrawn."""
    if len(token) > LONGEST_TOKEN:
        return None
    return (
        FeedToken.objects.select_related("person__client", "horse", "arena")
        .filter(kind=kind, digest=_digest(token), revoked_at__isnull=True)
        .first()
    )


def withdraw_feed(*, feed: FeedToken, by: Account | None, now: datetime) -> None:
    """Close a feed's address for good."""
    with transaction.atomic():
        feed.revoked_at = now
        feed.save()
        record(by=by, at=now, action="withdraw feed", subject=feed)


def note_body(*, feed: FeedToken, digest: str, now: datetime) -> datetime:
    """Remember what a feed last served; return since when it has been so.

    The moment never goes back, also when something left the feed.
    """
    if feed.body_digest != digest or feed.body_changed_at is None:
        with transaction.atomic():
            feed.body_digest = digest
            feed.body_changed_at = now.replace(microsecond=0)
            feed.save(update_fields=["body_digest", "body_changed_at"])
    return feed.body_changed_at


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
