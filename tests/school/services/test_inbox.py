"""Answers by mail: the rules of who may say what, one by one."""

from datetime import UTC, datetime, timedelta

import pytest

from school.models import Invitation, Lesson, OutboxMessage, Reply, Ride
from school.services.inbox import (
    KEPT,
    drop_old_replies,
    settle_reply,
    take_mail,
)
from school.services.invitations import lesson_changed
from school.services.lessons import move_lesson
from school.services.messages import deliver_due
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.school.calendars.reply_mails import (
    CLIENT,
    ORGANISER,
    answer_lines,
    calendar_text,
    reply_mail,
)
from tests.school.services.replies import LATER, answer, booked, invited, kept

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24, organiser_email=ORGANISER)


@pytest.mark.parametrize("partstat", ["ACCEPTED", "TENTATIVE"])
def test_yes_and_perhaps_are_noted_and_the_booking_stays(partstat: str) -> None:
    invited()

    reply = answer(partstat)

    assert (reply.state, kept(), booked()) == ("applied", partstat, True)


def test_no_in_the_free_time_frees_the_place() -> None:
    invited()

    reply = answer("DECLINED")

    assert reply.state == "applied"
    assert not booked()
    assert Lesson.objects.get().state == "cancelled"
    assert Lesson.objects.get().state_reason == "given back by the client"


def test_no_inside_the_notice_hours_keeps_the_place_and_asks_on_a_page() -> None:
    ride = invited()
    late = ride.lesson.starts_at - timedelta(hours=2)

    reply = answer("DECLINED", now=late)

    assert (reply.state, reply.code) == ("held", "late")
    assert (kept(), booked()) == ("DECLINED", True)
    message = OutboxMessage.objects.get(kind="still-booked")
    deliver_due(now=late)
    message.refresh_from_db()
    assert message.state == "sent"
    assert b"Still booked" in bytes(message.mail)
    assert b"/my/" in bytes(message.mail).replace(b"=\r\n", b"")


def test_a_late_no_said_twice_is_answered_once() -> None:
    ride = invited()
    late = ride.lesson.starts_at - timedelta(hours=2)

    answer("DECLINED", now=late)
    answer("DECLINED", stamp="20270301T130000Z", now=late)

    assert OutboxMessage.objects.filter(kind="still-booked").count() == 1


def test_the_same_mail_is_taken_once() -> None:
    invited()

    one = answer(message_id="<same@example.org>")
    two = answer(message_id="<same@example.org>")

    assert one == two
    assert Reply.objects.count() == 1


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)])
def test_the_latest_answer_counts_in_whatever_order_they_come(order) -> None:
    """RFC 5546 section 2.1.5: by SEQUENCE, then by DTSTAMP."""
    invited()
    said = [
        ("ACCEPTED", "20270301T120000Z"),
        ("TENTATIVE", "20270301T120500Z"),
        ("ACCEPTED", "20270301T121000Z"),
    ]

    for n in order:
        partstat, stamp = said[n]
        answer(partstat, stamp=stamp)

    assert kept() == "ACCEPTED"
    latest = Reply.objects.filter(state="applied").order_by("-stamp").first()
    assert latest.stamp == datetime(2027, 3, 1, 12, 10, tzinfo=UTC)


def test_an_answer_to_an_older_time_waits_for_a_person() -> None:
    ride = invited()
    lesson = Lesson.objects.get()
    move_lesson(
        lesson=lesson, starts_at=at("11:00"), version=lesson.version, by=None, now=LATER
    )

    reply = answer("DECLINED", sequence=0)

    assert (reply.state, reply.code) == ("held", "stale")
    assert (kept(), booked()) == ("NEEDS-ACTION", True)
    assert ride.lesson_id == lesson.pk


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"attendee": "somebody@elsewhere.net"}, "stranger"),
        ({"attendee": ""}, "stranger"),
        ({"sender": "Forger <forger@elsewhere.net>"}, "other-sender"),
        ({"sender": f"{CLIENT}, forger@elsewhere.net"}, "other-sender"),
        ({"organiser": "boss@elsewhere.net"}, "organiser"),
        ({"partstat": "DELEGATED"}, "delegated"),
        ({"method": "COUNTER"}, "counter"),
        ({"method": "CANCEL"}, "no-reply"),
        ({"method": "REQUEST"}, "no-reply"),
        ({"method": "REFRESH"}, "refresh"),
        ({"sequence": 7}, "ahead"),
        ({"original": ";RANGE=THISANDFUTURE:20270306T080000Z"}, "this-and-future"),
        ({"original": ";TZID=Nowhere/Atall:20270306T090000"}, "unreadable"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_what_is_odd_waits_and_changes_nothing(changes: dict, code: str) -> None:
    invited()

    reply = answer(**({"partstat": "DECLINED"} | changes))

    assert (reply.state, reply.code) == ("held", code)
    assert reply.reason
    assert (kept(), booked()) == ("NEEDS-ACTION", True)


def test_an_answer_without_an_organiser_is_taken() -> None:
    """One large service leaves ORGANIZER out (reported by users)."""
    invited()

    assert answer(organiser=None).state == "applied"


def test_who_has_not_answered_says_nothing() -> None:
    invited()

    assert answer("NEEDS-ACTION").state == "ignored"


def test_an_unknown_uid_is_dropped_without_a_word() -> None:
    invited()

    reply = answer("DECLINED", uid="99999999-2222-4333-8444-555555555555")

    assert (reply.state, reply.code, reply.invitation) == (
        "ignored",
        "unknown-uid",
        None,
    )
    assert OutboxMessage.objects.exclude(kind="invite").count() == 0


def test_a_client_frees_no_place_of_another() -> None:
    """The UID of one client's invite, the address of another: nothing happens."""
    ride = invited(lesson__kind="group")
    other = RideFactory(
        lesson=ride.lesson, rider__client__person__email="other@example.org"
    )
    lesson_changed(lesson=ride.lesson, now=NOW)
    theirs = Invitation.objects.get(client=other.rider.client)
    for attendee in (CLIENT, "other@example.org"):
        lines = answer_lines(
            uid=str(theirs.uid), partstat="DECLINED", attendee=attendee
        )
        take_mail(reply_mail(calendar_text([lines])), now=LATER)

    assert not Ride.objects.filter(state="cancelled").exists()
    assert set(Reply.objects.values_list("state", flat=True)) == {"held"}


def test_a_sender_the_mail_server_does_not_vouch_for_waits(settings) -> None:
    settings.MAIL_AUTHSERV = "mx.school.example.org"
    invited()
    good = [("Authentication-Results", "mx.school.example.org; dmarc=pass")]
    forged = [("Authentication-Results", "mx.forger.net; dmarc=pass")]

    assert answer("DECLINED", headers=forged).code == "unproved"
    assert booked()
    assert answer(headers=good).state == "applied"


def test_a_counter_proposal_keeps_its_time_and_words() -> None:
    invited()
    start = at("11:00")

    reply = answer(
        method="COUNTER",
        start=start,
        end=start + timedelta(hours=1),
        more=["COMMENT:after school"],
    )

    assert (reply.proposed_starts_at, reply.comment) == (start, "after school")
    assert Lesson.objects.get().starts_at == at("09:00")


def test_no_times_are_taken_over_from_a_reply() -> None:
    invited()

    answer(start=at("15:00"), end=at("16:00"))

    assert Lesson.objects.get().starts_at == at("09:00")


def test_no_to_what_was_cancelled_already_asks_nobody() -> None:
    invited()
    answer("DECLINED")

    assert answer("DECLINED", stamp="20270301T130000Z", sequence=1).state == "ignored"


def test_yes_to_a_place_that_was_given_back_waits() -> None:
    invited()
    answer("DECLINED")

    reply = answer("ACCEPTED", stamp="20270301T130000Z", sequence=1)

    assert (reply.state, reply.code) == ("held", "withdrawn")


def test_after_the_lesson_began_a_no_waits() -> None:
    ride = invited()

    reply = answer("DECLINED", now=ride.lesson.starts_at + timedelta(minutes=1))

    assert (reply.state, reply.code) == ("held", "started")
    assert "Call the school" in reply.reason


def test_a_mail_of_ten_megabytes_is_held_unread_and_quickly() -> None:
    invited()
    uid = str(Invitation.objects.get().uid)
    lines = answer_lines(uid=uid, partstat="DECLINED", more=["COMMENT:" + "x" * 10**7])
    raw = reply_mail(calendar_text([lines]))

    (reply,) = take_mail(raw, now=LATER)

    assert len(raw) > 10_000_000
    assert (reply.state, reply.code) == ("held", "too-large")
    assert booked()


def test_a_clients_mail_of_words_is_not_lost() -> None:
    invited()

    (reply,) = take_mail(reply_mail(None), now=LATER)

    assert (reply.state, reply.code) == ("held", "words")


@pytest.mark.parametrize(
    "changes",
    [
        {"sender": "spam@elsewhere.net"},
        {"headers": [("Auto-Submitted", "auto-replied")]},
    ],
    ids=["stranger", "out-of-office"],
)
def test_junk_and_automatic_replies_are_dropped(changes: dict) -> None:
    invited()

    (reply,) = take_mail(reply_mail(None, **changes), now=LATER)

    assert reply.state == "ignored"


@pytest.mark.parametrize("raw", [b"", b"\x00" * 500, b"junk\r\n" * 1000])
def test_rubbish_is_dropped(raw: bytes) -> None:
    (reply,) = take_mail(raw, now=LATER)

    assert reply.state == "ignored"


# What a person does with what waits.


def test_a_person_takes_a_reply_of_another_address_as_the_clients() -> None:
    invited()
    reply = answer("DECLINED", sender="sam.work@elsewhere.net")

    settle_reply(reply=reply, by=None, now=LATER, take=True)

    reply.refresh_from_db()
    assert reply.state == "settled"
    assert not booked()


def test_taking_a_late_no_keeps_the_place_and_asks_the_client() -> None:
    ride = invited()
    late = ride.lesson.starts_at - timedelta(hours=2)
    reply = answer("DECLINED", sender="sam.work@elsewhere.net", now=late)

    settle_reply(reply=reply, by=None, now=late, take=True)

    assert booked()
    assert OutboxMessage.objects.filter(kind="still-booked").exists()


@pytest.mark.parametrize(
    "changes", [{"attendee": "a@elsewhere.net"}, {"method": "COUNTER"}]
)
def test_nobodys_answer_is_never_taken_as_the_clients(changes: dict) -> None:
    invited()
    reply = answer("DECLINED", **changes)

    with pytest.raises(UnableToBook) as caught:
        settle_reply(reply=reply, by=None, now=LATER, take=True)

    assert caught.value.code == "not-takable"
    assert booked()


def test_settling_twice_is_once() -> None:
    invited()
    reply = answer(method="COUNTER")
    for minutes in (1, 2):
        done = settle_reply(
            reply=reply, by=None, now=LATER + timedelta(minutes=minutes)
        )

    assert done.settled_at == LATER + timedelta(minutes=1)


def test_what_was_taken_does_not_wait() -> None:
    invited()

    with pytest.raises(UnableToBook) as caught:
        settle_reply(reply=answer(), by=None, now=LATER)

    assert caught.value.code == "not-held"


def test_old_replies_are_forgotten_but_not_what_waits() -> None:
    invited()
    answer()
    held = answer(method="COUNTER")

    dropped = drop_old_replies(now=LATER + KEPT + timedelta(days=1))

    assert dropped == 1
    assert Reply.objects.get() == held
