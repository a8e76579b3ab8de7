"""A client's own subscription: nothing is in a calendar twice, and nothing is lost."""

from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from urllib.parse import urlsplit

import pytest
from django.core import mail
from django.test import Client as Browser

from school.models import AuditEntry, Client, Lesson, Rider
from school.queries.clients import client_feeds
from school.services.lessons import move_lesson
from school.services.messages import deliver_due
from school.services.rides import add_ride
from school.services.subscriptions import (
    follow_by_feed,
    show_all_in_feed,
    stop_feed,
)
from tests.clock import NOW, at
from tests.factories.lessons import LessonFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.readers.expand import agreed

pytestmark = pytest.mark.django_db

SPAN = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))
LATER = NOW + timedelta(hours=1)


@pytest.fixture
def rider() -> Rider:
    SchoolFactory()
    return RiderFactory(client__person__email="sam@example.org")


def booked(rider: Rider, clock: str) -> Lesson:
    lesson = LessonFactory(
        starts_at=at(clock), ends_at=at(clock) + timedelta(minutes=45)
    )
    add_ride(lesson=lesson, rider=rider, horse=None, by=None, now=NOW)
    deliver_due(now=LATER)
    return lesson


def last_calendar() -> bytes:
    read = message_from_bytes(
        mail.outbox[-1].message().as_bytes(), policy=policy.default
    )
    parts = [p for p in read.walk() if p.get_content_type() == "text/calendar"]
    return parts[0].get_payload(decode=True) if parts else b""


def starts(body: bytes) -> list[datetime]:
    return [one.starts_at for one in agreed(body, *SPAN)] if body else []


def feed(url: str, client: Browser) -> list[datetime]:
    body = client.get(urlsplit(url).path).content
    return starts(body)


def test_what_was_invited_stays_by_mail_and_what_comes_is_in_the_feed(
    rider: Rider, client: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One entry a lesson: RFC 5546 keeps an invite true by its UID and SEQUENCE."""
    monkeypatch.setattr("school.calendars.personal.BACK", timedelta(days=4000))
    monkeypatch.setattr("school.calendars.personal.AHEAD", timedelta(days=4000))
    first = booked(rider, "10:00")
    assert starts(last_calendar()) == [first.starts_at]

    url = follow_by_feed(client=rider.client, now=NOW)
    second = booked(rider, "12:00")

    assert last_calendar() == b""
    assert feed(url, client) == [second.starts_at]

    first.refresh_from_db()
    moved = move_lesson(
        lesson=first,
        starts_at=at("15:00"),
        arena=first.arena,
        version=first.version,
        by=None,
        now=NOW,
    )
    deliver_due(now=LATER)

    assert starts(last_calendar()) == [moved.starts_at]
    assert feed(url, client) == [second.starts_at]


def test_who_never_took_the_invites_sees_all_in_the_feed(
    rider: Rider, client: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("school.calendars.personal.BACK", timedelta(days=4000))
    monkeypatch.setattr("school.calendars.personal.AHEAD", timedelta(days=4000))
    lesson = booked(rider, "10:00")
    url = follow_by_feed(client=rider.client, now=NOW)
    assert feed(url, client) == []

    counts = [show_all_in_feed(client=rider.client, by=None, now=NOW) for _ in range(2)]

    assert counts == [1, 0]
    assert feed(url, client) == [lesson.starts_at]
    assert AuditEntry.objects.filter(action="show all in feed").count() == 1


def test_without_an_address_what_is_booked_comes_by_invite_again(rider: Rider) -> None:
    client = rider.client
    follow_by_feed(client=client, now=NOW)
    follow_by_feed(client=client, now=NOW)

    for left in (1, 0):
        stop_feed(client=client, feed=client_feeds(client)[0], now=NOW)
        assert len(client_feeds(client)) == left
        way = Client.objects.get(pk=client.pk).calendar_by
        assert way == ("feed" if left else "invite")

    lesson = booked(rider, "10:00")
    assert starts(last_calendar()) == [lesson.starts_at]
