"""A worker killed at every point: nothing lost, nothing doubled, nothing untrue.

A real process is ended by SIGKILL while it sends to a real mail server; then a lesson
is cancelled, and another worker takes over. The recipient's calendar is modelled by
the rule of RFC 5546 section 2.1.5: for one UID the higher SEQUENCE wins.
"""

import re
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import transaction

from school.models import Invitation, Lesson, OutboxMessage
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.services.messages import LEASE, deliver_due
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.mailserver import MailServer, calendar_of, mail_server, send_by_smtp
from tests.processes import ROOT, surroundings
from tests.school.dying_worker import hooks

START = "import django; django.setup(); from tests.school.dying_worker import main; "
WORKER = f"{START}main()"
LATER = NOW + LEASE + timedelta(minutes=1)

pytestmark = pytest.mark.django_db(transaction=True)


def run_and_kill(point: str, server: MailServer, tmp_path: Path) -> None:
    command = [sys.executable, "-c", WORKER, point, NOW.isoformat(), str(server.port)]
    done = subprocess.run(
        command,
        env=surroundings(tmp_path),
        cwd=ROOT,
        capture_output=True,
        timeout=300,
    )
    assert done.returncode == -9, done.stderr.decode()


def told(raw: bytes) -> tuple[str, str, int]:
    """Return UID, method and SEQUENCE of a calendar object."""
    text = raw.decode()
    (uid,) = re.findall(r"UID:(\S+)", text)
    (method,) = re.findall(r"METHOD:(\S+)", text)
    (sequence,) = re.findall(r"SEQUENCE:(\d+)", text)
    return uid, method, int(sequence)


def book() -> Lesson:
    ride = RideFactory()
    with transaction.atomic():
        lesson_changed(lesson=ride.lesson, now=NOW)
    return ride.lesson


@pytest.mark.parametrize("point", hooks())
def test_a_killed_worker_loses_and_doubles_nothing(
    point: str, settings, tmp_path: Path
) -> None:
    SchoolFactory()
    first, *others = [book() for _ in range(3)]
    uid = str(Invitation.objects.get(lesson=first).uid)
    with mail_server() as server:
        run_and_kill(point, server, tmp_path)
        before_cancelled = len(server.received)

        cancel_lesson(lesson=first, reason="storm", by=None, now=NOW)
        send_by_smtp(settings, server)
        deliver_due(now=LATER)
        deliver_due(now=LATER)

    objects = [told(calendar_of(one)) for one in server.mails()]
    # Never an invite to what is cancelled, once it is.
    assert (uid, "REQUEST") not in {one[:2] for one in objects[before_cancelled:]}
    # The same mail again is the same bytes again.
    by_id: dict[str, set[bytes]] = {}
    for mail, raw in zip(server.mails(), server.received, strict=True):
        by_id.setdefault(mail["Message-ID"], set()).add(raw)
    assert {len(bodies) for bodies in by_id.values()} == {1}
    # What the recipients' calendars hold in the end.
    newest: dict[str, tuple[int, str]] = {}
    for one, method, sequence in objects:
        newest[one] = max(newest.get(one, (-1, "")), (sequence, method))
    held = {one for one, (_, method) in newest.items() if method == "REQUEST"}
    assert held == {
        str(one.uid) for one in Invitation.objects.filter(lesson__in=others)
    }
    # Nothing waits, and what went is said to have gone.
    assert not OutboxMessage.objects.filter(state="waiting").exists()
    assert OutboxMessage.objects.filter(
        state="sent", invitation__lesson__in=others
    ).count() == len(others)


def test_at_least_ten_points_are_tried() -> None:
    assert len(hooks()) >= 10
