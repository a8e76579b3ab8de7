"""Making the plan of a day, and publishing it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from scheduling.changeover.alike import same_steps, same_work
from scheduling.convert.changeovers import listed, step_key
from scheduling.convert.clock import moment, moment_at
from scheduling.convert.days import day_document, fingerprint
from scheduling.convert.lessons import is_lesson
from scheduling.dayplan.document import InvalidDay
from scheduling.dayplan.order import order_day
from scheduling.models import Changeover, ChangeoverMove, DayPlan, PlannedLesson
from scheduling.queries.changeovers import changeovers_of_plan
from scheduling.queries.days import DayRows, day_rows
from scheduling.queries.keys import key_of
from scheduling.queries.plans import published_plan
from scheduling.services.evenings import evening_of
from scheduling.services.sideways import lay_out_moves
from school.models import Account, Groundsperson, Lesson
from school.queries.yard import yard_work_between
from school.services.audit import record
from school.services.lessons import Move, UnableToBook, move_lessons
from school.services.windows import set_times

Data = Mapping[str, Any]
Purpose = Changeover.Purpose

GAPS = UUID("6f0b7c5e-5d0e-5d0a-9a39-6d3f3c2a7d11")
"""Namespace of the changeovers' UIDs."""


class UnableToPlan(ValueError):
    """A day that can't be planned as it stands, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


class UnableToPublish(ValueError):
    """A plan that can't be published, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def make_plan(
    *, date: date, by: Account | None, now: datetime, seconds: float = 10
) -> DayPlan:
    """Order a day and keep the plan as a draft; older drafts give way.

    Raises UnableToPlan where the day's records make no day file.
    """
    rows = day_rows(date)
    document = day_document(rows)
    # Outside the transaction: the search takes seconds, and locks nothing.
    try:
        plan = order_day(document, seconds=seconds)
    except InvalidDay as error:
        raise UnableToPlan(f"The day can't be ordered: {error}.") from error
    return store_plan(rows=rows, document=document, plan=plan, by=by, now=now)


def store_plan(
    *, rows: DayRows, document: Data, plan: Data, by: Account | None, now: datetime
) -> DayPlan:
    """Keep a plan file as a draft, with its lessons and changeovers."""
    with transaction.atomic():
        others = DayPlan.objects.select_for_update().filter(date=rows.date)
        last = others.order_by("-version").first()
        others.filter(state=DayPlan.State.DRAFT).update(state=DayPlan.State.REPLACED)
        row = DayPlan.objects.create(
            date=rows.date,
            version=1 if last is None else last.version + 1,
            fingerprint=fingerprint(document),
            document=dict(document),
            plan=dict(plan),
            status=plan["status"],
            objective_s=plan["objective_s"],
            bound_s=plan["bound_s"],
            reset_s=plan["reset_s"],
            as_booked_reset_s=plan["as_booked_reset_s"],
            made_at=now,
            made_by=by,
        )
        _store_lessons(row, rows, plan)
        _store_changeovers(row, rows, plan)
        record(
            by=by,
            at=now,
            action="plan",
            subject=row,
            after={"date": str(rows.date), "version": row.version},
        )
        return row


def _store_lessons(row: DayPlan, rows: DayRows, plan: Data) -> None:
    PlannedLesson.objects.bulk_create(
        PlannedLesson(
            plan=row,
            lesson_id=key_of(one["id"]),
            arena_id=key_of(one["arena"]),
            line_id=key_of(one["line"]) if one["line"] else None,
            starts_at=moment(rows, one["start"]),
            offset_cm=one["offset_cm"] if one["line"] else None,
            mirrored=one["mirrored"],
        )
        for one in plan["lessons"]
        if is_lesson(one["id"])
    )


def _store_changeovers(row: DayPlan, rows: DayRows, plan: Data) -> None:
    uuids = {one.pk: one.uuid for one in rows.lessons}
    seen: Counter[str] = Counter()
    free_at: dict[int, datetime] = {}
    works = {
        f"closure-{one.closure_id}-arena-{one.arena_id}": one
        for one in yard_work_between(rows.date, rows.date)
    }
    for reset in plan["resets"]:
        work = works.get(reset["for"])
        wanted = None if work else _wanted_lesson(reset, plan)
        if wanted is None and work is None:
            continue
        after = key_of(reset["after"]) if is_lesson(reset["after"] or "") else None
        purpose = Purpose.WORK if work else Purpose.LESSON
        name = (
            f"{rows.date} {reset['line']} {uuids[after] if after else 'morning'} "
            f"{work.uid if work else uuids[wanted or 0]}"
        )
        seen[name] += 1
        starts_at, ends_at = moment(rows, reset["from"]), moment(rows, reset["to"])
        one = Changeover.objects.create(
            plan=row,
            uid=uuid5(GAPS, f"{name} {seen[name]}" if seen[name] > 1 else name),
            purpose=purpose,
            lesson_id=wanted,
            before_work=work,
            after_lesson_id=after,
            line_id=key_of(reset["line"]),
            starts_at=starts_at,
            ends_at=ends_at,
            seconds=reset["seconds"],
            who=_on_duty(rows, starts_at, ends_at, free_at),
        )
        _store_moves(one, reset["moves"])
    _store_evening(row, rows, plan, free_at)


def _store_moves(one: Changeover, moves: Sequence[Data]) -> None:
    ChangeoverMove.objects.bulk_create(
        ChangeoverMove(
            changeover=one,
            position=n,
            do=move["do"],
            was=move["was"],
            now=move["now"],
            seconds=str(move["seconds"]),
        )
        for n, move in enumerate(moves, start=1)
    )


def _store_evening(
    row: DayPlan, rows: DayRows, plan: Data, free_at: dict[int, datetime]
) -> None:
    """List the strips of the evening, where the yard makes them."""
    for strip, moves in evening_of(rows, row.document, plan):
        starts_at = moment_at(rows, strip.from_min)
        ends_at = moment_at(rows, strip.to_min)
        one = Changeover.objects.create(
            plan=row,
            uid=uuid5(GAPS, f"{rows.date} {strip.line} evening"),
            purpose=Purpose.EVENING,
            line_id=key_of(strip.line),
            starts_at=starts_at,
            ends_at=ends_at,
            seconds=strip.seconds,
            who=_on_duty(rows, starts_at, ends_at, free_at) or _works_last(rows),
        )
        _store_moves(one, moves)


def _wanted_lesson(reset: Data, plan: Data) -> int | None:
    """Return the lesson a changeover is for; before a closure, the next lesson."""
    if is_lesson(reset["for"]):
        return key_of(reset["for"])
    later = sorted(
        (one["start"], one["id"])
        for one in plan["lessons"]
        if is_lesson(one["id"]) and one["start"] >= reset["to"]
    )
    return key_of(later[0][1]) if later else None


def _works_last(rows: DayRows) -> Groundsperson | None:
    """Return who works latest: what is after everybody's hours is theirs."""
    return max(rows.groundspeople, key=lambda one: one.works_to, default=None)


def _on_duty(
    rows: DayRows,
    starts_at: datetime,
    ends_at: datetime,
    free_at: dict[int, datetime],
) -> Groundsperson | None:
    """Return a groundsperson who works then and is free, and keep them busy."""
    first = starts_at.astimezone(rows.zone).time()
    last = ends_at.astimezone(rows.zone).time()
    for one in rows.groundspeople:
        free = one.pk not in free_at or free_at[one.pk] <= starts_at
        if free and one.works_from <= first and last <= one.works_to:
            free_at[one.pk] = ends_at
            return one
    return None


def is_stale(plan: DayPlan) -> bool:
    """Say whether the day has changed since the plan was made or published."""
    return fingerprint(day_document(day_rows(plan.date))) != plan.fingerprint


def publish_plan(*, plan: DayPlan, by: Account | None, now: datetime) -> DayPlan:
    """Make a draft the plan of its day: move its lessons, give out its list.

    Raises UnableToPublish for a plan that breaks a rule or is out of date, and
    where a lesson can't be moved; then nothing is changed.
    """
    with transaction.atomic():
        fresh = DayPlan.objects.select_for_update().get(pk=plan.pk)
        if fresh.state == DayPlan.State.PUBLISHED:
            return fresh
        rows = day_rows(fresh.date)
        _check_publishable(fresh, rows)
        former = published_plan(fresh.date)
        if former is not None:
            former.state = DayPlan.State.REPLACED
            former.save(update_fields=["state"])
        moves = _moves(fresh)
        try:
            moved = move_lessons(moves=moves, by=by, now=now, tell=False)
        except UnableToBook as error:
            raise UnableToPublish(
                f"The plan can't be published: {error.says}"
            ) from error
        planned = fresh.lessons.values_list("lesson_id", flat=True)
        set_times(planned=planned, moved=moved, now=now)
        if former is not None:
            keep_what_was_done(former, fresh)
        fresh.state, fresh.published_at = DayPlan.State.PUBLISHED, now
        fresh.save(update_fields=["state", "published_at"])
        # From here on the day is up to date as long as it stays as planned.
        fresh.fingerprint = fingerprint(day_document(day_rows(fresh.date)))
        fresh.save(update_fields=["fingerprint"])
        record(
            by=by,
            at=now,
            action="publish",
            subject=fresh,
            before=None if former is None else {"version": former.version},
            after={"version": fresh.version, "moved": len(moves)},
        )
        lay_out_moves(now=now, by=by)
        return fresh


def _check_publishable(plan: DayPlan, rows: DayRows) -> None:
    if plan.state == DayPlan.State.REPLACED:
        raise UnableToPublish(
            "A newer plan has taken this one's place. Look at the newest one."
        )
    if plan.plan["broken"] or plan.status == "impossible":
        broken = plan.plan["broken"]
        says = broken[0]["says"] if broken else "no order keeps every rule."
        raise UnableToPublish(
            f"This plan breaks a rule, so it can't be published: {says} "
            "Change the lesson or its window, then order the day again."
        )
    current = day_document(rows)
    if fingerprint(current) != plan.fingerprint:
        raise UnableToPublish(
            f"The day has changed since this plan was made: "
            f"{_what_changed(plan.document, current, rows.lessons)}. "
            "Order the day again."
        )


def _what_changed(old: Data, new: Data, lessons: Sequence[Lesson]) -> str:
    """Name the first thing that differs between two day files."""
    titles = {f"lesson-{one.pk}": one.title for one in lessons}
    before = {one["id"]: one for one in old["lessons"]}
    after = {one["id"]: one for one in new["lessons"]}
    for key, one in after.items():
        name = titles.get(key, "an arena's closure")
        if key not in before:
            return f"{name} was added"
        if before[key] != one:
            return f"{name} was changed"
    if before.keys() - after.keys():
        return "a lesson was cancelled or a closure lifted"
    if old["arenas"] != new["arenas"]:
        return "an arena, a line or what stands on it was changed"
    return "the horses, the store or the school's settings were changed"


def _moves(plan: DayPlan) -> list[Move]:
    """Return the lessons that the plan puts elsewhere, earliest first."""
    planned = plan.lessons.select_related("lesson", "arena").order_by("starts_at", "pk")
    return [
        # What clients are to read of why it is not where it was holds on.
        Move(
            lesson=one.lesson,
            starts_at=one.starts_at,
            arena=one.arena,
            reason=one.lesson.moved_reason,
        )
        for one in planned
        if (one.starts_at, one.arena_id) != (one.lesson.starts_at, one.lesson.arena_id)
    ]


def keep_what_was_done(former: DayPlan, plan: DayPlan) -> None:
    """Carry over what was started, ticked, done and noted, as far as it still holds.

    A tick holds where the same step is asked for in the same work; done is what
    has no other step. What was noted stays with the work, or with the next on its
    line, so that nobody's trouble is lost.
    """
    old, new = list(changeovers_of_plan(former)), list(changeovers_of_plan(plan))
    pairs = same_work([listed(one) for one in old], [listed(one) for one in new])
    for n, one in enumerate(old):
        if n in pairs:
            _keep_ticks(one, new[pairs[n]])
        elif one.note:
            _keep_note(one, new)


def _keep_ticks(old: Changeover, one: Changeover) -> None:
    before, after = list(old.moves.all()), list(one.moves.all())
    kept = same_steps([step_key(m) for m in before], [step_key(m) for m in after])
    for n, m in kept.items():
        move, was = after[m], before[n]
        move.ticked_at, move.ticked_by_id = was.ticked_at, was.ticked_by_id
        move.save(update_fields=["ticked_at", "ticked_by"])
    same = len(kept) == len(before) == len(after)
    # Where what was done is to be done otherwise, that is work of its own.
    under_way = bool(kept) and old.done_at is None
    one.started_at = old.started_at if same or under_way else None
    one.done_at = old.done_at if same else None
    one.note = "\n".join(filter(None, [old.note, one.note]))
    one.save(update_fields=["started_at", "done_at", "note"])


def _keep_note(old: Changeover, new: Sequence[Changeover]) -> None:
    here = [one for one in new if one.line_id == old.line_id]
    later = [one for one in here if one.starts_at >= old.starts_at]
    for one in (later or here[-1:])[:1]:
        one.note = "\n".join(filter(None, [one.note, old.note]))
        one.save(update_fields=["note"])
