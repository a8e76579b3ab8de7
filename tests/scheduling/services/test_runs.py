"""Searches in the worker: asked once, watched, stopped, taken up again."""

import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from threading import Barrier, Event, Thread

import pytest
from django.db import IntegrityError, connections

from scheduling.dayplan.order import order_day
from scheduling.models import DayPlan, PlanRun
from scheduling.services import runs
from scheduling.services.jobs import Found
from scheduling.services.runs import ask_run, carry_out_run, stop_run, take_up_run
from scheduling.tasks import carry_out_runs
from school.models import AuditEntry, School
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.plans import PlanRunFactory
from tests.factories.schools import SchoolFactory
from tests.processes import ROOT, surroundings
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


def asked(**changes) -> PlanRun:
    return ask_run(
        **{"date": SATURDAY, "kind": "order", "by": None, "now": NOW} | changes
    )


def taken() -> PlanRun:
    run = take_up_run(now=NOW)
    assert run is not None
    return run


def carried_out(run: PlanRun) -> PlanRun:
    return carry_out_run(run=run, clock=lambda: NOW, beat_every_s=0.02)


def test_two_requests_for_a_day_give_one_run():
    first = asked()

    assert asked(seconds=5) == first
    assert PlanRun.objects.count() == 1
    assert AuditEntry.objects.filter(action="ask").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_requests_at_the_same_moment_give_one_run():
    SchoolFactory()
    barrier, got = Barrier(2), []

    def ask() -> None:
        barrier.wait()
        got.append(asked().pk)
        connections.close_all()

    both = [Thread(target=ask) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()

    assert len(set(got)) == PlanRun.objects.count() == 1


def test_a_run_that_ended_is_no_reason_not_to_ask_again():
    first = PlanRunFactory(state="done", ended_at=NOW)

    assert asked() != first


def test_days_and_kinds_do_not_hold_each_other_up():
    asked()

    asked(date=SATURDAY + timedelta(days=1))
    asked(kind="what-if")

    assert PlanRun.objects.count() == 3


def test_a_run_makes_a_draft_and_publishes_nothing():
    small_day()
    asked()

    run = carried_out(taken())

    assert (run.state, run.ended_at) == ("done", NOW)
    assert run.plan == DayPlan.objects.get()
    assert run.plan.state == "draft"
    assert run.best_s == run.bound_s == run.plan.objective_s
    assert run.fingerprint == run.plan.fingerprint


def test_nothing_is_taken_up_where_nothing_waits():
    PlanRunFactory(state="done", ended_at=NOW)

    assert take_up_run(now=NOW) is None


def test_a_run_is_taken_up_by_one_worker_only():
    asked()

    taken()

    assert take_up_run(now=NOW + timedelta(seconds=5)) is None


def test_the_oldest_run_is_taken_up_first():
    asked(now=NOW + timedelta(minutes=1))
    older = asked(date=SATURDAY + timedelta(days=1))

    assert taken() == older


def test_a_run_whose_heartbeat_has_stopped_is_taken_up_again():
    asked()
    taken()

    again = take_up_run(now=NOW + runs.TAKEN_UP_AFTER + timedelta(seconds=1))

    assert again is not None
    assert again.attempt == 2


def test_a_run_that_ends_worker_after_worker_is_given_up():
    asked()
    now = NOW
    for _ in range(runs.MOST_ATTEMPTS):
        assert take_up_run(now=now) is not None
        now += runs.TAKEN_UP_AFTER + timedelta(seconds=1)

    assert take_up_run(now=now) is None

    run = PlanRun.objects.get()
    assert run.state == "failed"
    assert "not tried again" in run.says


def test_a_run_that_another_worker_took_up_keeps_nothing(monkeypatch):
    small_day()
    asked()
    mine = taken()
    later = NOW + runs.TAKEN_UP_AFTER + timedelta(seconds=1)
    theirs = take_up_run(now=later)

    run = carried_out(mine)

    assert (run.state, run.attempt) == ("running", theirs.attempt)
    assert not DayPlan.objects.exists()


def test_a_run_lost_at_the_very_end_keeps_nothing():
    small_day()
    asked()
    mine = taken()
    PlanRun.objects.update(attempt=2)
    rows = runs.day_rows(SATURDAY)

    outcome = runs.Outcome(found=Found({}, {}))
    runs._keep(mine, rows, {}, outcome, runs.Progress(), NOW)

    assert not DayPlan.objects.exists()


class Slow:
    """A search that tells of one plan, then goes on until it is stopped."""

    def __init__(self) -> None:
        self.began = Event()

    def __call__(self, run, rows, document, now):
        self.document = document
        return self.search

    def search(self, progress):
        progress.tell(900, 950)
        progress.count(1, 4)
        self.began.set()
        assert progress.stop.wait(60)
        return Found(order_day(self.document, seconds=120), {})


def test_what_a_search_tells_after_the_last_beat_is_kept_too(monkeypatch):
    small_day()
    beaten, beat = Event(), runs._beat

    def search(progress):
        progress.count(3, 4)
        assert beaten.wait(60)
        progress.count(4, 4)
        return Found(None, {})

    def beat_before_the_end(run, progress, now):
        ours = beat(run, progress, now)
        beaten.set()
        for thread in threading.enumerate():
            if thread.name == f"plan-run-{run.pk}":
                thread.join()
        return ours

    monkeypatch.setitem(runs.JOBS, "what-if", lambda *given: search)
    monkeypatch.setattr(runs, "_beat", beat_before_the_end)
    asked(kind="what-if")

    run = carried_out(taken())

    assert (run.state, run.tried, run.to_try) == ("done", 4, 4)


def test_a_run_shows_how_far_it_is_and_stops_with_the_best_it_has(monkeypatch):
    small_day()
    slow = Slow()
    monkeypatch.setitem(runs.JOBS, "order", slow)
    asked()
    seen: list[PlanRun] = []

    def clock() -> datetime:
        if slow.began.is_set() and not seen:
            seen.append(PlanRun.objects.get())
        elif seen and len(seen) == 1 and PlanRun.objects.get().best_s:
            seen.append(PlanRun.objects.get())
            stop_run(run=seen[-1], by=None, now=NOW)
        return NOW

    run = carry_out_run(run=taken(), clock=clock, beat_every_s=0.02)

    assert (seen[1].state, seen[1].best_s, seen[1].bound_s) == ("running", 900, 900)
    assert (seen[1].tried, seen[1].to_try) == (1, 4)
    assert run.state == "stopped"
    assert run.plan == DayPlan.objects.get()


def test_a_run_that_waits_is_stopped_at_once():
    run = stop_run(run=asked(), by=None, now=NOW)

    assert (run.state, run.ended_at) == ("stopped", NOW)
    assert take_up_run(now=NOW) is None


def test_stopping_twice_or_after_the_end_changes_nothing():
    run = stop_run(run=asked(), by=None, now=NOW)

    again = stop_run(run=run, by=None, now=NOW + timedelta(minutes=1))

    assert again.stop_asked_at == NOW
    assert AuditEntry.objects.filter(action="stop").count() == 1


def test_a_run_asked_to_stop_before_its_worker_died_stops_when_taken_up():
    small_day()
    asked()
    stop_run(run=taken(), by=None, now=NOW)

    again = take_up_run(now=NOW + timedelta(minutes=1))

    assert carried_out(again).state == "stopped"


def test_a_day_that_makes_no_day_file_fails_in_words():
    small_day()
    School.objects.update(handling={"wing": {"fetch_s": -1}})
    asked()

    run = carried_out(taken())

    assert run.state == "failed"
    assert "handling.wing.fetch_s" in run.says


def test_an_error_in_the_search_is_logged_and_said(monkeypatch, caplog):
    small_day()

    def broken(progress):
        raise RuntimeError("the plan found breaks a rule")

    monkeypatch.setitem(runs.JOBS, "order", lambda *given: broken)
    asked()

    run = carried_out(taken())

    assert run.state == "failed"
    assert "server's log" in run.says
    assert "the plan found breaks a rule" in caplog.text


def test_the_worker_carries_out_all_that_waits():
    small_day()
    asked()
    asked(date=SATURDAY + timedelta(days=1))

    carry_out_runs()

    assert set(PlanRun.objects.values_list("state", flat=True)) == {"done"}


WORKING = """
import django; django.setup()
from scheduling.tasks import carry_out_runs
carry_out_runs()
"""


def hard_day() -> None:
    """A day that is searched for longer than it takes to kill the searcher."""
    arena, _, _ = small_day()
    School.objects.update(place_every_cm=5, start_every_min=5)
    for n in range(7):
        lesson = LessonFactory(
            arena=arena,
            starts_at=at("13:00") + timedelta(minutes=60 * n),
            ends_at=at("13:30") + timedelta(minutes=60 * n),
            window_from=at("09:00"),
            window_to=at("19:00"),
        )
        grid_of(lesson, cross(0), vertical(500 + 20 * n, 40 + 5 * n))


@pytest.mark.django_db(transaction=True)
def test_a_killed_workers_run_is_taken_up_and_ended_by_the_next(tmp_path):
    hard_day()
    asked(seconds=12)

    def start() -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-c", WORKING], env=surroundings(tmp_path), cwd=ROOT
        )

    def run() -> PlanRun:
        return PlanRun.objects.get()

    first = start()
    ends = time.monotonic() + 300
    while run().state != "running" and time.monotonic() < ends:
        time.sleep(0.1)
    first.send_signal(signal.SIGKILL)
    assert first.wait(60) == -signal.SIGKILL
    assert (run().state, run().attempt) == ("running", 1)

    # As if the minutes had passed in which nobody kept the heartbeat, by the clock of
    # the processes: the machine's.
    PlanRun.objects.update(heartbeat_at=datetime.now(UTC) - timedelta(minutes=5))
    assert start().wait(300) == 0

    assert (run().state, run().attempt) == ("done", 2)
    assert DayPlan.objects.get().state == "draft"


def test_a_run_taken_up_by_another_between_look_and_write_is_left_alone(monkeypatch):
    asked()
    real = runs.PlanRun.objects.filter

    class Behind:
        """Another worker was here after the row was read."""

        def __init__(self, found):
            self.found = found

        def __getattr__(self, name):
            return getattr(self.found, name)

        def update(self, **fields):
            return 0

    monkeypatch.setattr(
        runs.PlanRun.objects,
        "filter",
        lambda *q, **by: Behind(real(*q, **by)) if "pk" in by else real(*q, **by),
    )

    assert take_up_run(now=NOW) is None


def test_a_refusal_of_another_kind_is_not_taken_for_a_second_request(monkeypatch):
    asked()
    monkeypatch.setattr(runs, "run_under_way", lambda day, kind: None)

    with pytest.raises(IntegrityError):
        asked()
