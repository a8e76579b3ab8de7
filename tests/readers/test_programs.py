"""Whole programs over loopback: a subscription client and a CalDAV server."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from django.core import mail
from django.db import transaction
from django.utils import timezone

from school.models import Ride
from school.services.feeds import make_feed
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.services.messages import deliver_due
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.mailserver import calendar_of
from tests.readers.expand import agreed, by_ical_js, present
from tests.servers.caldav import caldav_server

VDIRSYNCER = """
[general]
status_path = "{folder}/status/"

[pair lessons]
a = "feed"
b = "here"
collections = null
conflict_resolution = "a wins"

[storage feed]
type = "http"
url = "{url}"

[storage here]
type = "filesystem"
path = "{folder}/lessons/"
fileext = ".ics"
"""


def sync(folder: Path, step: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "vdirsyncer", "-c", str(folder / "conf"), step],
        input="y\n" * 5,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


@pytest.mark.django_db(transaction=True)
def test_a_subscription_client_follows_a_feed(live_server, tmp_path: Path) -> None:
    """vdirsyncer fetches, parts by UID, and drops what is gone.

    What is called off shortly before its day would stay until it is over.
    """
    SchoolFactory()
    rider = RiderFactory(person__first_name="Mira")
    rides = [
        RideFactory(rider=rider, lesson__starts_at=timezone.now() + timedelta(days=n))
        for n in (2, 3, 30)
    ]
    with transaction.atomic():
        for ride in rides:
            lesson_changed(lesson=ride.lesson, now=NOW)
    _, url = make_feed(kind="client", holder=rider.client.person, now=NOW)
    address = f"{live_server.url}/agenda/" + url.partition("/agenda/")[2]
    (tmp_path / "lessons").mkdir()
    (tmp_path / "conf").write_text(VDIRSYNCER.format(folder=tmp_path, url=address))

    sync(tmp_path, "discover")
    sync(tmp_path, "sync")
    first = [one.read_text() for one in (tmp_path / "lessons").glob("*.ics")]
    again = sync(tmp_path, "sync")
    cancel_lesson(lesson=rides[2].lesson, reason="frost", by=None, now=timezone.now())
    sync(tmp_path, "sync")

    assert len(first) == 3
    assert all("SUMMARY:Lesson Mira: jumping" in text for text in first)
    assert "Copying" not in again
    assert len(list((tmp_path / "lessons").glob("*.ics"))) == 2


@pytest.mark.django_db
def test_a_caldav_server_expands_a_weekly_invite_as_the_readers_do() -> None:
    """RFC 4791: kept without METHOD (section 4.1), expanded by the server (9.6.5)."""
    SchoolFactory()
    weekly(rides=[(RiderFactory(), None)])
    deliver_due(now=NOW + timedelta(hours=1))
    sent = message_from_bytes(
        mail.outbox[-1].message().as_bytes(), policy=policy.default
    )
    invite = calendar_of(sent)
    year = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))

    with caldav_server() as server:
        kept = server.put("series.ics", invite.replace(b"METHOD:REQUEST\r\n", b""))
        (expanded,) = server.occurrences(*year)

    assert kept == 201
    seen = [one.starts_at for one in agreed(invite, *year)]
    assert len(seen) == 10
    present("ical.js")
    assert [one.starts_at for one in by_ical_js(expanded, *year)] == seen


def alone(head: str, event: str) -> bytes:
    """Return one event of a feed as a calendar of its own."""
    one = event.partition("END:VCALENDAR")[0]
    return f"{head}BEGIN:VEVENT{one}END:VCALENDAR\r\n".encode()


@pytest.mark.django_db
def test_a_caldav_server_takes_every_entry_of_a_feed(client) -> None:
    SchoolFactory()
    rider = RiderFactory()
    for n in range(2, 8):
        RideFactory(rider=rider, lesson__starts_at=timezone.now() + timedelta(days=n))
    _, url = make_feed(kind="client", holder=rider.client.person, now=NOW)
    body = client.get("/agenda/" + url.partition("/agenda/")[2]).content
    head, *events = body.decode().split("BEGIN:VEVENT")

    with caldav_server() as server:
        statuses = [
            server.put(f"{n}.ics", alone(head, event)) for n, event in enumerate(events)
        ]
        now = timezone.now()
        found = server.occurrences(now, now + timedelta(days=30))

    assert statuses == [201] * Ride.objects.count()
    assert len(found) == 6
