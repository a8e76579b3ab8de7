"""The plan of a day: what is searched, what is new in it, and what each move gains."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scheduling.models import DayPlan
from scheduling.queries.keys import key_of
from scheduling.queries.plans import (
    draft_of_day,
    latest_runs,
    published_plan,
    whole_published_plan,
)
from scheduling.web.days import read_day_or_404
from scheduling.web.plan_pictures import (
    booked_slots,
    draft_pictures,
    published_pictures,
)
from scheduling.web.runs import PAGES, run_words
from scheduling.wording import held_words
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
    shown = [run for kind, run in runs.items() if kind not in PAGES]
    shown.sort(key=lambda run: run.asked_at)
    lessons = lessons_of_day(when, zone)
    arenas = list(Arena.objects.order_by("name", "pk"))
    draft = draft_of_day(when)
    published = published_plan(when) if draft else whole_published_plan(when)
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
        } | draft_pictures(draft, arenas=arenas, lessons=lessons, zone=zone)
    elif published is not None:
        context |= {
            "figures": _figures(published),
            "moved": _moved(published, arenas, zone),
        } | published_pictures(published, arenas=arenas, zone=zone)
    return render(request, "scheduling/planner.html", context)


def _minutes(seconds: int) -> int:
    return -(-seconds // 60)


def _figures(plan: DayPlan) -> Data:
    """Say in minutes what the day needs as it was, with the plan, and at least."""
    now = plan.as_booked_reset_s
    return {
        "now": None if now is None else _minutes(now),
        "new": _minutes(plan.reset_s),
        "saved": None if now is None else _minutes(now) - _minutes(plan.reset_s),
        "proved": plan.status == "proved",
        "impossible": plan.status == "impossible",
        "gap": _minutes(plan.objective_s - plan.bound_s),
    }


def _moved(plan: DayPlan, arenas: list[Arena], zone: ZoneInfo) -> list[Data]:
    """Say which lessons a published plan moved, from where to where."""
    names = {one.pk: one.name for one in arenas}
    slots = booked_slots(plan, zone)

    def words(starts_at: datetime, arena: int) -> str:
        return f"{starts_at.astimezone(zone):%H:%M}, {names.get(arena, '')}"

    return [
        {
            "title": one.lesson.title,
            "was": words(*slots[one.lesson_id]),
            "now": words(one.starts_at, one.arena_id),
        }
        for one in plan.lessons.all()
        if slots.get(one.lesson_id, (one.starts_at, one.arena_id))
        != (one.starts_at, one.arena_id)
    ]


class _Words:
    """Puts what a search found into words, by the lessons' titles."""

    def __init__(self, lessons: list[Lesson], arenas: list[Arena]) -> None:
        self.titles = {one.pk: one.title for one in lessons}
        self.arenas = {one.pk: one.name for one in arenas}

    def title(self, name: str) -> str:
        if not name.startswith("lesson-"):
            return held_words(name)
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
