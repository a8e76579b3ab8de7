"""The outbox: nothing lost, nothing doubled, the words right."""

from datetime import timedelta
from email import message_from_bytes, policy
from threading import Barrier, Event, Thread

import pytest
from django.core import mail
from django.core.mail import get_connection
from django.core.management import call_command
from django.db import connection, transaction

from school.mailfiles import EmlFileBackend
from school.models import Lesson, OutboxMessage
from school.services import messages
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson, move_lesson
from school.services.messages import LEASE, deliver_due
from school.tasks import deliver_messages
from tests.clock import NOW, at
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory
from tests.school.calendars.readers import events

pytestmark = pytest.mark.django_db


def book(n: int = 1) -> None:
    SchoolFactory(local_bodies="the local federation")
    for _ in range(n):
        ride = RideFactory(
            rider__person__first_name="Mira",
            rider__person__last_name="Secretname",
            rider__client__person__first_name="Sam",
            rider__client__person__email="sam@example.org",
            lesson__arena__name="Hall",
            lesson__instructor__person__first_name="Ines",
        )
        RideFactory(lesson=ride.lesson, rider__person__first_name="Otherchild")
        with transaction.atomic():
            lesson_changed(lesson=ride.lesson, now=NOW)


def first_mail():
    (message,) = [m for m in mail.outbox if m.to == ["sam@example.org"]]
    raw = message.message().as_bytes()
    return message_from_bytes(raw, policy=policy.default)


def test_an_invite_is_built_as_calendar_programs_take_it() -> None:
    """RFC 6047 sections 2.4 and 2.5."""
    book()
    deliver_due(now=NOW)

    read = first_mail()
    alternative, attached = read.iter_parts()
    kinds = [part.get_content_type() for part in alternative.iter_parts()]
    invite = list(alternative.iter_parts())[2]
    assert read.get_content_type() == "multipart/mixed"
    assert kinds == ["text/plain", "text/html", "text/calendar"]
    assert invite["content-type"].params["method"] == "REQUEST"
    assert invite["content-type"].params["charset"].lower() == "utf-8"
    assert invite["content-transfer-encoding"] == "base64"
    assert attached.get_content_type() == "application/ics"
    assert attached.get_payload(decode=True) == invite.get_payload(decode=True)
    assert read["from"].addresses[0].addr_spec == "lessons@school.example.org"


def test_an_invite_says_what_a_family_must_know() -> None:
    book()
    deliver_due(now=NOW)

    text = first_mail().get_body(("plain",)).get_content()
    for words in (
        "A private jumping lesson for Mira at Example School.",
        "Saturday 6 March 2027, 09:00 to 10:00 (60 minutes)",
        "by 08:45",
        "Hall",
        "Ines",
        "body protector",
        "Cancel without charge until Friday 5 March, 09:00, 24 hours before",
        "decline this invite, or write to lessons@school.example.org",
        "the local federation",
    ):
        assert words in text


def test_who_is_moved_late_reads_until_when_it_costs_nothing_now() -> None:
    book()
    lesson = Lesson.objects.get()
    deliver_due(now=NOW)
    late = at("06:00")
    move_lesson(
        lesson=lesson, starts_at=at("11:00"), version=lesson.version, by=None, now=late
    )
    mail.outbox.clear()
    deliver_due(now=late)

    text = first_mail().get_body(("plain",)).get_content()
    assert (
        "Since we changed the time, cancel without charge until Saturday 6 March, 11:00"
        in text
    )


def test_an_invite_tells_nothing_of_others_and_no_childs_surname() -> None:
    book()
    deliver_due(now=NOW)

    (message,) = [m for m in mail.outbox if m.to == ["sam@example.org"]]
    read = first_mail()
    whole = "".join(
        part.get_payload(decode=True).decode()
        for part in read.walk()
        if not part.is_multipart()
    )
    assert "Mira" in whole
    for secret in ("Otherchild", "Secretname", "intermediate", "48 kg"):
        assert secret not in whole
    assert message.to == ["sam@example.org"]


def test_the_calendar_part_reads_in_another_parser() -> None:
    book()
    deliver_due(now=NOW)

    part = next(
        p for p in first_mail().walk() if p.get_content_type() == "text/calendar"
    )
    (one,) = events(part.get_payload(decode=True))
    assert one.summary.value == "Lesson Mira: jumping"
    assert one.location.value == "Hall"


def test_a_change_and_a_cancellation_say_so_in_the_subject() -> None:
    book()
    deliver_due(now=NOW)
    lesson = OutboxMessage.objects.first().invitation.lesson
    lesson.starts_at += timedelta(hours=1)
    lesson.ends_at += timedelta(hours=1)
    lesson.save()
    lesson_changed(lesson=lesson, now=NOW)
    deliver_due(now=NOW)
    lesson.state, lesson.state_reason = "cancelled", "storm"
    lesson.save()
    lesson_changed(lesson=lesson, now=NOW)
    deliver_due(now=NOW)

    mine = [m.message().as_bytes() for m in mail.outbox if m.to == ["sam@example.org"]]
    subjects = [
        message_from_bytes(one, policy=policy.default)["subject"] for one in mine
    ]
    assert subjects == [
        "Lesson Mira: jumping, Sat 6 Mar 09:00",
        "Changed: Lesson Mira: jumping, Sat 6 Mar 10:00",
        "Cancelled: Lesson Mira: jumping, Sat 6 Mar 10:00",
    ]


class Broken:
    def send_messages(self, mails: list) -> int:
        raise OSError("the mail server does not answer")


def test_a_mail_that_fails_waits_longer_each_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book()
    monkeypatch.setattr(messages, "get_connection", Broken)

    first = deliver_due(now=NOW)
    row = OutboxMessage.objects.first()
    assert first.failed == 2
    assert row.last_error == "the mail server does not answer"
    assert row.next_try_at == NOW + timedelta(minutes=2)
    deliver_due(now=NOW + timedelta(minutes=2))
    row.refresh_from_db()
    assert row.next_try_at == NOW + timedelta(minutes=2 + 4)


def test_a_worker_killed_after_sending_repeats_the_same_bytes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book()

    def killed(*args: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(messages, "_sent", killed)
        with pytest.raises(KeyboardInterrupt):
            deliver_due(now=NOW)
    deliver_due(now=NOW + LEASE)

    bodies = [m.message().as_bytes() for m in mail.outbox]
    assert len(bodies) == 3
    assert bodies[0] in bodies[1:]


def test_a_claimed_mail_is_left_to_its_worker() -> None:
    book()
    OutboxMessage.objects.update(attempts=1, next_try_at=NOW + LEASE)

    assert deliver_due(now=NOW).sent == 0


def test_a_mail_overtaken_while_it_went_is_said_to_have_gone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book()
    send = messages._send

    def overtaken(message: OutboxMessage) -> None:
        send(message)
        OutboxMessage.objects.filter(pk=message.pk).update(state="dropped")

    monkeypatch.setattr(messages, "_send", overtaken)
    deliver_due(now=NOW)

    assert set(OutboxMessage.objects.values_list("state", flat=True)) == {"sent"}


def test_only_so_many_go_at_once() -> None:
    book()

    assert deliver_due(now=NOW, limit=1).sent == 1


def test_the_command_and_the_task_empty_the_outbox(
    capsys: pytest.CaptureFixture[str],
) -> None:
    book()
    OutboxMessage.objects.filter(pk=OutboxMessage.objects.first().pk).update(
        next_try_at="2020-01-01T00:00Z"
    )
    deliver_messages()
    deliver_messages()
    call_command("deliver_messages")

    assert "sent, 0 failed" in capsys.readouterr().out


def test_mails_lie_as_files_that_a_mail_program_opens(settings, tmp_path) -> None:
    book()
    settings.MAIL_DIR = tmp_path / "mail"
    settings.EMAIL_BACKEND = "school.mailfiles.EmlFileBackend"
    assert isinstance(get_connection(), EmlFileBackend)
    deliver_due(now=NOW)

    files = sorted((tmp_path / "mail").iterdir())
    assert [one.suffix for one in files] == [".eml", ".eml"]
    read = message_from_bytes(files[0].read_bytes(), policy=policy.default)
    assert read["subject"].startswith("Lesson ")


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_send_each_mail_once() -> None:
    book(n=1)
    for _ in range(4):
        ride = RideFactory()
        with transaction.atomic():
            lesson_changed(lesson=ride.lesson, now=NOW)
    barrier = Barrier(2)

    def work() -> None:
        barrier.wait(timeout=120)
        try:
            deliver_due(now=NOW)
        finally:
            connection.close()

    workers = [Thread(target=work) for _ in range(2)]
    for one in workers:
        one.start()
    for one in workers:
        one.join(timeout=120)

    ids = [
        message_from_bytes(m.message().as_bytes())["Message-ID"] for m in mail.outbox
    ]
    assert len(ids) == len(set(ids)) == 6


def test_a_mail_that_cannot_be_made_is_told_and_holds_up_no_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book()
    broken = OutboxMessage.objects.order_by("pk").first()
    make = messages.make_mail

    def one_breaks(school, message, now):
        if message.pk == broken.pk:
            raise LookupError("no such words")
        return make(school, message, now)

    monkeypatch.setattr(messages, "make_mail", one_breaks)
    done = deliver_due(now=NOW)

    broken.refresh_from_db()
    assert (done.sent, done.failed) == (1, 1)
    assert broken.last_error == "no such words"
    assert broken.next_try_at > NOW


@pytest.mark.django_db(transaction=True)
def test_a_cancellation_waits_for_a_claim_that_is_being_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Else the invite would go, and nothing would ever take it back."""
    with transaction.atomic():
        book()
    lesson = Lesson.objects.get()
    claiming, go_on = Event(), Event()
    make = messages.make_mail

    def slowly(school, message, now):
        claiming.set()
        go_on.wait(120)
        return make(school, message, now)

    monkeypatch.setattr(messages, "make_mail", slowly)

    def work() -> None:
        try:
            deliver_due(now=NOW, limit=1)
        finally:
            connection.close()

    def cancel() -> None:
        try:
            cancel_lesson(lesson=lesson, reason="storm", by=None, now=NOW)
        finally:
            connection.close()

    threads = [Thread(target=work), Thread(target=cancel)]
    threads[0].start()
    assert claiming.wait(120)
    threads[1].start()
    threads[1].join(timeout=0.5)
    assert threads[1].is_alive()
    go_on.set()
    for one in threads:
        one.join(timeout=120)

    begun = OutboxMessage.objects.exclude(attempts=0).get()
    methods = begun.invitation.messages.order_by("pk").values_list("method", flat=True)
    assert list(methods) == ["REQUEST", "CANCEL"]
