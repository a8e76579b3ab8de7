"""A client's own calendar address: what is booked from then on comes by it alone.

What was put into the calendar by an invite stays there and is kept true by mail, so
nothing is ever in a calendar twice.
"""

from datetime import datetime

from django.db import transaction

from school.enums import CalendarBy, FeedKind
from school.models import Account, Client, FeedToken, Invitation
from school.queries.clients import client_feeds
from school.services.audit import record
from school.services.feeds import make_feed, withdraw_feed
from school.services.texts import write_to


def follow_by_feed(*, client: Client, now: datetime) -> str:
    """Make a client a calendar address, and mail them words only from now on."""
    with transaction.atomic():
        _, url = make_feed(kind=FeedKind.CLIENT, holder=client.person, now=now)
        _by(client, CalendarBy.FEED, now)
        return url


def stop_feed(*, client: Client, feed: FeedToken, now: datetime) -> None:
    """Close a client's address; without another, what is booked comes by invite."""
    with transaction.atomic():
        withdraw_feed(feed=feed, by=None, now=now)
        if not client_feeds(client):
            _by(client, CalendarBy.INVITE, now)


def show_all_in_feed(*, client: Client, by: Account | None, now: datetime) -> int:
    """Let a client's feed show what came by invite too; return how many entries.

    For who never took the invites into a calendar; mails about them carry words
    only from then on. Twice is harmless.
    """
    with transaction.atomic():
        count = Invitation.objects.filter(
            client=client, withdrawn=False, by_invite=True
        ).update(by_invite=False)
        if count:
            record(
                by=by,
                at=now,
                action="show all in feed",
                subject=client,
                after={"entries": count},
            )
        return count


def _by(client: Client, way: str, now: datetime) -> None:
    write_to(client=client, language=client.language, calendar_by=way, by=None, now=now)
