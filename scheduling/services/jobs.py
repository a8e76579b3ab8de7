"""What a worker is asked to search for, by kind.

A job is made with the records at hand and carried out without them, in a thread of
its own that touches no database.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from threading import Event
from time import monotonic
from typing import Any

from scheduling.convert.matches import match_as_data
from scheduling.dayplan.impossible import proved_impossible, smallest_conflict
from scheduling.dayplan.order import order_day
from scheduling.dayplan.replan import (
    Gain,
    gains_of,
    new_plan,
    rest_of_day,
    whole_plan,
)
from scheduling.dayplan.what_if import Band, what_if
from scheduling.models import PlanRun
from scheduling.queries.days import DayRows
from scheduling.queries.plans import published_plan
from scheduling.services.matching import to_match
from scheduling.services.progress import day_so_far
from scheduling.solver.solve import heeding
from school.models import LessonGrid

Data = dict[str, Any]


@dataclass(slots=True)
class Progress:
    """What the search has told so far, and whether it is to stop."""

    best_s: int | None = None
    bound_s: int | None = None
    tried: int = 0
    to_try: int = 0
    stop: Event = field(default_factory=Event)

    def tell(self, best_s: int, bound_s: int) -> None:
        """Take note of a better plan or bound, in seconds."""
        self.best_s, self.bound_s = best_s, min(bound_s, best_s)

    def count(self, tried: int, to_try: int) -> None:
        """Take note of how many days were tried, of how many."""
        self.tried, self.to_try = tried, to_try


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: a plan file or none, and what is said of it."""

    plan: Data | None
    result: Data


CONFLICT_S = 60.0
"""Seconds in which the lessons that can't go together are looked for."""

Job = Callable[[Progress], Found]
Make = Callable[[PlanRun, DayRows, Data, datetime], Job]


def order_job(run: PlanRun, rows: DayRows, document: Data, now: datetime) -> Job:
    """Return the search for the best order of a whole day."""
    seconds = run.seconds

    def job(progress: Progress) -> Found:
        plan = order_day(
            document, seconds=seconds, on_progress=progress.tell, stop=progress.stop
        )
        return Found(plan, _said_of(document, plan, progress))

    return job


def replan_job(run: PlanRun, rows: DayRows, document: Data, now: datetime) -> Job:
    """Return the search for the best order of what is left of a day.

    Of a day without a published plan that is the whole day.
    """
    plan = published_plan(run.date)
    if plan is None:
        return order_job(run, rows, document, now)
    so_far = day_so_far(rows, plan, now, keep=run.keep)
    rest, seconds = rest_of_day(document, so_far), run.seconds

    def job(progress: Progress) -> Found:
        new = new_plan(
            rest,
            so_far,
            seconds=seconds,
            on_progress=progress.tell,
            stop=progress.stop,
        )
        return Found(whole_plan(so_far, new), _said_of(rest, new, progress))

    return job


def what_if_job(run: PlanRun, rows: DayRows, document: Data, now: datetime) -> Job:
    """Return the trials of what would save resets."""
    bands = bands_of(rows)

    def job(progress: Progress) -> Found:
        def order(day: Data, start_from: Any) -> Data:
            return order_day(
                day,
                seconds=run.seconds,
                start_from=start_from,
                on_progress=progress.tell,
                stop=progress.stop,
            )

        result = what_if(
            document, bands, order=order, on_progress=progress.count, stop=progress.stop
        )
        return Found(None, result)

    return job


def match_job(run: PlanRun, rows: DayRows, document: Data, now: datetime) -> Job:
    """Return the search for the best horses of a day; `keep` are the pairs fixed."""
    fixed: dict[int, int] = dict(run.keep)
    asked = to_match(day=run.date, now=now, fixed=fixed)

    def job(progress: Progress) -> Found:
        found = asked.matched(
            limit=float(run.seconds),
            on_progress=progress.count,
            stop=progress.stop,
            watch=partial(heeding, progress.stop),
        )
        return Found(None, match_as_data(found) | {"fixed": sorted(fixed)})

    return job


JOBS: dict[str, Make] = {
    PlanRun.Kind.ORDER: order_job,
    PlanRun.Kind.REPLAN: replan_job,
    PlanRun.Kind.WHAT_IF: what_if_job,
    PlanRun.Kind.MATCH: match_job,
}


def _said_of(document: Data, plan: Data, progress: Progress) -> Data:
    """Say what each move gains, or which lessons can't go together."""
    if plan["status"] == "impossible":
        return {"gains": [], "conflict": _conflict(document, progress)}
    gains = [_as_data(one) for one in gains_of(document, plan)]
    return {"gains": gains, "conflict": None}


class _GaveUp(Exception):
    """The question was not answered in its time, or nobody waits any more."""


def _conflict(document: Data, progress: Progress) -> Data | None:
    """Return the fewest lessons that can't go together; None if not found in time."""
    ends = monotonic() + CONFLICT_S

    def impossible(day: Data) -> bool:
        if progress.stop.is_set() or monotonic() > ends:
            raise _GaveUp
        return proved_impossible(day)

    try:
        found = smallest_conflict(document, impossible=impossible)
    except _GaveUp:
        return None
    if found is None:
        return None
    cures = [{"rule": one.rule, "lesson": one.lesson} for one in found.cures]
    return {"lessons": list(found.lessons), "cures": cures}


def _as_data(one: Gain) -> Data:
    return {
        "lesson": one.lesson,
        "was": list(one.was),
        "now": list(one.now),
        "gain_s": one.gain_s,
        "at_least": one.at_least,
        "why": one.why,
        "lessons": list(one.lessons),
    }


def bands_of(rows: DayRows) -> dict[str, list[Band]]:
    """Return for each lesson's grid what suits all of its horses, gap by gap [cm]."""
    bands: dict[str, list[Band]] = {}
    for lesson in rows.lessons:
        grid: LessonGrid | None = getattr(lesson, "grid", None)
        if grid is None:
            continue
        found = [
            (
                max(horse["low_cm"] for horse in gap["horses"]),
                min(horse["high_cm"] for horse in gap["horses"]),
            )
            for gap in grid.fitted.get("gaps", [])
            if gap["horses"]
        ]
        if all(low <= high for low, high in found):
            bands[f"lesson-{lesson.pk}"] = found
    return bands
