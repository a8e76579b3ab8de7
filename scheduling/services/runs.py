"""Searches asked of the worker: asked once, carried out with progress, stopped.

The search itself runs in a thread of its own, since it holds its caller until it
ends; beside it the run's heartbeat is kept in the database, and whether somebody
has asked it to stop is looked up. A worker that is killed leaves a heartbeat that
grows old, and the run is taken up again by the next.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from threading import Thread
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q

from scheduling.convert.days import day_document, fingerprint
from scheduling.dayplan.document import InvalidDay
from scheduling.matching.engine import UnableToMatch
from scheduling.models import PlanRun
from scheduling.queries.days import DayRows, day_rows
from scheduling.queries.plans import run_under_way
from scheduling.services.jobs import JOBS, Found, Job, Progress
from scheduling.services.plans import store_plan
from scheduling.services.works import WORKS, ask_work_to_stop, carry_out_work
from school.models import Account, Term
from school.services.audit import record

log = logging.getLogger(__name__)

Data = dict[str, Any]
Clock = Callable[[], datetime]

BEAT_EVERY_S = 1.0
"""Seconds between two heartbeats."""

TAKEN_UP_AFTER = timedelta(seconds=20)
"""A heartbeat older than this is that of a worker which is no more."""

MOST_ATTEMPTS = 3
"""A run that has ended this many workers is not tried again."""

_FEWER = "Nothing was booked: carry fewer weekly lessons at once."
_INSTEAD: dict[str, str] = {
    PlanRun.Kind.TRY_TERM: _FEWER,
    PlanRun.Kind.BOOK_TERM: _FEWER,
}

SECONDS = 20
"""How long a day is searched unless said otherwise."""


@dataclass(slots=True)
class Outcome:
    """What a search ended with: what it found, or its error."""

    found: Found | None = None
    error: BaseException | None = None


def ask_run(
    *,
    date: date,
    kind: str,
    by: Account | None,
    now: datetime,
    seconds: int = SECONDS,
    keep: Sequence[int | list[int]] = (),
    term: Term | None = None,
) -> PlanRun:
    """Ask for a search; where one of its kind is under way for the day, return that.

    `term` is the one into which weekly lessons are carried, of whose first day it is.
    """
    known = run_under_way(date, kind)
    if known is not None:
        return known
    try:
        with transaction.atomic():
            run = PlanRun.objects.create(
                date=date,
                kind=kind,
                seconds=seconds,
                keep=list(keep),
                term=term,
                asked_at=now,
                asked_by=by,
            )
            record(by=by, at=now, action="ask", subject=run, after={"kind": kind})
            return run
    except IntegrityError:
        # Somebody else asked between the look and the write.
        other = run_under_way(date, kind)
        if other is None:
            raise
        return other


def stop_run(*, run: PlanRun, by: Account | None, now: datetime) -> PlanRun:
    """Ask a search to stop with the best it has; one that waits ends at once.

    Work that writes is told before the row, which it may hold up until it stops.
    """
    ask_work_to_stop(run)
    with transaction.atomic():
        fresh = PlanRun.objects.select_for_update().get(pk=run.pk)
        if not fresh.under_way or fresh.stop_asked_at is not None:
            return fresh
        before = {"state": fresh.state}
        fresh.stop_asked_at = now
        if fresh.state == PlanRun.State.QUEUED:
            fresh.state, fresh.ended_at = PlanRun.State.STOPPED, now
        fresh.save(update_fields=["stop_asked_at", "state", "ended_at"])
        after = {"state": fresh.state, "stop_asked_at": now}
        record(by=by, at=now, action="stop", subject=fresh, before=before, after=after)
        return fresh


def take_up_run(*, now: datetime) -> PlanRun | None:
    """Take the oldest run that waits, or whose worker is no more; None if none."""
    old = now - TAKEN_UP_AFTER
    due = PlanRun.objects.filter(
        Q(state=PlanRun.State.QUEUED)
        | Q(state=PlanRun.State.RUNNING, heartbeat_at__lt=old)
    ).order_by("asked_at", "pk")
    for run in due:
        # Of two workers one finds the row as it was read, the other does not.
        ours = PlanRun.objects.filter(
            pk=run.pk, state=run.state, attempt=run.attempt
        ).update(
            state=PlanRun.State.RUNNING,
            started_at=now,
            heartbeat_at=now,
            attempt=run.attempt + 1,
        )
        if not ours:
            continue
        run.refresh_from_db()
        if run.attempt <= MOST_ATTEMPTS:
            return run
        _end(
            run,
            now,
            state=PlanRun.State.FAILED,
            says=f"It ended its worker {MOST_ATTEMPTS} times and is not tried again. "
            + _INSTEAD.get(
                run.kind, "Ask anew with fewer lessons or a coarser raster."
            ),
        )
    return None


def carry_out_run(
    *, run: PlanRun, clock: Clock, beat_every_s: float = BEAT_EVERY_S
) -> PlanRun:
    """Carry out a run that was taken up, with its heartbeat, to its end."""
    if run.kind in WORKS:
        return carry_out_work(run=run, clock=clock, beat_every_s=beat_every_s, end=_end)
    rows = day_rows(run.date)
    document = day_document(rows)
    PlanRun.objects.filter(pk=run.pk, attempt=run.attempt).update(
        fingerprint=fingerprint(document)
    )
    progress, outcome = Progress(), Outcome()
    job = JOBS[run.kind](run, rows, document, clock())
    if run.stop_asked_at is not None:
        progress.stop.set()
    search = Thread(
        target=_search,
        args=(job, progress, outcome),
        name=f"plan-run-{run.pk}",
        daemon=True,
    )
    search.start()
    while search.is_alive():
        search.join(beat_every_s)
        if not _beat(run, progress, clock()):
            # Taken up by another worker, or its day is gone: not ours any more.
            progress.stop.set()
            search.join()
            return PlanRun.objects.filter(pk=run.pk).first() or run
    return _keep(run, rows, document, outcome, progress, clock())


def _search(job: Job, progress: Progress, outcome: Outcome) -> None:
    """Search, in a thread of its own that touches no database."""
    try:
        outcome.found = job(progress)
    except Exception as error:  # noqa: BLE001 -- told to whoever carries out
        outcome.error = error


def _beat(run: PlanRun, progress: Progress, now: datetime) -> bool:
    """Keep the heartbeat and the progress; False if the run is not ours any more."""
    ours = PlanRun.objects.filter(
        pk=run.pk, state=PlanRun.State.RUNNING, attempt=run.attempt
    )
    best_s, bound_s = progress.best_s, progress.bound_s
    if not ours.update(
        heartbeat_at=now,
        best_s=best_s,
        bound_s=None if best_s is None or bound_s is None else min(bound_s, best_s),
        tried=progress.tried,
        to_try=progress.to_try,
    ):
        return False
    if ours.filter(stop_asked_at__isnull=False).exists():
        progress.stop.set()
    return True


def _keep(
    run: PlanRun,
    rows: DayRows,
    document: Data,
    outcome: Outcome,
    progress: Progress,
    now: datetime,
) -> PlanRun:
    found = outcome.found
    if outcome.error is not None or found is None:
        return _fail(run, outcome.error, now)
    state = PlanRun.State.STOPPED if progress.stop.is_set() else PlanRun.State.DONE
    with transaction.atomic():
        ours = PlanRun.objects.select_for_update().filter(
            pk=run.pk, state=PlanRun.State.RUNNING, attempt=run.attempt
        )
        if not ours.exists():
            run.refresh_from_db()
            return run
        # What was told between the last heartbeat and the end.
        told = {"tried": progress.tried, "to_try": progress.to_try}
        if found.plan is None:
            return _end(run, now, state=state, result=found.result, **told)
        plan = store_plan(
            rows=rows, document=document, plan=found.plan, by=run.asked_by, now=now
        )
        return _end(
            run,
            now,
            state=state,
            plan=plan,
            result=found.result,
            best_s=plan.objective_s,
            bound_s=plan.bound_s,
            **told,
        )


def _fail(run: PlanRun, error: BaseException | None, now: datetime) -> PlanRun:
    if isinstance(error, UnableToMatch):
        says = f"{error} Nothing was changed."
    elif isinstance(error, InvalidDay):
        says = f"The day can't be ordered: {error}."
    else:
        log.error("plan run %s of %s failed", run.pk, run.date, exc_info=error)
        says = (
            "The search ended with an error, which is in the server's log; no plan "
            "was made. The day is as it was."
        )
    return _end(run, now, state=PlanRun.State.FAILED, says=says)


def _end(run: PlanRun, now: datetime, *, state: str, **fields: Any) -> PlanRun:
    """Write the end of a run that is still ours."""
    PlanRun.objects.filter(
        pk=run.pk, state=PlanRun.State.RUNNING, attempt=run.attempt
    ).update(state=state, ended_at=now, **fields)
    run.refresh_from_db()
    return run
