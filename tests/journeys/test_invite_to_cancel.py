"""One lesson's life over real mail: invited, moved, declined, offered, cancelled.

Mails go out over SMTP and answers come back over IMAP, both on loopback; what a
family's calendar then has is read by the independent readers.
"""

import re
from datetime import UTC, timedelta

import pytest
import vobject
from django.test import Client as Browser
from django.utils import timezone

from school.models import Invitation, Lesson, Reply, Ride, WaitingWish
from school.queries.links import page_url
from school.services.booking import book_lesson
from school.services.lessons import cancel_lesson, move_lesson
from school.services.mailbox import read_mailbox
from school.services.messages import deliver_due
from tests.factories.arenas import ArenaFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.schools import SchoolFactory
from tests.mailserver import MailServer, calendar_of, mail_server, send_by_smtp
from tests.readers.expand import agreed
from tests.school.calendars.reply_mails import answer_lines, calendar_text, reply_mail
from tests.servers.imap import PASSWORD, USER, imap_server

pytestmark = pytest.mark.django_db


class Family:
    """Somebody with a mail address and a calendar that follows the invites."""

    def __init__(self, name: str, child: str) -> None:
        self.email = f"{name.lower()}@example.org"
        self.client = ClientFactory(person__first_name=name, person__email=self.email)
        self.rider = RiderFactory(client=self.client, person__first_name=child)
        self.calendar: dict[str, tuple[int, bytes]] = {}
        self.mails: list = []

    def fetch(self, server: MailServer) -> None:
        """Take what came, as a calendar program does (RFC 5546 section 2.1.5)."""
        for mail, to in zip(server.mails(), server.recipients, strict=True):
            if to != [self.email] or mail["Message-ID"] in {
                one["Message-ID"] for one in self.mails
            }:
                continue
            self.mails.append(mail)
            if not any(p.get_content_type() == "text/calendar" for p in mail.walk()):
                continue
            body = calendar_of(mail)
            read = vobject.readOne(body.decode())
            uid, sequence = read.vevent.uid.value, int(read.vevent.sequence.value)
            if sequence < self.calendar.get(uid, (0, b""))[0]:
                continue
            if read.method.value == "CANCEL":
                self.calendar.pop(uid, None)
            else:
                self.calendar[uid] = (sequence, body)

    def starts(self) -> list:
        """Return when this family's lessons are, as all readers see them."""
        now = timezone.now()
        return [
            one.starts_at
            for _, body in self.calendar.values()
            for one in agreed(body, now, now + timedelta(days=60))
        ]

    def answer(self, partstat: str, *, sequence: int, n: int) -> bytes:
        """Return the answer their calendar program sends for their one entry."""
        (uid,) = self.calendar
        lines = answer_lines(
            uid=uid,
            partstat=partstat,
            attendee=self.email,
            sequence=sequence,
            stamp=timezone.now() + timedelta(seconds=n),
        )
        return reply_mail(
            calendar_text([lines]),
            sender=self.email,
            message_id=f"<{n}-{self.email}>",
        )


def test_one_lesson_from_its_booking_to_its_end(client: Browser, settings) -> None:
    now = timezone.now()
    SchoolFactory(zone="UTC", notice_hours=24)
    start = (now + timedelta(days=9)).replace(
        hour=15, minute=0, second=0, microsecond=0
    )
    sam, kim = Family("Sam", "Mira"), Family("Kim", "Tom")
    arena, instructor = ArenaFactory(), InstructorFactory()

    with mail_server() as server, imap_server() as box:
        send_by_smtp(settings, server)
        settings.IMAP_HOST, settings.IMAP_PORT = "127.0.0.1", box.port
        settings.IMAP_USER, settings.IMAP_PASSWORD = USER, PASSWORD
        settings.IMAP_TLS = False

        def post_goes_round(hours: int) -> None:
            """Let the outbox be emptied, as if hours had passed."""
            done = deliver_due(now=now + timedelta(hours=hours))
            assert done.failed == 0
            for family in (sam, kim):
                family.fetch(server)

        # Booked: one invite, one entry.
        lesson = book_lesson(
            title="Small group",
            kind="group",
            work="jumping",
            starts_at=start,
            minutes=60,
            arena=arena,
            instructor=instructor,
            places=1,
            rides=[(sam.rider, None)],
            by=None,
            now=now,
        )
        post_goes_round(1)
        assert sam.starts() == [start.astimezone(UTC)]

        # Another family waits for such a place, by their own link.
        mine = page_url(kim.client, now=now).partition("/my/")[2]
        client.post(
            f"/my/{mine}wishes/",
            {
                "rider": kim.rider.pk,
                "work": "jumping",
                "weekday": "",
                "from_at": "15:00",
                "to_at": "18:00",
            },
        )
        assert WaitingWish.objects.get().rider == kim.rider

        # Moved: the same entry, an hour later.
        lesson.refresh_from_db()
        lesson = move_lesson(
            lesson=lesson,
            starts_at=start + timedelta(hours=1),
            version=lesson.version,
            by=None,
            now=now + timedelta(hours=2),
        )
        post_goes_round(3)
        assert sam.starts() == [(start + timedelta(hours=1)).astimezone(UTC)]
        assert len(sam.calendar) == 1

        # An old "yes" to the old hour waits; the "no" to the new one frees the place.
        box.put(sam.answer("ACCEPTED", sequence=0, n=1))
        box.put(sam.answer("DECLINED", sequence=1, n=2))
        assert read_mailbox(now=now + timedelta(hours=4)) == 2
        assert list(Reply.objects.order_by("pk").values_list("state", "code")) == [
            ("held", "stale"),
            ("applied", ""),
        ]
        post_goes_round(5)
        assert sam.starts() == []
        assert Ride.objects.get().cancelled_reason == "given back by the client"
        assert Lesson.objects.get().state == "booked"

        # The manager offers the place; the waiting family takes it by their link.
        client.force_login(AccountFactory(manager=True))
        assert "Small group" in client.get("/waiting/").content.decode()
        wish = WaitingWish.objects.get()
        client.post(f"/waiting/{wish.pk}/offer/", {"lesson": lesson.pk})
        client.logout()
        post_goes_round(6)
        offered = kim.mails[-1].get_body(("plain",)).get_content()
        address = re.search(r"/my/\S+/", offered)[0]
        shown = client.get(address).content.decode()
        take = re.search(r'action="(/my/[^"]+/take/)"', shown)[1]
        assert kim.starts() == []
        client.post(take)
        post_goes_round(7)
        assert kim.starts() == [(start + timedelta(hours=1)).astimezone(UTC)]
        assert sam.starts() == []

        # Cancelled by the school: gone from the calendar that had it, told once.
        before = len(sam.mails)
        lesson.refresh_from_db()
        cancel_lesson(
            lesson=lesson, reason="storm", by=None, now=now + timedelta(hours=8)
        )
        post_goes_round(9)
        assert kim.starts() == []
        assert "storm" in kim.mails[-1].get_body(("plain",)).get_content()
        assert len(sam.mails) == before
        assert Invitation.objects.filter(withdrawn=False).count() == 0
