"""The plan of a day: what is searched, what is new in it, and what each move gains."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from scheduling.models import DayPlan, PlanRun
from scheduling.queries import (
    changeovers_of_day,
    draft_of_day,
    key_of,
    latest_runs,
    published_plan,
)
from scheduling.web.days import read_day_or_404
from scheduling.web.plan_picture import Box, draw_plan_of_day
from scheduling.web.runs import run_words
from school.models import Arena, Lesson
from school.permissions import is_manager
from school.queries.lessons import lessons_of_day
from school.queries.schools import the_school
from school.web.access import allowed

Data = Mapping[str, Any]

CURES = {
    "cancel": "cancel {lesson}",
    "window": "let {lesson} start at another time",
    "arenas": "let {lesson} be in another arena",
    "people": "give {lesson} another instructor or rider",
    "horses": "give {lesson} another horse",
    "crew": "have one more groundsperson",
    "hours": "let the groundspeople begin earlier or stay later",
    "line": "have a second line in each arena",
    "store": "have more pieces in the store",
}
WHY = {
    "arena": "its old place is taken by {lessons} now",
    "person": "{lessons} has its people then",
    "horse": "{lessons} has its horse then, or the horse needs its rest",
    "resets": "the fences could not be changed in time there",
}


@allowed(is_manager)
def planner_page(request: HttpRequest, day: str) -> HttpResponse:
    when = read_day_or_404(day)
    zone = ZoneInfo(the_school().zone)
    runs = latest_runs(when)
    shown = [run for kind, run in runs.items() if kind != PlanRun.Kind.WHAT_IF]
    shown.sort(key=lambda run: run.asked_at)
    lessons = lessons_of_day(when, zone)
    arenas = list(Arena.objects.order_by("name", "pk"))
    published, draft = published_plan(when), draft_of_day(when)
    run = next((one for one in shown if draft and one.plan_id == draft.pk), None)
    context: dict[str, Any] = {
        "day": when,
        "runs": [run_words(one) for one in shown[-1:]],
        "under_way": any(one.under_way for one in shown),
        "published": published,
        "draft": draft,
        "lessons": lessons,
    }
    if draft is not None:
        words = _Words(lessons, arenas)
        found: Data = (run.result if run is not None else None) or {}
        context |= {
            "moves": [words.gain(one) for one in found.get("gains", [])],
            "conflict": words.conflict(found.get("conflict")),
            "figures": _figures(draft),
        } | _pictures(when, zone, arenas, lessons, draft)
    return render(request, "scheduling/planner.html", context)


def _minutes(seconds: int) -> int:
    return -(-seconds // 60)


def _figures(draft: DayPlan) -> Data:
    """Say in minutes what the day needs at present, with the draft, and at least."""
    now = draft.as_booked_reset_s
    return {
        "now": None if now is None else _minutes(now),
        "new": _minutes(draft.reset_s),
        "saved": None if now is None else _minutes(now) - _minutes(draft.reset_s),
        "proved": draft.status == "proved",
        "impossible": draft.status == "impossible",
        "gap": _minutes(draft.objective_s - draft.bound_s),
    }


class _Words:
    """Puts what a search found into words, by the lessons' titles."""

    def __init__(self, lessons: list[Lesson], arenas: list[Arena]) -> None:
        self.titles = {one.pk: one.title for one in lessons}
        self.arenas = {one.pk: one.name for one in arenas}

    def title(self, name: str) -> str:
        if not name.startswith("lesson-"):
            return "a closed arena"
        return self.titles.get(key_of(name), "a lesson that is gone")

    def slot(self, slot: list[Any]) -> str:
        start, arena = slot
        return (
            f"{start // 60:02d}:{start % 60:02d}, {self.arenas.get(key_of(arena), '')}"
        )

    def gain(self, one: Data) -> Data:
        """Say where a lesson goes, and what that gains."""
        whose = " and ".join(self.title(name) for name in one["lessons"])
        why = WHY.get(one["why"] or "", "").format(lessons=whose or "another lesson")
        gain = one["gain_s"]
        return {
            "pk": key_of(one["lesson"]),
            "title": self.title(one["lesson"]),
            "was": self.slot(one["was"]),
            "now": self.slot(one["now"]),
            "gain": None if gain is None else gain // 60,
            "at_least": one["at_least"],
            "why": why,
        }

    def conflict(self, one: Data | None) -> Data | None:
        """Say which lessons can't go together, and what frees them."""
        if one is None:
            return None
        cures = [
            CURES[cure["rule"]].format(lesson=self.title(cure["lesson"] or ""))
            for cure in one["cures"]
        ]
        return {
            "lessons": [self.title(name) for name in one["lessons"]],
            "cures": cures,
        }


def _pictures(
    when: date,
    zone: ZoneInfo,
    arenas: list[Arena],
    lessons: list[Lesson],
    draft: DayPlan,
) -> dict[str, str]:
    """Draw the day as it is and as it would be, with the same hours."""
    lane = {one.pk: n for n, one in enumerate(arenas)}
    before = [_lesson_box(lane, one, zone) for one in lessons]
    before += [_reset_box(lane, one, zone) for one in changeovers_of_day(when)]
    after = [_planned_box(lane, one, zone) for one in draft.lessons.all()]
    after += [_reset_box(lane, one, zone) for one in draft.changeovers.all()]
    hours = _hours(when, zone, [*before, *after])
    names = [one.name for one in arenas]
    return {
        "before": draw_plan_of_day(
            names, before, hours=hours, ident="before", title="The day as it is"
        ),
        "after": draw_plan_of_day(
            names, after, hours=hours, ident="after", title="The day with the new plan"
        ),
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


def _planned_box(lane: Mapping[int, int], one: Any, zone: ZoneInfo) -> Box:
    lesson = one.lesson
    note = ""
    if one.starts_at != lesson.starts_at:
        note = f"was {lesson.starts_at.astimezone(zone):%H:%M}"
    elif one.arena_id != lesson.arena_id:
        note = "other arena"
    return Box(
        lane[one.arena_id],
        one.starts_at.astimezone(zone),
        (one.starts_at + (lesson.ends_at - lesson.starts_at)).astimezone(zone),
        lesson.title,
        reverse("lesson", args=[lesson.pk]),
        grid=one.line_id is not None,
        note=note,
    )


def _reset_box(lane: Mapping[int, int], one: Any, zone: ZoneInfo) -> Box:
    return Box(
        lane[one.line.arena_id],
        one.starts_at.astimezone(zone),
        one.ends_at.astimezone(zone),
        f"Changeover for {one.lesson.title}",
        reverse("changeover", args=[one.pk]),
        reset=True,
    )
