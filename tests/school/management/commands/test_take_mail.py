"""Mail piped in by the mail server."""

import subprocess
import sys
from io import BytesIO, StringIO, TextIOWrapper

import pytest
from django.core.management import call_command
from django.db import DatabaseError

from school.management.commands import take_mail as command
from school.models import Invitation
from school.services.invitations import lesson_changed
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.school.calendars.reply_mails import (
    CLIENT,
    answer_lines,
    calendar_text,
    reply_mail,
)

pytestmark = pytest.mark.django_db


def pipe(monkeypatch: pytest.MonkeyPatch, raw: bytes) -> str:
    monkeypatch.setattr(sys, "stdin", TextIOWrapper(BytesIO(raw)))
    out = StringIO()
    call_command("take_mail", stdout=out, stderr=out)
    return out.getvalue()


def test_an_answer_piped_in_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    SchoolFactory()
    ride = RideFactory(rider__client__person__email=CLIENT)
    lesson_changed(lesson=ride.lesson, now=NOW)
    lines = answer_lines(uid=str(Invitation.objects.get().uid))

    said = pipe(monkeypatch, reply_mail(calendar_text([lines])))

    assert said == "applied\n"
    assert Invitation.objects.get().answer == "ACCEPTED"


def test_a_large_mail_is_read_to_its_end_and_held(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    SchoolFactory()
    RideFactory(rider__client__person__email=CLIENT)
    raw = reply_mail(
        calendar_text([answer_lines(uid="x", more=["COMMENT:" + "x" * 10**7])])
    )

    assert pipe(monkeypatch, raw) == "held: too-large\n"
    assert sys.stdin.buffer.read() == b""


def test_a_database_that_is_away_keeps_the_mail_with_the_server(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def away(*args: object, **kwargs: object) -> None:
        raise DatabaseError("away")

    monkeypatch.setattr(command, "take_mail", away)

    with pytest.raises(SystemExit) as caught:
        pipe(monkeypatch, b"x")

    assert caught.value.code == 75


def test_the_command_says_what_its_status_means() -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "take_mail", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )

    assert "75: try again" in " ".join(done.stdout.split())
