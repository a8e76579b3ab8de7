"""The mailbox over a real IMAP server on loopback."""

from datetime import timedelta

import pytest

from school.models import Invitation, MailboxMark, Reply
from school.services import mailbox
from school.services.invitations import lesson_changed
from school.services.mailbox import UnableToRead, read_mailbox
from school.tasks import read_mailbox as task
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.school.calendars.reply_mails import (
    CLIENT,
    answer_lines,
    calendar_text,
    reply_mail,
)
from tests.servers.imap import PASSWORD, USER, imap_server

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(settings):
    SchoolFactory()
    with imap_server() as served:
        settings.IMAP_HOST, settings.IMAP_PORT = "127.0.0.1", served.port
        settings.IMAP_USER, settings.IMAP_PASSWORD = USER, PASSWORD
        settings.IMAP_TLS = False
        yield served


def invitation() -> Invitation:
    ride = RideFactory(rider__client__person__email=CLIENT)
    lesson_changed(lesson=ride.lesson, now=NOW)
    return Invitation.objects.get()


def reply(uid: object, n: int = 1, **changes: object) -> bytes:
    lines = answer_lines(uid=str(uid), stamp=NOW + timedelta(minutes=n), **changes)
    return reply_mail(calendar_text([lines]), message_id=f"<{n}@example.org>")


def test_an_answer_in_the_mailbox_is_taken_once_and_left_unseen(box) -> None:
    uid = invitation().uid
    box.put(reply(uid))

    taken = [read_mailbox(now=NOW), read_mailbox(now=NOW)]

    assert taken == [1, 0]
    assert Invitation.objects.get().answer == "ACCEPTED"
    assert box.unseen() == 1


def test_what_comes_later_is_taken_later_in_its_order(box) -> None:
    uid = invitation().uid
    box.put(reply(uid, 1))
    read_mailbox(now=NOW)
    box.put(reply(uid, 2, partstat="TENTATIVE"))
    box.put(reply(uid, 3))

    assert read_mailbox(now=NOW) == 2
    assert Reply.objects.filter(state="applied").count() == 3
    assert Invitation.objects.get().answer == "ACCEPTED"


def test_a_full_mailbox_is_taken_bit_by_bit(box) -> None:
    uid = invitation().uid
    for n in range(5):
        box.put(reply(uid, n))

    assert [read_mailbox(now=NOW, most=2) for _ in range(4)] == [2, 2, 1, 0]


def test_a_crash_between_two_mails_loses_and_doubles_nothing(
    box, monkeypatch: pytest.MonkeyPatch
) -> None:
    uid = invitation().uid
    for n in range(3):
        box.put(reply(uid, n))
    calls = []

    def crash(raw, *, now):
        calls.append(raw)
        if len(calls) == 2:
            raise RuntimeError("the power went")
        return take(raw, now=now)

    take = mailbox.take_mail
    monkeypatch.setattr(mailbox, "take_mail", crash)
    with pytest.raises(RuntimeError, match="the power went"):
        read_mailbox(now=NOW)
    monkeypatch.undo()

    assert read_mailbox(now=NOW) == 2
    assert Reply.objects.count() == 3


def test_a_mailbox_made_anew_is_read_from_its_start(box) -> None:
    """RFC 3501 section 2.3.1.1: another UIDVALIDITY, other numbers."""
    box.put(reply(invitation().uid))
    read_mailbox(now=NOW)
    MailboxMark.objects.update(uid_validity=1, last_uid=999)

    assert read_mailbox(now=NOW) == 1
    assert Reply.objects.count() == 1


def test_of_a_mail_of_ten_megabytes_only_the_head_is_fetched(
    box, monkeypatch: pytest.MonkeyPatch
) -> None:
    uid = invitation().uid
    box.put(reply(uid, partstat="DECLINED", more=["COMMENT:" + "x" * 7_500_000]))
    sizes = []
    take = mailbox.take_mail
    monkeypatch.setattr(
        mailbox,
        "take_mail",
        lambda raw, now: sizes.append(len(raw.strip())) or take(raw, now=now),
    )

    read_mailbox(now=NOW)

    (one,) = Reply.objects.all()
    assert (one.state, one.code) == ("held", "too-large")
    assert one.message_id == "<1@example.org>"
    assert sizes[0] < 2000


def test_a_wrong_password_is_said_and_tried_again(box, settings, caplog) -> None:
    settings.IMAP_PASSWORD = "wrong"

    with pytest.raises(UnableToRead, match="can't be read"):
        read_mailbox(now=NOW)
    task()

    assert "it is tried again" in caplog.text
    assert "wrong" not in caplog.text


def test_a_folder_that_is_not_there_is_said(box, settings) -> None:
    settings.IMAP_FOLDER = "Nowhere"

    with pytest.raises(UnableToRead, match="no folder Nowhere"):
        read_mailbox(now=NOW)


def test_the_periodic_task_takes_what_is_there(box) -> None:
    box.put(reply(invitation().uid))

    task()

    assert Invitation.objects.get().answer == "ACCEPTED"


def test_without_a_mailbox_nothing_is_read() -> None:
    assert read_mailbox(now=NOW) == 0
