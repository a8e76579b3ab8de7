"""The plans of days, their runs, and where they put a lesson."""

from datetime import date

from django.db.models import Prefetch, QuerySet

from exercises.geometry.data import as_planned
from scheduling.changeover.setups import Place
from scheduling.models import DayPlan, PlannedLesson, PlanRun
from scheduling.queries.changeovers import changeovers_with_all
from school.models import Lesson, LessonGrid, Line, Term


def plans_with_all() -> QuerySet[DayPlan]:
    """Return plans with their lessons and changeovers, in few queries."""
    planned = PlannedLesson.objects.select_related(
        "lesson__instructor__person", "arena", "line"
    ).order_by("starts_at", "pk")
    return DayPlan.objects.select_related("made_by__person").prefetch_related(
        Prefetch("lessons", queryset=planned),
        Prefetch("changeovers", queryset=changeovers_with_all()),
    )


def plan_of_day(day: date) -> DayPlan | None:
    """Return the day's published plan, else its newest draft."""
    states = [DayPlan.State.DRAFT, DayPlan.State.PUBLISHED]
    return (
        plans_with_all()
        .filter(date=day, state__in=states)
        # By the alphabet, a draft comes after what is published when reversed.
        .order_by("-state", "-version")
        .first()
    )


def draft_of_day(day: date) -> DayPlan | None:
    """Return the newest draft of a day, beside what is published."""
    return (
        plans_with_all()
        .filter(date=day, state=DayPlan.State.DRAFT)
        .order_by("-version")
        .first()
    )


def published_plan(day: date) -> DayPlan | None:
    """Return the day's published plan, without what belongs to it."""
    return DayPlan.objects.filter(date=day, state=DayPlan.State.PUBLISHED).first()


def whole_published_plan(day: date) -> DayPlan | None:
    """Return the day's published plan with its lessons and changeovers."""
    return plans_with_all().filter(date=day, state=DayPlan.State.PUBLISHED).first()


def former_plan(plan: DayPlan) -> DayPlan | None:
    """Return the plan that was published for the day before this one was."""
    return (
        DayPlan.objects.filter(date=plan.date, published_at__lt=plan.published_at)
        .order_by("-published_at", "-version")
        .first()
        if plan.published_at
        else None
    )


def run_under_way(day: date, kind: str) -> PlanRun | None:
    """Return the run of a kind that waits or is at work for a day."""
    states = [PlanRun.State.QUEUED, PlanRun.State.RUNNING]
    return PlanRun.objects.filter(date=day, kind=kind, state__in=states).first()


def latest_runs(day: date) -> dict[str, PlanRun]:
    """Return the newest run of each kind of a day."""
    runs = PlanRun.objects.filter(date=day).order_by("asked_at", "pk")
    return {one.kind: one for one in runs}


def runs_of_term(term: Term) -> dict[str, PlanRun]:
    """Return the newest run of each kind that carries into a term."""
    runs = PlanRun.objects.filter(term=term).order_by("asked_at", "pk")
    return {one.kind: one for one in runs}


def planned_place(lesson: Lesson, grid: LessonGrid) -> PlannedLesson | None:
    """Return where the published plan puts a lesson's row.

    None without such a plan, and where it was made for another row, arena or time.
    """
    planned = (
        PlannedLesson.objects.filter(
            lesson=lesson,
            plan__state=DayPlan.State.PUBLISHED,
            line__isnull=False,
            arena=lesson.arena_id,
            starts_at=lesson.starts_at,
        )
        .select_related("line__arena", "plan")
        .order_by("-plan__date", "-pk")
        .first()
    )
    if planned is None:
        return None
    wanted = [as_planned(one) for one in grid.start]
    made_for = [
        (one.get("grid") or {}).get("start")
        for one in planned.plan.document.get("lessons", [])
        if one["id"] == f"lesson-{lesson.pk}"
    ]
    return planned if made_for == [wanted] else None


def published_place(lesson: Lesson) -> tuple[Line, Place] | None:
    """Return where a lesson's row stands by the published plan, if it says so."""
    planned = (
        PlannedLesson.objects.filter(
            lesson=lesson,
            plan__state=DayPlan.State.PUBLISHED,
            line__isnull=False,
            offset_cm__isnull=False,
        )
        .select_related("line__arena")
        .order_by("-plan__version", "pk")
        .first()
    )
    if planned is None or planned.line is None or planned.offset_cm is None:
        return None
    return planned.line, Place(planned.offset_cm, planned.mirrored)
