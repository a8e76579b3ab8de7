"""The changeovers of days, lessons, lines and people."""

from datetime import date, datetime

from django.db.models import F, Prefetch, QuerySet

from scheduling.models import Changeover, ChangeoverMove, DayPlan
from school.enums import LessonState
from school.models import Groundsperson, Lesson, Line


def changeovers_with_all() -> QuerySet[Changeover]:
    """Return changeovers that still stand, in order, with all a list shows."""
    return (
        all_changeovers()
        .exclude(lesson__state=LessonState.CANCELLED)
        .exclude(before_work__called_off_at__isnull=False)
    )


def all_changeovers() -> QuerySet[Changeover]:
    """Return changeovers, those called off too, in order, with all a list shows."""
    return (
        Changeover.objects.select_related(
            "lesson__instructor__person",
            "lesson__state_by__person",
            "lesson__grid__revision__exercise",
            "after_lesson",
            "line__arena",
            "before_work__arena",
            "who__person",
            "plan",
        )
        .prefetch_related(
            Prefetch("moves", queryset=ChangeoverMove.objects.order_by("position"))
        )
        .order_by("starts_at", "line_id", "pk")
    )


def changeovers_of_day(day: date) -> list[Changeover]:
    """Return the reset list: the changeovers of a day's published plan, in order."""
    return list(
        changeovers_with_all().filter(
            plan__date=day, plan__state=DayPlan.State.PUBLISHED
        )
    )


def changeovers_of_plan(plan: DayPlan) -> list[Changeover]:
    """Return all changeovers of a plan, those for cancelled lessons too, in order."""
    return list(all_changeovers().filter(plan=plan))


def changeover_even_cancelled(pk: int) -> Changeover | None:
    """Return one changeover of whatever plan and lesson."""
    return all_changeovers().filter(pk=pk).first()


def changeover_with_all(pk: int) -> Changeover | None:
    """Return one changeover with everything its page shows."""
    return changeovers_with_all().filter(pk=pk).first()


def changeovers_between(first: date, last: date) -> list[Changeover]:
    """Return the changeovers of the published plans of some days, in order."""
    return list(
        changeovers_with_all().filter(
            plan__date__gte=first,
            plan__date__lte=last,
            plan__state=DayPlan.State.PUBLISHED,
        )
    )


def changeovers_of_groundsperson(
    groundsperson: Groundsperson, first: datetime, last: datetime
) -> list[Changeover]:
    """Return a groundsperson's published changeovers, from one moment to another."""
    return list(
        changeovers_with_all().filter(
            plan__state=DayPlan.State.PUBLISHED,
            who=groundsperson,
            starts_at__gte=first,
            starts_at__lt=last,
        )
    )


def changeovers_left_on(line: Line, day: date) -> list[Changeover]:
    """Return the changeovers of a line that are still to be done on a day."""
    return list(
        changeovers_with_all().filter(
            plan__date=day,
            plan__state=DayPlan.State.PUBLISHED,
            line=line,
            done_at=None,
        )
    )


def changeovers_for(lesson: Lesson) -> list[Changeover]:
    """Return what is to be changed before a lesson, by the published plan."""
    return list(
        all_changeovers().filter(lesson=lesson, plan__state=DayPlan.State.PUBLISHED)
    )


def trouble_at(lesson: Lesson) -> list[str]:
    """Return what the groundsperson said went otherwise before a lesson."""
    notes = Changeover.objects.filter(
        lesson=lesson, plan__state=DayPlan.State.PUBLISHED
    ).order_by("starts_at", "pk")
    return [
        line
        for note in notes.values_list("note", flat=True)
        for line in note.splitlines()
    ]


def timed_changeovers(most: int = 400) -> list[Changeover]:
    """Return the latest changeovers that were started and done, newest first."""
    return list(
        Changeover.objects.filter(started_at__lt=F("done_at"))
        .select_related("who__person", "plan")
        .defer("plan__document", "plan__plan")
        .prefetch_related(
            Prefetch("moves", queryset=ChangeoverMove.objects.order_by("position"))
        )
        .order_by("-done_at", "-pk")[:most]
    )
