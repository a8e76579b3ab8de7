"""What is asked of plans, changeovers and the rows a day is planned from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import F, Prefetch, QuerySet

from exercises.geometry.data import as_planned
from exercises.geometry.elements import Piece
from scheduling.changeover.setups import Place
from scheduling.dayplan.leaving import found_by, left_by
from scheduling.models import (
    Changeover,
    ChangeoverMove,
    DayPlan,
    PlannedLesson,
    PlanRun,
    Press,
    Standing,
)
from school.enums import HOLDING_STATES, LessonState
from school.models import (
    Arena,
    ArenaClosure,
    Groundsperson,
    Horse,
    HorseState,
    InstructorAbsence,
    InstructorHours,
    Lesson,
    LessonGrid,
    Line,
    School,
    StorePiece,
    WelfareOverride,
)
from school.queries.lessons import day_bounds, lessons_with_all
from school.queries.schools import the_school
from school.queries.touched import absences_between

Elements = list[dict[str, Any]]

Left = dict[int, tuple[datetime, Elements]]
"""What a plan leaves on the lines it uses, and since when."""

LONGEST_LEFT = timedelta(days=60)
"""A plan older than this no longer says what stands."""


@dataclass(frozen=True, slots=True)
class DayRows:
    """Everything a day is planned from, as rows."""

    date: date
    school: School
    arenas: Sequence[Arena]
    lines: Sequence[Line]
    standing: Mapping[int, Elements]
    closures: Sequence[ArenaClosure]
    lessons: Sequence[Lesson]
    horses: Sequence[Horse]
    horse_states: Sequence[HorseState]
    instructor_hours: Sequence[InstructorHours]
    absences: Sequence[InstructorAbsence]
    groundspeople: Sequence[Groundsperson]
    store: Sequence[StorePiece]
    overrides: Sequence[WelfareOverride] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The school's time zone."""
        return ZoneInfo(self.school.zone)


def day_rows(day: date) -> DayRows:
    """Return the rows of a local day, in a constant number of queries."""
    return rows_of_days([day])[day]


def rows_of_days(
    days: Sequence[date], lessons: Sequence[Lesson] | None = None
) -> dict[date, DayRows]:
    """Return the rows of each of some local days, in as many queries as of one.

    `lessons` are those of all the days with their booked rides, where fetched.
    """
    school = the_school()
    zone = ZoneInfo(school.zone)
    first, last = day_bounds(min(days), zone)[0], day_bounds(max(days), zone)[1]
    common: dict[str, Any] = {
        "school": school,
        "arenas": list(Arena.objects.order_by("name", "pk")),
        "lines": list(Line.objects.order_by("arena_id", "name", "pk")),
        "horses": list(Horse.objects.order_by("pk")),
        "instructor_hours": list(InstructorHours.objects.order_by("from_at", "pk")),
        "groundspeople": list(
            Groundsperson.objects.select_related("person").order_by("works_from", "pk")
        ),
        "store": list(StorePiece.objects.order_by("piece", "place")),
    }
    standing = standing_before_each(days)
    closures = ArenaClosure.objects.filter(closed_from__lt=last, closed_to__gt=first)
    states = HorseState.objects.filter(state_from__lt=last).exclude(state_to__lte=first)
    overrides = WelfareOverride.objects.filter(
        lesson__starts_at__gte=first, lesson__starts_at__lt=last
    )
    shut = list(closures.order_by("closed_from", "pk"))
    off = list(states.order_by("state_from", "pk"))
    absences = absences_between(first, last)
    overruled = list(overrides.select_related("lesson").order_by("pk"))
    booked = lessons_with_all().filter(
        state__in=HOLDING_STATES, starts_at__gte=first, starts_at__lt=last
    )
    on: dict[date, list[Lesson]] = {}
    for lesson in booked if lessons is None else lessons:
        on.setdefault(lesson.starts_at.astimezone(zone).date(), []).append(lesson)
    found = {}
    for day in days:
        begins, ends = day_bounds(day, zone)
        found[day] = DayRows(
            date=day,
            lessons=on.get(day, []),
            standing=standing[day],
            closures=[x for x in shut if x.closed_from < ends and x.closed_to > begins],
            horse_states=[
                one
                for one in off
                if one.state_from < ends
                and (one.state_to is None or one.state_to > begins)
            ],
            absences=[
                x for x in absences if x.absent_from < ends and x.absent_to > begins
            ],
            overrides=[x for x in overruled if begins <= x.lesson.starts_at < ends],
            **common,
        )
    return found


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


def run_under_way(day: date, kind: str) -> PlanRun | None:
    """Return the run of a kind that waits or is at work for a day."""
    states = [PlanRun.State.QUEUED, PlanRun.State.RUNNING]
    return PlanRun.objects.filter(date=day, kind=kind, state__in=states).first()


def latest_runs(day: date) -> dict[str, PlanRun]:
    """Return the newest run of each kind of a day."""
    runs = PlanRun.objects.filter(date=day).order_by("asked_at", "pk")
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


def changeovers_with_all() -> QuerySet[Changeover]:
    """Return changeovers that still stand, in order, with all a list shows."""
    return (
        _all_changeovers()
        .exclude(lesson__state=LessonState.CANCELLED)
        .exclude(before_work__called_off_at__isnull=False)
    )


def _all_changeovers() -> QuerySet[Changeover]:
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
    return list(_all_changeovers().filter(plan=plan))


def changeover_even_cancelled(pk: int) -> Changeover | None:
    """Return one changeover of whatever plan and lesson."""
    return _all_changeovers().filter(pk=pk).first()


def former_plan(plan: DayPlan) -> DayPlan | None:
    """Return the plan that was published for the day before this one was."""
    return (
        DayPlan.objects.filter(date=plan.date, published_at__lt=plan.published_at)
        .order_by("-published_at", "-version")
        .first()
        if plan.published_at
        else None
    )


def lessons_in_arenas(day: date) -> list[Lesson]:
    """Return the lessons that are ridden on a day, in order."""
    first, last = day_bounds(day, ZoneInfo(the_school().zone))
    return list(
        Lesson.objects.filter(
            state__in=HOLDING_STATES, starts_at__lt=last, ends_at__gt=first
        )
        .select_related("instructor__person", "arena")
        .order_by("starts_at", "pk")
    )


def ridden_at(arena: int, moment: datetime) -> Lesson | None:
    """Return the lesson that an arena is booked for at a moment."""
    return (
        Lesson.objects.filter(
            arena=arena,
            state__in=HOLDING_STATES,
            starts_at__lte=moment,
            ends_at__gt=moment,
        )
        .select_related("instructor__person", "arena")
        .first()
    )


def kept_presses(day: date) -> list[Press]:
    """Return what was pressed on a day's list and could not be done any more."""
    return list(
        Press.objects.filter(date=day, outcome=Press.Outcome.KEPT)
        .select_related(
            "by__person", "changeover__lesson", "changeover__before_work", "work__arena"
        )
        .order_by("pressed_at", "pk")
    )


def photos_of_day(day: date) -> dict[tuple[Any, Any], list[Press]]:
    """Return the photos of a day's trouble, by what they are of.

    Of a changeover its work; of work of the ground "work" and its key.
    """
    found: dict[tuple[Any, Any], list[Press]] = {}
    photos = Press.objects.filter(date=day, does=Press.Does.PHOTO).select_related(
        "changeover", "by__person"
    )
    for one in photos.order_by("pressed_at", "pk"):
        of = one.changeover
        key = of.work if of else ("work", one.work_id)
        found.setdefault(key, []).append(one)
    return found


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


def changeover_with_all(pk: int) -> Changeover | None:
    """Return one changeover with everything its page shows."""
    return changeovers_with_all().filter(pk=pk).first()


def timed_changeovers(most: int = 400) -> list[Changeover]:
    """Return the latest changeovers that were started and done, newest first."""
    return list(
        Changeover.objects.filter(started_at__lt=F("done_at"))
        .select_related("who__person")
        .prefetch_related(
            Prefetch("moves", queryset=ChangeoverMove.objects.order_by("position"))
        )
        .order_by("-done_at", "-pk")[:most]
    )


def standing_before(day: date) -> dict[int, Elements]:
    """Return what stands on each line before a day's work, by line."""
    return standing_before_each([day])[day]


def standing_before_each(days: Sequence[date]) -> dict[date, dict[int, Elements]]:
    """Return what stands on each line before each day's work, in four queries.

    What was last seen counts, or what a plan published for a day since then
    leaves. A plan published for the day itself keeps what it was made from,
    unless somebody has corrected it since: its own work changes nothing.
    """
    zone = ZoneInfo(the_school().zone)
    seen = {one.line_id: one for one in Standing.objects.order_by("line_id")}
    plans = (
        DayPlan.objects.filter(
            date__gte=min(days) - LONGEST_LEFT,
            date__lte=max(days),
            state=DayPlan.State.PUBLISHED,
        )
        .prefetch_related(
            Prefetch(
                "changeovers",
                Changeover.objects.filter(purpose=Changeover.Purpose.EVENING),
            )
        )
        .order_by("date", "pk")
    )
    last = max(days)
    published = [
        (plan, _left_by(plan, zone) if plan.date < last else {}) for plan in plans
    ]
    return {day: _standing(day, seen, published) for day in days}


def _left_by(plan: DayPlan, zone: ZoneInfo) -> Left:
    """Return what a plan leaves on its lines, its evening strips done, since when."""
    left: Left = {
        key_of(line): (_moment(plan.date, clock, zone), elements)
        for line, (clock, elements) in left_by(plan.document, plan.plan).items()
    }
    return left | {one.line_id: (one.ends_at, []) for one in plan.changeovers.all()}


def _standing(
    day: date,
    seen: Mapping[int, Standing],
    published: Sequence[tuple[DayPlan, Left]],
) -> dict[int, Elements]:
    standing = {line: list(one.elements) for line, one in seen.items()}
    for plan, left in published:
        if day - LONGEST_LEFT <= plan.date < day:
            standing |= {
                line: elements
                for line, (since, elements) in left.items()
                if line not in seen or seen[line].as_of_at < since
            }
        elif plan.date == day:
            corrected = {
                line
                for line, one in seen.items()
                if one.corrected_by_id is not None and one.as_of_at > plan.made_at
            }
            standing |= {
                key_of(line): elements
                for line, elements in found_by(plan.document).items()
                if key_of(line) not in corrected
            }
    return standing


def _moment(day: date, clock: str, zone: ZoneInfo) -> datetime:
    first, _ = day_bounds(day, zone)
    hours, minutes = int(clock[:2]), int(clock[3:])
    return first.replace(hour=min(hours, 23), minute=minutes if hours < 24 else 59)


def key_of(day_id: str) -> int:
    """Return the primary key in an id of the day file, `line-7` say."""
    return int(day_id.rpartition("-")[2])


def changeovers_for(lesson: Lesson) -> list[Changeover]:
    """Return what is to be changed before a lesson, by the published plan."""
    return list(
        _all_changeovers().filter(lesson=lesson, plan__state=DayPlan.State.PUBLISHED)
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


def photos_for(lesson: Lesson) -> list[Press]:
    """Return the photos of trouble before a lesson, of whichever plan."""
    photos = Press.objects.filter(does=Press.Does.PHOTO, changeover__lesson=lesson)
    return list(photos.order_by("pressed_at", "pk"))


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


def lines_with_standing() -> list[Line]:
    """Return every line with what stands on it, by arena; one query."""
    return list(
        Line.objects.select_related("arena", "standing").order_by(
            "arena__name", "name", "pk"
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


@dataclass(frozen=True, slots=True)
class Carrying:
    """How a yard carries: what pieces weigh [g], what one carries, who helps."""

    weights_g: Mapping[Piece, int]
    carries_kg: int = 16
    helpers: int = 1


def carrying_of_yard(school: School) -> Carrying:
    """Return how the yard carries, as it is set; one query."""
    return Carrying(piece_weights(), school.carries_kg, school.helpers)


def piece_weights() -> dict[Piece, int]:
    """Return what a piece of each kind weighs, the heaviest counting [g]."""
    found: dict[Piece, int] = {}
    for one in StorePiece.objects.order_by("piece", "place"):
        piece = Piece(one.piece)
        found[piece] = max(found.get(piece, 0), one.weight_g)
    return found
