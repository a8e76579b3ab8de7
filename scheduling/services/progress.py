"""How far a day has come: what is done of its published plan, and what stands now."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from scheduling.changeover.setups import Place
from scheduling.convert.clock import minute_of
from scheduling.dayplan.document import placed_as_data, read_day
from scheduling.dayplan.replan import SoFar
from scheduling.models import Changeover, DayPlan, Standing
from scheduling.queries.days import DayRows
from scheduling.queries.keys import key_of

Data = dict[str, Any]


def day_so_far(
    rows: DayRows, plan: DayPlan, now: datetime, keep: Sequence[int] = ()
) -> SoFar:
    """Return how far a day has come in following its published plan.

    Parameters
    ----------
    rows
        The day as it is.
    plan
        Published for it.
    now
        The moment.
    keep
        Lessons that stay where they are.
    """
    begun = now.astimezone(rows.zone).date() == rows.date
    worked = list(
        Changeover.objects.filter(plan=plan, started_at__isnull=False)
        .select_related("before_work")
        .order_by("pk")
    )
    busy = [one for one in worked if one.done_at is None]
    now_min = minute_of(rows, now) if begun else None
    return SoFar(
        plan=plan.plan,
        made_from=plan.document,
        now_min=now_min,
        freeze_min=rows.school.freeze_min,
        standing=_standing(plan, rows, now, busy) if begun else {},
        done=frozenset((f"line-{one.line_id}", _for(one)) for one in worked),
        busy_until_min=max((_over(rows, one, now) for one in busy), default=None),
        keep=frozenset(f"lesson-{pk}" for pk in keep),
    )


def _for(one: Changeover) -> str:
    """Return what a changeover is for, as the day file names it."""
    work = one.before_work
    if work is not None:
        return f"closure-{work.closure_id}-arena-{work.arena_id}"
    return f"lesson-{one.lesson_id}"


def _over(rows: DayRows, one: Changeover, now: datetime) -> int:
    """Return when a changeover under way is over: it takes what it was to take."""
    began = one.started_at or now
    length = timedelta(seconds=one.seconds)
    return max(minute_of(rows, began + length), minute_of(rows, now))


def _standing(
    plan: DayPlan, rows: DayRows, now: datetime, busy: list[Changeover]
) -> dict[str, list[Data]]:
    """Return what stands on each line now, as far as the day has changed it.

    The last lesson begun on a line leaves its row; a changeover done, or a
    correction, after that lesson began says otherwise; one that is under way will
    leave what it builds.
    """
    since: dict[str, datetime] = {}
    stands: dict[str, list[Data]] = {}
    begun = {one.pk: one for one in rows.lessons if one.starts_at <= now}
    day = read_day(plan.document)
    grids = {one.id: one.grid for one in day.lessons}
    for planned in plan.plan["lessons"]:
        grid = grids[planned["id"]]
        if planned["line"] is None or grid is None:
            continue
        lesson = begun.get(key_of(planned["id"]))
        line = planned["line"]
        if lesson is None or (line in since and since[line] > lesson.starts_at):
            continue
        place = Place(planned["offset_cm"], planned["mirrored"])
        setup = grid.stand(grid.end, place)
        since[line] = lesson.starts_at
        stands[line] = [placed_as_data(one) for one in setup]
    for seen in Standing.objects.order_by("line_id"):
        line = f"line-{seen.line_id}"
        if seen.as_of_at > since.get(line, plan.made_at):
            stands[line] = seen.elements
    for one in busy:
        moves = one.moves.order_by("position")
        stands[f"line-{one.line_id}"] = [m.now for m in moves if m.now is not None]
    return stands
