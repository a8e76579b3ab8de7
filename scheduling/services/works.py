"""Runs that write: what they change and the end of the run stand together, or neither.

All of it is one transaction, so that a worker killed within leaves nothing, and the
run is taken up again; one that has ended is not done twice. While it is open nobody
else sees what it writes, so how far it is, and that it is to stop, go through the
cache. On PostgreSQL a thread beside it keeps the heartbeat by a connection of its
own. SQLite has one writer, who needs none: nobody takes a run up while it is held.
"""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from threading import Event, Thread
from typing import Any

from django.core.cache import cache
from django.db import connection, transaction

from scheduling.models import PlanRun
from school.models import Term
from school.queries.terms import term_before
from school.services.carry_over import Carried, carry_over, try_carrying
from school.services.refusals import UnableToBook

log = logging.getLogger(__name__)

Data = dict[str, Any]
Clock = Callable[[], datetime]
Tell = Callable[[int, int], None]
End = Callable[..., PlanRun]

KEPT_S = 900
"""Seconds for which it is known how far a run is, and that it is to stop."""


class _Stopped(Exception):
    """Somebody asked it to stop, or it is another worker's by now."""


def _try_term(run: PlanRun, tell: Tell, now: datetime) -> Data:
    old, new = _terms(run)
    found = try_carrying(old=old, new=new, by=run.asked_by, now=now, on_progress=tell)
    return {"tried": [_as_data(one) for one in found]}


def _book_term(run: PlanRun, tell: Tell, now: datetime) -> Data:
    old, new = _terms(run)
    booked = carry_over(
        old=old, new=new, chosen=run.keep, by=run.asked_by, now=now, on_progress=tell
    )
    return {"booked": [one.name for one in booked]}


def _as_data(one: Carried) -> Data:
    """Return what would become of a weekly lesson as a page says it."""
    series = one.series
    return {
        "series": series.pk,
        "name": series.name,
        "where": f"{series.first_date:%A} {series.local_start:%H:%M}, {series.arena}, "
        f"{series.instructor.person.first_name}",
        "lessons": len(one.days),
        "riders": one.riders,
        "notes": one.notes,
        "left_out": [
            f"{day.day} {day:%b} ({why})" for day, why in one.left_out.items()
        ],
        "refusal": one.refusal,
    }


def _terms(run: PlanRun) -> tuple[Term, Term]:
    """Return the term before, and the one a run carries into."""
    new = run.term
    old = None if new is None else term_before(new)
    if new is None or old is None:
        raise UnableToBook("no-term", "There is no term before this one any more.")
    return old, new


WORKS: dict[str, Callable[[PlanRun, Tell, datetime], Data]] = {
    PlanRun.Kind.TRY_TERM: _try_term,
    PlanRun.Kind.BOOK_TERM: _book_term,
}


def carry_out_work(
    *, run: PlanRun, clock: Clock, beat_every_s: float, end: End
) -> PlanRun:
    """Do what a run asks for, all or nothing, and `end` it with that."""
    attempt = run.attempt
    state, fields = PlanRun.State.FAILED, dict[str, Any]()
    try:
        with _beating(run, clock, beat_every_s) as lost, transaction.atomic():
            tell = _teller(run, lost)
            tell(0, 0)
            result = WORKS[run.kind](run, tell, clock())
            count = sum(len(one) for one in result.values())
            ended = end(
                run, clock(), state=PlanRun.State.DONE, result=result,
                tried=count, to_try=count,
            )  # fmt: skip
            # Undone with all it wrote where another worker has it by now.
            transaction.set_rollback(
                (ended.state, ended.attempt) != (PlanRun.State.DONE, attempt)
            )
            return ended
    except _Stopped:
        state, fields = PlanRun.State.STOPPED, {"says": "Nothing was booked."}
    except UnableToBook as error:
        fields = {"says": error.says}
    except Exception:
        log.exception("run %s of %s failed", run.pk, run.date)
        fields = {
            "says": "It ended with an error, which is in the server's log; nothing "
            "was booked. Try again; if it comes again, carry fewer at once."
        }
    finally:
        cache.delete_many([_far(run), _stop(run)])
    return end(run, clock(), state=state, **fields)


def ask_work_to_stop(run: PlanRun) -> None:
    """Let work that is under way know that it is to stop."""
    if run.kind in WORKS:
        cache.set(_stop(run), True, KEPT_S)


def how_far(run: PlanRun) -> tuple[int, int]:
    """Return how many of how many are done of work under way; noughts if unknown."""
    tried, to_try = cache.get(_far(run), (run.tried, run.to_try))
    return tried, to_try


def _far(run: PlanRun) -> str:
    return f"run-{run.pk}-far"


def _stop(run: PlanRun) -> str:
    return f"run-{run.pk}-stop"


def _teller(run: PlanRun, lost: Event) -> Tell:
    def tell(done: int, of: int) -> None:
        if lost.is_set() or run.stop_asked_at is not None or cache.get(_stop(run)):
            raise _Stopped
        cache.set(_far(run), (done, of), KEPT_S)

    return tell


@contextmanager
def _beating(run: PlanRun, clock: Clock, every_s: float) -> Iterator[Event]:
    """Keep the heartbeat beside the work; the event says that it is another's."""
    lost, over = Event(), Event()

    def beat() -> None:
        try:
            while not over.wait(every_s):
                ours = PlanRun.objects.filter(
                    pk=run.pk, state=PlanRun.State.RUNNING, attempt=run.attempt
                )
                if not ours.update(heartbeat_at=clock()):
                    lost.set()
                    return
        finally:
            connection.close()

    # One writer at a time needs no heartbeat: others wait until it is done.
    beats = connection.features.has_select_for_update
    beside = Thread(target=beat, name=f"beat-{run.pk}", daemon=True) if beats else None
    if beside is not None:
        beside.start()
    try:
        yield lost
    finally:
        over.set()
        if beside is not None:
            beside.join()
