"""Terms carried over in the worker: all or nothing, also where workers die."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from time import sleep

import pytest
from django.db import connection

from scheduling.models import PlanRun
from scheduling.services import works
from scheduling.services.runs import (
    MOST_ATTEMPTS,
    ask_run,
    carry_out_run,
    stop_run,
    take_up_run,
)
from school.enums import HOLDING_STATES
from school.models import Lesson, LessonSeries, Term
from tests.clock import NOW
from tests.factories.people import RiderFactory
from tests.factories.plans import PlanRunFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.processes import ROOT, surroundings
from tests.scheduling.services.terms import next_term, spring_term

pytestmark = pytest.mark.django_db


@pytest.fixture
def summer() -> Term:
    SchoolFactory()
    weekly(term=spring_term(), rides=[(RiderFactory(), None)])
    return next_term()


def asked(term: Term, kind: str = "book-term") -> PlanRun:
    chosen = list(LessonSeries.objects.values_list("pk", flat=True))
    return ask_run(
        date=term.first_date, kind=kind, term=term, keep=chosen, by=None, now=NOW
    )


def carried_out(run: PlanRun | None) -> PlanRun:
    assert run is not None
    return carry_out_run(run=run, clock=lambda: NOW, beat_every_s=60)


def booked(term: Term) -> int:
    held = Lesson.objects.filter(series__term=term, state__in=HOLDING_STATES)
    return held.count()


def test_booking_ends_with_what_was_booked(summer: Term) -> None:
    run = asked(summer)

    ended = carried_out(take_up_run(now=NOW))

    assert (ended.pk, ended.state, ended.tried) == (run.pk, "done", 1)
    assert ended.result == {"booked": ["Tuesday group"]}
    assert booked(summer) == 8


def test_trying_writes_nothing_but_what_it_found(summer: Term) -> None:
    asked(summer, "try-term")

    ended = carried_out(take_up_run(now=NOW))

    (one,) = ended.result["tried"]
    assert (one["name"], one["lessons"], one["refusal"]) == ("Tuesday group", 8, "")
    assert booked(summer) == 0


def test_what_another_worker_has_by_now_is_undone(
    summer: Term, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked(summer)
    run = take_up_run(now=NOW)
    real = works.carry_over

    def and_then_another(**given):
        found = real(**given)
        PlanRun.objects.update(attempt=2)
        return found

    monkeypatch.setattr(works, "carry_over", and_then_another)
    carried_out(run)

    assert booked(summer) == 0


def test_one_that_waits_is_stopped_at_once_and_one_stopped_before_its_worker_died(
    summer: Term,
) -> None:
    waits = stop_run(run=asked(summer), by=None, now=NOW)
    run = asked(summer)
    PlanRun.objects.filter(pk=run.pk).update(stop_asked_at=NOW)

    ended = carried_out(take_up_run(now=NOW))

    assert waits.state == ended.state == "stopped"
    assert ended.says == "Nothing was booked."
    assert booked(summer) == 0


def test_an_error_is_logged_and_said_and_books_nothing(
    summer: Term, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    asked(summer)
    real = works.carry_over

    def and_break(**given):
        real(**given)
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(works, "carry_over", and_break)
    ended = carried_out(take_up_run(now=NOW))

    assert (ended.state, booked(summer)) == ("failed", 0)
    assert "nothing was booked" in ended.says
    assert "the disk is full" in caplog.text


def test_one_that_ends_worker_after_worker_says_what_to_do(summer: Term) -> None:
    run = PlanRunFactory(
        kind="book-term", term=summer, state="running", attempt=MOST_ATTEMPTS,
        started_at=NOW, heartbeat_at=NOW - timedelta(minutes=5),
    )  # fmt: skip

    assert take_up_run(now=NOW) is None

    run.refresh_from_db()
    assert "carry fewer weekly lessons at once" in run.says


def test_where_the_term_before_is_gone_it_fails_in_words(summer: Term) -> None:
    asked(summer)
    LessonSeries.objects.update(term=None)
    Term.objects.exclude(pk=summer.pk).delete()

    ended = carried_out(take_up_run(now=NOW))

    assert (ended.state, ended.says) == (
        "failed", "There is no term before this one any more.",
    )  # fmt: skip


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    not connection.features.has_select_for_update,
    reason="one writer at a time keeps no heartbeat",
)
def test_the_heartbeat_is_kept_beside_the_work(monkeypatch) -> None:
    SchoolFactory()
    weekly(term=spring_term())
    summer = next_term()
    asked(summer)
    real, later = works.carry_over, NOW + timedelta(minutes=1)

    def and_wait(**given):
        found = real(**given)
        sleep(0.5)
        return found

    monkeypatch.setattr(works, "carry_over", and_wait)
    carry_out_run(run=take_up_run(now=NOW), clock=lambda: later, beat_every_s=0.02)

    ended = PlanRun.objects.get()
    assert (ended.state, ended.heartbeat_at) == ("done", later)


DYING = """
import django; django.setup()
import os, signal
from scheduling.services import works
real = works.carry_over
def and_die(**given):
    found = real(**given)
    assert found
    os.kill(os.getpid(), signal.SIGKILL)
works.carry_over = and_die
from scheduling.tasks import carry_out_runs
carry_out_runs()
"""
WORKING = """
import django; django.setup()
from scheduling.tasks import carry_out_runs
carry_out_runs()
"""


@pytest.mark.django_db(transaction=True)
def test_a_worker_killed_with_all_booked_leaves_nothing_and_the_next_books_once(
    tmp_path,
) -> None:
    SchoolFactory()
    weekly(term=spring_term())
    summer = next_term()
    asked(summer)

    def worker(does: str) -> int:
        return subprocess.run(
            [sys.executable, "-c", does],
            env=surroundings(tmp_path),
            cwd=ROOT,
            check=False,
            timeout=300,
        ).returncode

    assert worker(DYING) != 0
    left = PlanRun.objects.get()
    assert (left.state, left.attempt, booked(summer)) == ("running", 1, 0)

    # As if the time had passed in which nobody kept the heartbeat, by the clock of
    # the processes: the machine's.
    PlanRun.objects.update(heartbeat_at=datetime.now(UTC) - timedelta(minutes=5))
    assert worker(WORKING) == 0
    assert worker(WORKING) == 0

    ended = PlanRun.objects.get()
    assert (ended.state, ended.attempt, booked(summer)) == ("done", 2, 8)
