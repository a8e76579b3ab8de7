"""A worker killed while it looks for a day's horses: taken up again, nothing given."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from scheduling.models import PlanRun
from scheduling.services.matching import give_horses, kept_proposal
from scheduling.services.runs import ask_run
from school.models import AuditEntry, Ride
from tests.clock import NOW, SATURDAY
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.schools import SchoolFactory
from tests.processes import ROOT, surroundings

pytestmark = pytest.mark.django_db(transaction=True)

DYING = """
import django; django.setup()
import os, signal
from scheduling.services import {module}
real = {module}.{name}
def and_die(*args, **given):
    real(*args, **given)
    os.kill(os.getpid(), signal.SIGKILL)
{module}.{name} = and_die
from scheduling.tasks import carry_out_runs
carry_out_runs()
"""
WORKING = """
import django; django.setup()
from scheduling.tasks import carry_out_runs
carry_out_runs()
"""


def horses() -> dict[int, int | None]:
    return dict(Ride.objects.values_list("pk", "horse_id"))


@pytest.mark.parametrize(
    ("module", "name"),
    [
        # The search is over, and what it found is not written yet.
        ("jobs", "match_as_data"),
        # Written, but the transaction of its end is not over.
        ("runs", "_end"),
    ],
)
def test_a_worker_killed_while_it_matches_gives_nothing_and_the_next_finds_it(
    tmp_path, module: str, name: str
) -> None:
    SchoolFactory()
    lesson = LessonFactory()
    small, big = HorseFactory(weight_kg=420), HorseFactory(weight_kg=700)
    RideFactory(lesson=lesson, rider__weight_kg=62, horse=small)
    RideFactory(lesson=lesson, rider__weight_kg=35, horse=big)
    stays = RideFactory(lesson=lesson, rider__weight_kg=50).pk
    was = horses()
    fixed = [[stays, was[stays]]]
    run = ask_run(date=SATURDAY, kind="match", keep=fixed, by=None, now=NOW)

    def worker(does: str) -> int:
        return subprocess.run(
            [sys.executable, "-c", does],
            env=surroundings(tmp_path),
            cwd=ROOT,
            check=False,
            timeout=300,
        ).returncode

    assert worker(DYING.format(module=module, name=name)) == -9
    run.refresh_from_db()
    assert (run.state, run.attempt, run.result) == ("running", 1, None)
    assert horses() == was

    # As if the time had passed in which nobody kept the heartbeat, by the clock of
    # the processes: the machine's.
    PlanRun.objects.update(heartbeat_at=datetime.now(UTC) - timedelta(minutes=5))
    assert [worker(WORKING), worker(WORKING)] == [0, 0]
    run.refresh_from_db()
    assert (run.state, run.attempt, run.result["fixed"]) == ("done", 2, [stays])
    assert PlanRun.objects.count() == 1
    assert horses() == was
    assert not AuditEntry.objects.filter(action="change horse").exists()

    # What it found can be given, all of it, by the one who looks at it.
    found = kept_proposal(run.result, NOW)
    wanted = {one.seat: one.mount for one in found.match.given if one.mount}
    give_horses(wanted=wanted, seen=was, by=None, now=NOW)
    assert horses() == wanted
    assert wanted[stays] == was[stays]
