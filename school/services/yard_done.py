"""Doing the work of the ground: begun, done, and what went otherwise.

Each may be sent twice, from a phone that was without signal: the second time
changes nothing.
"""

from datetime import datetime

from django.db import transaction

from school.models import Account, Line, SidewaysRule, YardWork
from school.services.audit import record
from school.services.refusals import hour

LONGEST_TROUBLE = 300


class UnableToWork(ValueError):
    """Work of the ground that is off, or a trouble without a word."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def start_work(*, work: YardWork, by: Account | None, now: datetime) -> YardWork:
    """Say that it has begun."""
    with transaction.atomic():
        fresh = _current(work)
        if fresh.started_at is None:
            fresh.started_at = now
            fresh.save(update_fields=["started_at"])
            record(by=by, at=now, action="start", subject=fresh, after={"at": str(now)})
        return fresh


def finish_work(*, work: YardWork, by: Account | None, now: datetime) -> YardWork:
    """Say that it is done; done without a start is done."""
    with transaction.atomic():
        fresh = _current(work)
        if fresh.done_at is not None:
            return fresh
        fresh.started_at = fresh.started_at or now
        fresh.done_at = max(now, fresh.started_at)
        fresh.save(update_fields=["started_at", "done_at"])
        record(by=by, at=now, action="finish", subject=fresh, after={"at": str(now)})
        if fresh.line is not None and fresh.to_cm is not None:
            _lies(fresh.line, fresh.to_cm, by, fresh.done_at)
        return fresh


def _lies(line: Line, to_cm: int, by: Account | None, now: datetime) -> None:
    """Keep where a line lies after its move; its use is counted anew from then."""
    before_cm, line.from_long_side_cm = line.from_long_side_cm, to_cm
    line.save(update_fields=["from_long_side_cm"])
    SidewaysRule.objects.filter(line=line).update(
        outward=to_cm > before_cm, counted_from_at=now
    )
    record(
        by=by,
        at=now,
        action="move line",
        subject=line,
        before={"from_long_side_cm": before_cm},
        after={"from_long_side_cm": to_cm},
    )


def trouble_words(what: str, says: str) -> str:
    """Return a trouble as one line: what it is, and what was said of it."""
    said = " ".join(says.split())[:LONGEST_TROUBLE]
    return ": ".join(part for part in (what.strip()[:60], said) if part)


def report_work_trouble(
    *, work: YardWork, what: str, says: str, by: Account | None, now: datetime
) -> YardWork:
    """Keep what went otherwise, for the manager; the same twice is kept once.

    Raises
    ------
    UnableToWork
        Where nothing is said, or the work is called off.
    """
    line = trouble_words(what, says)
    if not line:
        raise UnableToWork("Say in a few words what is the trouble.")
    with transaction.atomic():
        fresh = _current(work)
        lines = fresh.note.splitlines()
        if line in lines:
            return fresh
        fresh.note = "\n".join([*lines, line])
        fresh.save(update_fields=["note"])
        record(by=by, at=now, action="trouble", subject=fresh, after={"says": line})
        return fresh


def off_words(work: YardWork) -> str:
    """Say since when work is off; nothing where it is not."""
    if work.called_off_at is None:
        return ""
    return (
        f"{work.what}, {work.arena}, was called off at "
        f"{hour(work.called_off_at)}: nothing need be done for it."
    )


def _current(work: YardWork) -> YardWork:
    fresh = (
        YardWork.objects.select_for_update(of=("self",))
        .select_related("arena", "line")
        .get(pk=work.pk)
    )
    if fresh.called_off_at is not None:
        raise UnableToWork(off_words(fresh))
    return fresh
