import threading
from datetime import date

import pytest
from django.db import transaction

from school import worker
from school.models import OutboxMessage
from school.services.invitations import lesson_changed
from school.tasks import deliver_messages
from tests.clock import at
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory

LONG_AGO = at("12:00", date(2020, 3, 7))


def test_the_loop_works_again_and_again_until_it_is_left():
    rounds = []
    thrice = threading.Event()

    def deliver():
        rounds.append(threading.current_thread().name)
        if len(rounds) == 3:
            thrice.set()

    with worker.WorkLoop({"mail": (deliver, 0.01)}) as loop:
        assert thrice.wait(60)

    assert set(rounds) == {"background-mail"}
    assert not loop.running


def test_long_work_holds_up_no_other():
    go_on, twice = threading.Event(), threading.Event()
    rounds = []

    def deliver():
        rounds.append(1)
        if len(rounds) == 2:
            twice.set()

    with worker.WorkLoop({"long": (go_on.wait, 0.01), "mail": (deliver, 0.01)}):
        assert twice.wait(60)
        go_on.set()


def test_an_error_is_logged_and_the_next_round_tries_again(caplog):
    twice = threading.Event()
    rounds = []

    def deliver():
        rounds.append(1)
        if len(rounds) == 2:
            twice.set()
            return
        raise OSError("the disk is full")

    with worker.WorkLoop({"mail": (deliver, 0.01)}):
        assert twice.wait(60)

    assert "background work failed" in caplog.text
    assert "the disk is full" in caplog.text


def test_an_embedded_school_does_what_celery_does_in_a_served_one():
    assert sorted(worker.work_of_table()) == [
        "carry-out-runs",
        "deliver-messages",
        "finish-lessons",
        "forget-photos",
        "forget-tables",
        "lay-out-line-moves",
        "lay-out-yard-work",
        "read-mailbox",
        "write-reminders",
    ]


@pytest.mark.django_db(transaction=True)
def test_one_round_sends_what_is_due(mailoutbox):
    SchoolFactory()
    ride = RideFactory()
    with transaction.atomic():
        lesson_changed(lesson=ride.lesson, now=LONG_AGO)

    worker.work_once(deliver_messages)

    assert OutboxMessage.objects.get().state == "sent"
    assert len(mailoutbox) == 1
