"""The day by arena, and the plan that orders it."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.models import DayPlan
from scheduling.queries import (
    changeovers_of_day,
    draft_of_day,
    kept_presses,
    photos_of_day,
    published_plan,
)
from scheduling.services.news import progress_words
from scheduling.services.plans import UnableToPublish, publish_plan
from scheduling.web.day_picture import draw_day
from school.models import Arena, ArenaClosure, School
from school.permissions import is_manager, is_staff_of_yard
from school.queries.horses import horse_loads
from school.queries.lessons import day_bounds, lessons_of_day
from school.queries.schools import the_school
from school.services.lessons import UnableToBook
from school.web.access import account_of, allowed


def read_day_or_404(text: str) -> date:
    """Read a day from an address."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise Http404 from error


@allowed(is_staff_of_yard)
def day_page(request: HttpRequest, day: str) -> HttpResponse:
    return _show(request, read_day_or_404(day))


def _show(request: HttpRequest, when: date, refusal: str = "") -> HttpResponse:
    school = the_school()
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(when, zone)
    arenas = list(Arena.objects.order_by("name"))
    lessons = lessons_of_day(when, zone)
    changeovers = changeovers_of_day(when)
    closures = list(
        ArenaClosure.objects.filter(closed_from__lt=last, closed_to__gt=first).order_by(
            "closed_from", "pk"
        )
    )
    rows: list[tuple[object, str, object, str]] = [
        (one.starts_at, "lesson", one, "") for one in lessons
    ]
    rows += [(one.starts_at, "reset", one, progress_words(one)) for one in changeovers]
    photos = photos_of_day(when)
    published, draft = published_plan(when), draft_of_day(when)
    context = {
        "day": when,
        "before": when - timedelta(days=1),
        "after": when + timedelta(days=1),
        "kept": kept_presses(when),
        "troubled": [
            (one, photos.get((one.line_id, one.lesson_id), ()))
            for one in changeovers
            if one.note
        ],
        "picture": draw_day(when, zone, arenas, lessons, changeovers, closures),
        "rows": sorted(rows, key=lambda row: (str(row[0]), row[1] == "lesson")),
        "closures": closures,
        "published": published,
        "draft": draft,
        "draft_min": _minutes(draft.reset_s) if draft else None,
        "saved": _saved(published),
        "minutes_by": _minutes_by(published, school),
        "loads": [
            one
            for one in horse_loads(when, zone, tacked_min=school.tacked_up_min)
            if one.lessons
        ],
        "manager": is_manager(account_of(request)),
        "refusal": refusal,
    }
    return render(
        request, "scheduling/day.html", context, status=409 if refusal else 200
    )


def _minutes(seconds: int) -> int:
    """Round up, as every list of resets does."""
    return -(-seconds // 60)


def _minutes_by(plan: DayPlan | None, school: School) -> str:
    """Say whose handling times a plan reckons with."""
    handling = plan.document.get("handling", {}) if plan else {}
    if not handling:
        return "the usual estimates"
    if handling != school.handling:
        return "the times in use when it was made"
    if school.handling_changeovers:
        return (
            f"this yard's own times, learned from {school.handling_changeovers} "
            "changeovers"
        )
    return "the times the school has set"


def _saved(plan: DayPlan | None) -> dict[str, int | None]:
    """Say in minutes what a plan needs, what the booked order did, and between."""
    if plan is None:
        return {}
    planned, booked = _minutes(plan.reset_s), None
    if plan.as_booked_reset_s is not None:
        booked = _minutes(plan.as_booked_reset_s)
    saved = None if booked is None else booked - planned
    return {"planned": planned, "booked": booked, "saved": saved}


@require_POST
@allowed(is_manager)
def publish(request: HttpRequest, pk: int) -> HttpResponse:
    plan = DayPlan.objects.filter(pk=pk).first()
    if plan is None:
        raise Http404
    try:
        publish_plan(plan=plan, by=account_of(request), now=timezone.now())
    except (UnableToPublish, UnableToBook) as error:
        return _show(request, plan.date, error.says)
    messages.success(request, "The plan is published; whose lesson moved is told.")
    return redirect("day", day=plan.date.isoformat())
