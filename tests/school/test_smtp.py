"""Mails over a real mail server: what it takes, refuses, and drops."""

from datetime import timedelta

import pytest
import vobject

from school.models import AuditEntry, Invitation, OutboxMessage, School
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.services.messages import (
    MOST_TRIES,
    UnableToSend,
    deliver_due,
    send_again,
)
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.mailserver import MailServer, calendar_of, mail_server, send_by_smtp
from tests.readers.expand import READERS, agreed

pytestmark = pytest.mark.django_db


@pytest.fixture
def server(settings):
    SchoolFactory()
    with mail_server() as one:
        send_by_smtp(settings, one)
        yield one


def book(**of):
    ride = RideFactory(rider__client__person__email="sam@example.org", **of)
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride.lesson


def row() -> OutboxMessage:
    return OutboxMessage.objects.get()


def test_an_invite_arrives_as_it_was_made(server: MailServer) -> None:
    lesson = book()
    deliver_due(now=NOW)

    (read,) = server.mails()
    assert server.recipients == [["sam@example.org"]]
    assert read["to"].addresses[0].addr_spec == "sam@example.org"
    assert read["message-id"] == row().message_id
    assert server.received[0] == bytes(row().mail)
    (one,) = agreed(calendar_of(read), NOW, lesson.starts_at + timedelta(days=1))
    assert one.starts_at == lesson.starts_at


def test_a_refused_address_is_given_up_and_says_why(server: MailServer) -> None:
    """RFC 5321 section 4.2.1: 5yz is for good."""
    server.answers["RCPT"] = "550 no such box"
    book()

    assert deliver_due(now=NOW).failed == 1
    assert row().state == "failed"
    assert row().last_error == "the mail server says 550 no such box"
    assert deliver_due(now=NOW + timedelta(days=2)).failed == 0


def test_a_busy_server_is_tried_again(server: MailServer) -> None:
    """RFC 5321 section 4.2.1: 4yz may go later."""
    server.answers["DATA"] = "451 try later"
    book()
    deliver_due(now=NOW)
    waiting = row()
    server.answers.clear()
    deliver_due(now=waiting.next_try_at)

    assert waiting.state == "waiting"
    assert waiting.last_error == "the mail server says 451 try later"
    assert row().state == "sent"
    assert row().last_error == ""


def test_a_line_that_drops_after_the_mail_was_taken_repeats_the_same_bytes(
    server: MailServer,
) -> None:
    """The sender cannot know; the recipient's calendar takes it once."""
    server.answers["DATA"] = "drop after"
    book()
    assert deliver_due(now=NOW).failed == 1
    server.answers.clear()
    deliver_due(now=row().next_try_at)

    first, second = server.received
    assert first == second
    assert row().state == "sent"


def test_a_server_that_is_away_is_tried_for_a_day_and_then_given_up(
    server: MailServer, settings
) -> None:
    settings.EMAIL_PORT = 1
    book()
    for _ in range(MOST_TRIES):
        deliver_due(now=row().next_try_at)

    assert row().state == "failed"
    assert timedelta(hours=24) < row().next_try_at - NOW < timedelta(hours=36)


def test_mails_of_one_lesson_keep_their_order_and_others_do_not_wait(
    server: MailServer,
) -> None:
    server.answers["DATA"] = "451 try later"
    first = book()
    deliver_due(now=NOW)
    server.answers.clear()
    cancel_lesson(lesson=first, reason="storm", by=None, now=NOW)
    other = book()
    deliver_due(now=NOW)

    methods = [calendar_of(one).split(b"METHOD:")[1][:6] for one in server.mails()]
    assert methods == [b"CANCEL", b"REQUES"]
    states = OutboxMessage.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == ["dropped", "sent", "sent"]
    assert Invitation.objects.get(lesson=other).messages.get().state == "sent"


def test_a_later_mail_waits_while_another_of_the_same_lesson_is_on_its_way(
    server: MailServer,
) -> None:
    lesson = book()
    on_its_way = NOW + timedelta(minutes=4)
    OutboxMessage.objects.update(attempts=1, claimed_until=on_its_way)
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)

    assert deliver_due(now=NOW).sent == 0
    assert deliver_due(now=on_its_way).sent == 1


def test_sending_again_sends_the_same_bytes(server: MailServer) -> None:
    book()
    deliver_due(now=NOW)
    send_again(message=row(), by=None, now=NOW)
    deliver_due(now=NOW)

    first, second = server.received
    assert first == second
    assert AuditEntry.objects.filter(action="send again").count() == 1


def test_a_mail_on_its_way_is_not_sent_again(server: MailServer) -> None:
    book()
    OutboxMessage.objects.update(attempts=1, claimed_until=NOW + timedelta(minutes=1))

    assert send_again(message=row(), by=None, now=NOW).claimed_until is not None
    assert not AuditEntry.objects.filter(action="send again").exists()


def test_an_invite_is_not_sent_again_once_its_lesson_is_cancelled(
    server: MailServer,
) -> None:
    lesson = book()
    deliver_due(now=NOW)
    invite = row()
    cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)

    with pytest.raises(UnableToSend, match="newer mail"):
        send_again(message=invite, by=None, now=NOW)


def test_who_subscribes_to_the_feed_gets_words_without_a_calendar(
    server: MailServer,
) -> None:
    book(rider__client__calendar_by="feed")
    deliver_due(now=NOW)

    (read,) = server.mails()
    kinds = {one.get_content_type() for one in read.walk()}
    assert kinds == {"multipart/alternative", "text/plain", "text/html"}
    assert "decline this invite" not in read.get_body(("plain",)).get_content()


TITLES = {
    "line breaks": "Mira\r\nBCC: all@example.org\nTom",
    "commas and semicolons": "Mira, Tom; Ada\\Bo",
    "emoji": "Mira 🐴🏇🏽",
    "three hundred letters": "M" * 300,
    "three hundred wide letters": "米" * 300,
    "right to left": "מירה נועה",
    "both ways": "Mira מירה (Arena 2)",
    "markup": "<b>Mira</b> & {cancel} %s",
}


@pytest.mark.parametrize("kind", TITLES)
def test_any_name_survives_the_way_to_every_reader(
    server: MailServer, kind: str
) -> None:
    name = TITLES[kind]
    lesson = book()
    School.objects.update(
        name=f"Yard {name[:40]}".replace("\r", " ").replace("\n", " ")
    )
    person = lesson.rides.get().rider.person
    person.__class__.objects.filter(pk=person.pk).update(first_name=name[:60])
    lesson.arena.__class__.objects.update(name=name[:60])
    deliver_due(now=NOW)

    (read,) = server.mails()
    one_line = " ".join(name[:60].split())
    title = f"Lesson {one_line}: jumping"
    (event,) = agreed(calendar_of(read), NOW, lesson.starts_at + timedelta(days=1))
    assert len(READERS) == 4
    assert event.summary == title
    assert vobject.readOne(calendar_of(read).decode()).vevent.location.value == one_line
    assert read["subject"] == f"{title}, Sat 6 Mar 09:00"
    assert read["bcc"] is None
    assert server.recipients == [["sam@example.org"]]
    assert f"for {one_line} at" in read.get_body(("plain",)).get_content()
    html = read.get_body(("html",)).get_content()
    assert "<b>Mira" not in html


def test_the_calendar_part_is_coded_for_any_path(server: MailServer) -> None:
    """RFC 6047 sections 2.4 and 2.5: charset named, base64, ASCII on the wire."""
    book(rider__person__first_name="מירה 🐴")
    deliver_due(now=NOW)

    assert server.received[0].isascii()
    (read,) = server.mails()
    (part,) = [p for p in read.walk() if p.get_content_type() == "text/calendar"]
    assert part["content-transfer-encoding"] == "base64"
    assert part["content-type"].params["charset"] == "utf-8"
    assert part["content-type"].params["method"] == "REQUEST"
