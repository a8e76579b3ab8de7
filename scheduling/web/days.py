"""The day by arena, and the plan that orders it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.convert.changeovers import who_words
from scheduling.convert.fetching import fetched_before
from scheduling.models import Changeover, DayPlan
from scheduling.queries.changeovers import changeovers_between, changeovers_of_day
from scheduling.queries.plans import draft_of_day, published_plan
from scheduling.queries.presses import kept_presses, photos_of_day
from scheduling.services.news import progress_words
from scheduling.services.plans import UnableToPublish, publish_plan
from scheduling.web.board_picture import (
    Column,
    Scale,
    Teacher,
    draw_board,
    draw_teachers,
    hours_shown,
)
from school.models import (
    Arena,
    ArenaClosure,
    Instructor,
    InstructorAbsence,
    InstructorHours,
    Lesson,
    School,
    YardWork,
)
from school.permissions import is_manager, is_staff_of_yard
from school.queries.closures import closures_between
from school.queries.daylight import (
    Daylight,
    daylight,
    light_words,
    needs_daylight,
)
from school.queries.horses import HorseLoad, horse_loads
from school.queries.lessons import day_bounds, lessons_between, lessons_of_day
from school.queries.schools import the_school
from school.queries.store import store_by_place
from school.queries.touched import absences_between
from school.queries.windows import without_a_time
from school.queries.yard import yard_work_of_day
from school.services.lessons import UnableToBook
from school.services.welfare import Told, told_of_horses
from school.web.access import account_of, allowed
from school.web.undoing import undo_offered


def read_day_or_404(text: str) -> date:
    """Read a day from an address; a year no calendar is asked for is none."""
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise Http404 from error
    if not 1900 <= day.year < 2200:
        raise Http404
    return day


@allowed(is_staff_of_yard)
def day_page(request: HttpRequest, day: str) -> HttpResponse:
    return _show(request, read_day_or_404(day))


def _in_order(
    lessons: Sequence[Lesson], changeovers: Sequence[Changeover]
) -> list[tuple[datetime, str, Lesson | Changeover, list[str]]]:
    """Return what happens by its start; what is changed stands before the lesson."""
    rows: list[tuple[datetime, str, Lesson | Changeover, list[str]]] = [
        (one.starts_at, "lesson", one, []) for one in lessons
    ]
    fetched = fetched_before(changeovers, store_by_place())
    for one in changeovers:
        fetch = f"Fetch {fetched[one.pk]}" if one.pk in fetched else ""
        said = [words for words in (progress_words(one), fetch) if words]
        rows.append((one.starts_at, "reset", one, said))
    return sorted(rows, key=lambda row: (row[0], row[1] == "lesson"))


def _show(request: HttpRequest, when: date, refusal: str = "") -> HttpResponse:
    # Read before the rows, so that what is written meanwhile is told of.
    now = timezone.now()
    school = the_school()
    zone = ZoneInfo(school.zone)
    arenas = list(Arena.objects.order_by("name"))
    lessons = lessons_of_day(when, zone)
    changeovers = changeovers_of_day(when)
    during = closures_between(*day_bounds(when, zone))
    closures = list(during.select_related("arena"))
    photos, works = photos_of_day(when), yard_work_of_day(when)
    published, draft = published_plan(when), draft_of_day(when)
    manager = is_manager(account_of(request))
    lights = {when: daylight(school, when)}
    columns = columns_of([when], arenas, lessons, changeovers, closures, zone, lights)
    scale = Scale(*hours_shown(columns, zone))
    context = {
        "day": when,
        "before": when - timedelta(days=1),
        "after": when + timedelta(days=1),
        "kept": kept_presses(when),
        "troubled": [
            (one, photos.get(one.work, ())) for one in changeovers if one.note
        ],
        "ground_troubled": [
            (one, photos.get(("work", one.pk), ())) for one in works if one.note
        ],
        "unmanned": _unmanned([*changeovers, *works], zone) if manager else [],
        "picture": draw_board(
            columns, zone, scale, title=f"The day {when.isoformat()}", manager=manager
        ),
        "teachers": draw_teachers(_teachers(when, lessons, zone), when, zone, scale),
        "undo": undo_offered(account_of(request), now) if manager else None,
        "untimed": without_a_time(school, now) if manager else [],
        "rows": _in_order(lessons, changeovers),
        "closures": closures,
        "dusk": _dusk(lights[when], lessons, changeovers),
        "published": published,
        "draft": draft,
        "draft_min": _minutes(draft.reset_s) if draft else None,
        "saved": _saved(published),
        "minutes_by": _minutes_by(published, school),
        "carried_by": _carried_by(school, arenas),
        "loads": _loads(when, zone, school),
        "manager": manager,
        "me": account_of(request).person_id,
        "now": now,
        "opened": now.isoformat(),
        "refusal": refusal,
    }
    return render(
        request, "scheduling/day.html", context, status=409 if refusal else 200
    )


def _loads(
    day: date, zone: ZoneInfo, school: School
) -> list[tuple[HorseLoad, list[Told], bool]]:
    """Return the work of each horse that goes, what it breaks, and if a limit is."""
    loads = horse_loads(day, zone, tacked_min=school.tacked_up_min)
    goes = [one for one in loads if one.lessons]
    told = told_of_horses(day, [one.horse for one in goes])
    return [
        (one, its, any(hit.hit.refuses for hit in its))
        for one, its in ((one, told[one.horse.pk]) for one in goes)
    ]


def _unmanned(work: list[Changeover | YardWork], zone: ZoneInfo) -> list[str]:
    """Say what lies outside the hours of who does it, or of everybody."""
    said = []
    for one in sorted(work, key=lambda one: one.starts_at):
        off = isinstance(one, YardWork) and one.called_off_at is not None
        who = who_words(one, zone)
        inside = one.who is not None and who == one.who.person.first_name
        if off or inside or one.done_at is not None:
            continue
        what = one.what if isinstance(one, YardWork) else one.heading
        said.append(f"{one.starts_at.astimezone(zone):%H:%M} {what}: {who}")
    return said


def _dusk(
    light: Daylight | None, lessons: list[Lesson], changeovers: list[Changeover]
) -> list[tuple[str, str]]:
    """Return what falls into the dark or the last light, each with the words for it."""
    said = [
        (one.title, light_words(light, one.arena, one.starts_at, one.ends_at))
        for one in lessons
    ]
    said += [
        (
            one.heading,
            light_words(light, one.line.arena, one.starts_at, one.ends_at),
        )
        for one in changeovers
        if one.done_at is None
    ]
    return [(what, words) for what, words in said if words]


def columns_of(
    days: list[date],
    arenas: list[Arena],
    lessons: list[Lesson],
    changeovers: list[Changeover],
    closures: list[ArenaClosure],
    zone: ZoneInfo,
    lights: Mapping[date, Daylight | None],
) -> list[Column]:
    """Return every arena on every day, in order, with what is in it."""

    def on(one: Lesson | Changeover, day: date) -> bool:
        return one.starts_at.astimezone(zone).date() == day

    columns = []
    for day in days:
        first, last = day_bounds(day, zone)
        columns += [
            Column(
                day,
                arena,
                [x for x in lessons if x.arena_id == arena.pk and on(x, day)],
                [x for x in changeovers if x.line.arena_id == arena.pk and on(x, day)],
                [
                    x
                    for x in closures
                    if x.arena_id == arena.pk
                    and x.closed_from < last
                    and x.closed_to > first
                ],
                lights.get(day) if needs_daylight(arena) else None,
            )
            for arena in arenas
        ]
    return columns


def _teachers(day: date, lessons: list[Lesson], zone: ZoneInfo) -> list[Teacher]:
    """Return who teaches, could teach or is out on a day, in three queries."""
    absences: dict[int, list[InstructorAbsence]] = {}
    for out in absences_between(*day_bounds(day, zone)):
        absences.setdefault(out.instructor_id, []).append(out)
    hours: dict[int, list[InstructorHours]] = {}
    for one in InstructorHours.objects.order_by("from_at", "pk"):
        hours.setdefault(one.instructor_id, []).append(one)
    teachers = []
    for teacher in Instructor.objects.select_related("person").order_by(
        "person__first_name", "pk"
    ):
        its = [one for one in lessons if one.instructor_id == teacher.pk]
        known = hours.get(teacher.pk, [])
        today = [one for one in known if one.weekday == day.weekday()]
        out_then = absences.get(teacher.pk, [])
        if its or today or out_then:
            name = teacher.person.first_name
            teachers.append(Teacher(name, today, its, out_then))
    return teachers


WEEK = Scale(8, 20, minute=0.8, column=78, fine=False)


@allowed(is_staff_of_yard)
def week_page(request: HttpRequest, day: str) -> HttpResponse:
    """Show seven days from a Monday, each with all arenas."""
    asked, manager = read_day_or_404(day), is_manager(account_of(request))
    days = week_of(asked)
    monday = days[0]
    school = the_school()
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(days[0], zone)[0], day_bounds(days[-1], zone)[1]
    arenas = list(Arena.objects.order_by("name"))
    lessons = lessons_between(first, last)
    changeovers = changeovers_between(days[0], days[-1])
    closures = list(closures_between(first, last).select_related("arena"))
    lights = {one: daylight(school, one) for one in days}
    columns = columns_of(days, arenas, lessons, changeovers, closures, zone, lights)
    first_hour, last_hour = hours_shown(columns, zone)
    scale = replace(WEEK, first_hour=first_hour, last_hour=last_hour)
    context = {
        "days": [_day_in_words(one, lessons, changeovers, zone) for one in days],
        "monday": monday,
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "picture": draw_board(
            columns,
            zone,
            scale,
            title=f"The week of {monday.isoformat()}",
            manager=manager,
        ),
        "closures": closures,
        "manager": manager,
        "undo": undo_offered(account_of(request), timezone.now()) if manager else None,
        "since": timezone.now().isoformat(),
    }
    return render(request, "scheduling/week.html", context)


def week_of(day: date) -> list[date]:
    """Return the days of the week that a day is in, from its Monday."""
    monday = day - timedelta(days=day.weekday())
    return [monday + timedelta(days=n) for n in range(7)]


def _day_in_words(
    day: date, lessons: list[Lesson], changeovers: list[Changeover], zone: ZoneInfo
) -> dict[str, object]:
    """Return a day's lessons and the minutes of its changeovers, rounded up once."""
    seconds = sum(one.seconds for one in changeovers if one.plan.date == day)
    its = [one for one in lessons if one.starts_at.astimezone(zone).date() == day]
    return {"day": day, "lessons": its, "reset_min": _minutes(seconds)}


def _minutes(seconds: int) -> int:
    """Round up, as every list of resets does."""
    return -(-seconds // 60)


def _carried_by(school: School, arenas: list[Arena]) -> str:
    """Say by whose settings the reset list is walked."""
    usual = "the usual figure" if school.carries_kg == 16 else "set by the school"
    placed = [one.name for one in arenas if one.store_along_cm is not None]
    store = "10 m beside the tape's end, the usual estimate"
    if placed:
        store = "where the school says"
    if placed and len(placed) < len(arenas):
        store += f" for {', '.join(placed)}, else 10 m beside the tape's end"
    return f"{school.carries_kg} kg a person ({usual}), the store {store}"


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
