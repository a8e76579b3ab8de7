"""Lines that move sideways: when each is due, where to, and at what time of the day.

A task holds no arena: it lies where nobody rides and nothing else is to be done, best
when the line is empty anyway, and is put elsewhere as the day is planned anew. What is
not done goes on to the next day, and says so.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F

from scheduling.changeover.effort import handling_from
from scheduling.changeover.sideways import Bounds, next_place, sideways_minutes
from scheduling.dayplan.document import placed_from_data
from scheduling.models import Changeover, DayPlan
from scheduling.queries.standing import standing_before_each
from scheduling.queries.wear import Wear, wear_of
from school.enums import HOLDING_STATES, LessonState, YardKind
from school.models import (
    Account,
    Arena,
    Groundsperson,
    Lesson,
    Line,
    School,
    SidewaysRule,
    YardWork,
)
from school.queries.closures import closures_between
from school.queries.daylight import daylight, needs_daylight
from school.queries.lessons import day_bounds
from school.queries.schools import school_zone, the_school
from school.queries.yard import on_duty
from school.services.audit import record
from school.services.refusals import on_day
from school.services.yard import call_off

AHEAD = timedelta(days=7)
"""How far ahead a move is in the book."""

RASTER = timedelta(minutes=5)

Times = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class _Slot:
    """A time for a move, and what stands then."""

    starts_at: datetime
    ends_at: datetime
    stands: Sequence[Mapping[str, Any]]


def bounds_of(rule: SidewaysRule, lines: Iterable[Line]) -> Bounds:
    """Return between which places a rule's line may lie, its neighbours as they are.

    A neighbour that is about to move counts at both places.
    """
    places: set[int] = set()
    for one in lines:
        if one.arena_id == rule.line.arena_id and one.pk != rule.pk:
            places.add(one.from_long_side_cm)
            places.update(
                work.to_cm
                for work in one.yard_work.all()
                if work.to_cm is not None
                and work.done_at is None
                and work.called_off_at is None
            )
    return Bounds(rule.least_cm, rule.most_cm, tuple(sorted(places)))


def lay_out_moves(*, now: datetime, by: Account | None = None) -> list[SidewaysRule]:
    """Put every move of the coming week in the book, once; return those without room.

    What is in the book and no longer due is called off; what was not done goes on to
    today. Twice changes nothing.
    """
    stuck = []
    with transaction.atomic():
        rules = list(
            SidewaysRule.objects.select_for_update(of=("self",))
            .select_related("line__arena")
            .order_by("pk")
        )
        wear = wear_of(rules, now)
        for rule in rules:
            lines = Line.objects.prefetch_related("yard_work").order_by("pk")
            if not _lay_out(rule, wear[rule.pk], list(lines), by, now):
                stuck.append(rule)
    return stuck


def _lay_out(
    rule: SidewaysRule, wear: Wear, lines: list[Line], by: Account | None, now: datetime
) -> bool:
    """Put one line's move in the book; say whether there is room where it is due."""
    today = now.astimezone(school_zone()).date()
    work = open_move(rule.line)
    if work is not None and work.started_at is not None and work.date >= today:
        return True
    due = wear.due if wear.due and wear.due <= today + AHEAD else None
    at_cm = rule.line.from_long_side_cm
    to_cm = next_place(at_cm, rule.step_cm, rule.outward, bounds_of(rule, lines))
    if due is None or to_cm is None:
        if work is not None:
            call_off(work=work, by=by, now=now)
        return due is None
    if work is not None and _is_on(work, to_cm, today, now):
        return True
    off = set(
        rule.line.yard_work.filter(
            called_off_at__isnull=False, date__gte=today
        ).values_list("date", flat=True)
    )
    first = max(due, today)
    for n in range(AHEAD.days):
        day = first + timedelta(days=n)
        slot = None if day in off else _slot(rule.line, to_cm, day, work, now)
        if slot is not None:
            _put(rule.line, to_cm, slot, work, by, now)
            return True
    return False


def _is_on(work: YardWork, to_cm: int, today: date, now: datetime) -> bool:
    """Say whether a move is for today and its hour has come: it stays on the list."""
    return work.to_cm == to_cm and work.date == today and work.starts_at <= now


def open_move(line: Line) -> YardWork | None:
    """Return the move of a line that is in the book and not done."""
    return YardWork.objects.filter(
        line=line, called_off_at__isnull=True, done_at__isnull=True
    ).first()


def _put(
    line: Line,
    to_cm: int,
    slot: _Slot,
    work: YardWork | None,
    by: Account | None,
    now: datetime,
) -> None:
    says: dict[str, Any] = {
        "date": slot.starts_at.date(),
        "starts_at": slot.starts_at,
        "ends_at": slot.ends_at,
        "who": on_duty(slot.starts_at, slot.ends_at),
        "to_cm": to_cm,
        "stands": list(slot.stands),
    }
    if work is None:
        work = YardWork.objects.create(
            kind=YardKind.SIDEWAYS, arena=line.arena, line=line, changed_at=now, **says
        )
        record(by=by, at=now, action="plan work", subject=work, after=_said(says))
        return
    if all(getattr(work, name) == value for name, value in says.items()):
        return
    if work.date < says["date"] and work.date < now.astimezone(school_zone()).date():
        lines = [*work.note.splitlines(), f"Not done on {on_day(work.date)}."]
        says["note"] = "\n".join(lines)
    for name, value in {**says, "changed_at": now, "version": F("version") + 1}.items():
        setattr(work, name, value)
    work.save(update_fields=[*says, "changed_at", "version"])
    record(by=by, at=now, action="move work", subject=work, after=_said(says))


def _said(says: Mapping[str, Any]) -> dict[str, Any]:
    return {"starts_at": str(says["starts_at"]), "to_cm": says["to_cm"]}


# ---- a time for it


def _slot(
    line: Line, to_cm: int, day: date, work: YardWork | None, now: datetime
) -> _Slot | None:
    """Return the best time of a day for a line's move, None where there is none.

    Best is the line empty after a harrow, then the end of the arena's day (after an
    evening strip, where there is one), then before its first lesson, then any gap.
    """
    school, arena = the_school(), line.arena
    window = _window(school, arena, day, now)
    here = _busy_here(arena, day)
    elsewhere = _busy_elsewhere(day, work)
    standing = standing_before_each([day, day + timedelta(days=1)])
    handling = handling_from(school.handling)
    begins = {window[0], *(end for _, end in [*here, *elsewhere])}
    if work is not None:
        begins.add(work.starts_at)
    fresh = _fresh_from(arena, day)
    first = min((one for one, _ in here), default=None)
    last = max((one for _, one in here), default=None)
    found: list[tuple[tuple[int, bool, datetime], _Slot]] = []
    for starts_at in begins:
        late = last is not None and starts_at >= last
        left = standing[day + timedelta(days=late)].get(line.pk, [])
        stands = [] if starts_at in fresh else left
        minutes = sideways_minutes(
            [placed_from_data(one) for one in stands],
            to_cm - line.from_long_side_cm,
            handling,
        )
        ends_at = _plus(starts_at, minutes)
        free = window[0] <= starts_at and ends_at <= window[1]
        if not free or _overlaps((starts_at, ends_at), [*here, *elsewhere]):
            continue
        early = first is None or ends_at <= first
        rank = 0 if starts_at in fresh else 1 if late else 2 if early else 3
        moved = work is None or starts_at != work.starts_at
        slot = _Slot(starts_at.astimezone(school_zone()), ends_at, stands)
        found.append(((rank, moved, starts_at), slot))
    return min(found, key=lambda one: one[0])[1] if found else None


def _window(school: School, arena: Arena, day: date, now: datetime) -> Times:
    """Return from when to when somebody works on a day, in the light if it needs it."""
    zone = school_zone()
    hours = list(Groundsperson.objects.values_list("works_from", "works_to"))
    opens: time = min((one for one, _ in hours), default=arena.opens_at)
    closes: time = max((one for _, one in hours), default=arena.closes_at)
    first = datetime.combine(day, opens, tzinfo=zone)
    last = datetime.combine(day, closes, tzinfo=zone)
    light = daylight(school, day) if needs_daylight(arena) else None
    if light is not None:
        first, last = max(first, light.rises), min(last, light.sets)
    if now.astimezone(zone).date() == day:
        over = (now - datetime.min.replace(tzinfo=UTC)) % RASTER
        soon = now if not over else now + RASTER - over
        first = max(first, soon.astimezone(zone))
    return first, last


def _busy_here(arena: Arena, day: date) -> list[Times]:
    """Return when an arena is ridden in, closed, or its fences are changed."""
    first, last = day_bounds(day, school_zone())
    lessons = Lesson.objects.filter(
        arena=arena, state__in=HOLDING_STATES, starts_at__gte=first, starts_at__lt=last
    )
    closures = closures_between(first, last).filter(arena=arena)
    changes = _changeovers(day).filter(line__arena=arena)
    return [
        *lessons.values_list("starts_at", "ends_at"),
        *closures.values_list("closed_from", "closed_to"),
        *changes.values_list("starts_at", "ends_at"),
    ]


def _busy_elsewhere(day: date, work: YardWork | None) -> list[Times]:
    """Return when somebody changes fences or works the ground on a day."""
    works = YardWork.objects.filter(date=day, called_off_at__isnull=True)
    if work is not None:
        works = works.exclude(pk=work.pk)
    return [
        *_changeovers(day).values_list("starts_at", "ends_at"),
        *works.values_list("starts_at", "ends_at"),
    ]


def _changeovers(day: date) -> Any:
    return Changeover.objects.filter(
        plan__date=day, plan__state=DayPlan.State.PUBLISHED
    ).exclude(lesson__state=LessonState.CANCELLED)


def _fresh_from(arena: Arena, day: date) -> set[datetime]:
    """Return when a harrow of an arena ends: then it is bare."""
    harrows = YardWork.objects.filter(
        arena=arena, date=day, kind=YardKind.HARROW, called_off_at__isnull=True
    )
    return set(harrows.values_list("ends_at", flat=True))


def _overlaps(one: Times, others: Iterable[Times]) -> bool:
    return any(one[0] < last and first < one[1] for first, last in others)


def _plus(at: datetime, minutes: int) -> datetime:
    later = at.astimezone(UTC) + timedelta(minutes=minutes)
    return later.astimezone(school_zone())
