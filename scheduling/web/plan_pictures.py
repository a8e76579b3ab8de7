"""Two states of a day drawn for comparing: same arenas, same hours, true to time."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.urls import reverse

from scheduling.convert.clock import moment_of
from scheduling.convert.lessons import is_lesson
from scheduling.models import DayPlan, PlannedLesson
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.queries.keys import key_of
from scheduling.web.plan_picture import Box, draw_plan_of_day
from school.models import Arena, Lesson

Slot = tuple[datetime, int]
"""When a lesson starts, and the key of its arena."""


def draft_pictures(
    draft: DayPlan, *, arenas: list[Arena], lessons: list[Lesson], zone: ZoneInfo
) -> dict[str, str]:
    """Draw the day as it is and as a draft would have it."""
    lane = {one.pk: n for n, one in enumerate(arenas)}
    before = [_lesson_box(lane, one, zone) for one in lessons]
    before += [_reset_box(lane, one, zone) for one in changeovers_of_day(draft.date)]
    after = [_planned_box(lane, one, zone) for one in draft.lessons.all()]
    after += [_reset_box(lane, one, zone) for one in draft.changeovers.all()]
    titles = ("The day as it is", "The day with the new plan")
    return _pair(draft.date, zone, arenas, (before, after), titles)


def published_pictures(
    plan: DayPlan, *, arenas: list[Arena], zone: ZoneInfo
) -> dict[str, str]:
    """Draw the day as it was booked and as it is planned; nothing for an older plan.

    As booked is what the plan was made from, so a day planned anew shows what was
    booked then.
    """
    if plan.as_booked_reset_s is None or "as_booked_resets" not in plan.plan:
        return {}
    lane = {one.pk: n for n, one in enumerate(arenas)}
    rows = list(plan.lessons.all())
    slots = booked_slots(plan, zone)
    before = [
        _box(lane, one, *slots[one.lesson_id], zone)
        for one in rows
        if one.lesson_id in slots
    ]
    titles = {one.lesson_id: one.lesson.title for one in rows}
    before += [
        Box(
            lane[key_of(one["arena"])],
            moment_of(plan.date, zone, one["from"]),
            moment_of(plan.date, zone, one["to"]),
            f"Changeover for {titles.get(key_of(one['for']), 'a closed arena')}",
            reset=True,
        )
        for one in plan.plan["as_booked_resets"]
    ]
    after = [_planned_box(lane, one, zone, slots.get(one.lesson_id)) for one in rows]
    after += [_reset_box(lane, one, zone) for one in plan.changeovers.all()]
    names = ("The day as booked", "The day as planned")
    return _pair(plan.date, zone, arenas, (before, after), names)


def booked_slots(plan: DayPlan, zone: ZoneInfo) -> dict[int, Slot]:
    """Return where each lesson was booked, by the day the plan was made from."""
    return {
        key_of(one["id"]): (
            moment_of(plan.date, zone, one["booked"]["start"]),
            key_of(one["booked"]["arena"]),
        )
        for one in plan.document.get("lessons", ())
        if is_lesson(one["id"]) and one.get("booked")
    }


def _pair(
    when: date,
    zone: ZoneInfo,
    arenas: list[Arena],
    boxes: tuple[list[Box], list[Box]],
    titles: tuple[str, str],
) -> dict[str, str]:
    """Draw two states of a day with the same hours."""
    hours = _hours(when, zone, [*boxes[0], *boxes[1]])
    names = [one.name for one in arenas]
    return {
        ident: draw_plan_of_day(names, its, hours=hours, ident=ident, title=title)
        for ident, its, title in zip(("before", "after"), boxes, titles, strict=True)
    }


def _hours(when: date, zone: ZoneInfo, boxes: list[Box]) -> tuple[datetime, datetime]:
    noon = datetime.combine(when, time(12), tzinfo=zone)
    first = min([noon, *(one.starts_at for one in boxes)])
    last = max([noon, *(one.ends_at for one in boxes)])
    begin = first.replace(minute=0, second=0, microsecond=0)
    end = last.replace(minute=0, second=0, microsecond=0)
    return begin, end if end == last else end + timedelta(hours=1)


def _lesson_box(lane: Mapping[int, int], one: Lesson, zone: ZoneInfo) -> Box:
    return Box(
        lane[one.arena_id],
        one.starts_at.astimezone(zone),
        one.ends_at.astimezone(zone),
        one.title,
        reverse("lesson", args=[one.pk]),
        grid=hasattr(one, "grid"),
    )


def _planned_box(
    lane: Mapping[int, int], one: PlannedLesson, zone: ZoneInfo, was: Slot | None = None
) -> Box:
    """Draw a planned lesson; where it was before is where it is now, unless said."""
    starts_at, arena = was or (one.lesson.starts_at, one.lesson.arena_id)
    note = ""
    if one.starts_at != starts_at:
        note = f"was {starts_at.astimezone(zone):%H:%M}"
    elif one.arena_id != arena:
        note = "other arena"
    return replace(_box(lane, one, one.starts_at, one.arena_id, zone), note=note)


def _box(
    lane: Mapping[int, int],
    one: PlannedLesson,
    starts_at: datetime,
    arena: int,
    zone: ZoneInfo,
) -> Box:
    """Draw a planned lesson at some time in some arena."""
    lesson = one.lesson
    return Box(
        lane[arena],
        starts_at.astimezone(zone),
        (starts_at + (lesson.ends_at - lesson.starts_at)).astimezone(zone),
        lesson.title,
        reverse("lesson", args=[lesson.pk]),
        grid=one.line_id is not None,
    )


def _reset_box(lane: Mapping[int, int], one: Any, zone: ZoneInfo) -> Box:
    return Box(
        lane[one.line.arena_id],
        one.starts_at.astimezone(zone),
        one.ends_at.astimezone(zone),
        one.heading,
        reverse("changeover", args=[one.pk]),
        reset=True,
    )
