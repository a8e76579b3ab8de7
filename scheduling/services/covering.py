"""The ways in which lessons could be held that lack their instructor or arena."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from scheduling.matching.cover_problem import Cover, Covered, Teaches, Way
from scheduling.matching.cover_problem import CoverWeights as Weights
from scheduling.matching.problem import Term
from school.convert import room_for, units_of
from school.enums import Level, OutKind, Work
from school.models import Arena, Instructor, Lesson
from school.queries.daylight import daylight, needs_daylight
from school.queries.lessons import booked_rides, day_bounds
from school.queries.touched import CoverRows
from school.services.out import Out
from school.services.refusals import clock, hour

ORDER = list(Level.values)
RIDERS = 1_000_000_000
"""Added to a rider's key, so that it is no horse's."""
COARSE = timedelta(minutes=30)
Span = tuple[datetime, datetime]


@dataclass(slots=True)
class Free:
    """Who and what is held on a day, without the lessons that are settled anew."""

    rows: CoverRows
    out: Out
    now: datetime
    taken: dict[tuple[str, int], list[Span]] = field(default_factory=dict)
    says: dict[tuple[str, int, datetime], str] = field(default_factory=dict)

    def overlap(self, what: str, which: int, span: Span) -> Span | None:
        """Return the first holding that overlaps a time."""
        for held in self.taken.get((what, which), ()):
            if held[0] < span[1] and span[0] < held[1]:
                return held
        return None


def free_on(
    rows: CoverRows, out: Out, lessons: Iterable[Lesson], now: datetime
) -> Free:
    """Return what is held on a day but for some lessons, and with what is out."""
    but = {one.pk for one in lessons}
    titles = {one.pk: one.title for one in rows.lessons}
    free = Free(rows, out, now)
    _, end = day_bounds(rows.date, ZoneInfo(rows.school.zone))
    for one in rows.held:
        if one.lesson_id in but:
            continue
        span = (one.taken_from, one.taken_to or end + timedelta(days=1))
        key = (one.what, one.which)
        free.taken.setdefault(key, []).append(span)
        title = titles.get(one.lesson_id or 0)
        free.says[*key, span[0]] = f"is in {title}" if title else "is out"
    what = {OutKind.INSTRUCTOR: "person", OutKind.ARENA: "arena"}.get(
        OutKind(out.kind), "horse"
    )
    free.taken.setdefault((what, out.pk), []).append((out.first, out.last))
    free.says[what, out.pk, out.first] = "is out"
    return free


def cover_of(
    free: Free, lessons: Sequence[Lesson], *, barred: frozenset[tuple[int, object]]
) -> Cover:
    """Return the question which way each lesson is best held in.

    `barred` are ways that a rule was found to forbid, by lesson and key, or by lesson
    and start where nothing is held at that time.
    """
    but = {one.pk for one in lessons}
    rests = {
        ride.horse_id: ride.horse.rest_min * 60
        for lesson in [*free.rows.lessons, *lessons]
        for ride in booked_rides(lesson)
        if ride.horse is not None
    }
    covered = []
    for lesson in lessons:
        takes = {
            ride.horse_id: rests.get(ride.horse_id, 0)
            for ride in booked_rides(lesson)
            if ride.horse_id is not None
        }
        takes |= {RIDERS + ride.rider_id: 0 for ride in booked_rides(lesson)}
        ways = tuple(
            way
            for way in _ways(free, lesson)
            if not {(lesson.pk, way.key), (lesson.pk, way.from_s)} & barred
        )
        covered.append(Covered(lesson.pk, lesson.title, ways, takes))
    stays = tuple(
        Teaches(one.instructor_id, one.arena_id, s(one.starts_at), s(one.ends_at))
        for one in free.rows.lessons
        if one.pk not in but
    )
    return Cover(tuple(covered), stays)


def s(moment: datetime) -> int:
    """Return a moment in seconds, as ways have it."""
    return int(moment.timestamp())


def start_of(way: Way) -> datetime:
    """Return the moment at which a way begins."""
    return datetime.fromtimestamp(way.from_s, UTC)


def _ways(free: Free, lesson: Lesson) -> list[Way]:
    """Return every way to hold a lesson on its day."""
    teachers = list(free.rows.instructors)
    if free.out.kind == OutKind.ARENA:
        teachers = [one for one in teachers if one.pk == lesson.instructor_id]
    able = [one for one in teachers if not _unable(free, lesson, one)]
    roomy = [one for one in free.rows.arenas if not _no_room(free, lesson, one)]
    length, ways = lesson.ends_at - lesson.starts_at, []
    for starts_at in _starts(free, lesson):
        span = (starts_at, starts_at + length)
        if starts_at != lesson.starts_at and not _riders_free(free, lesson, span):
            continue
        arenas = [one for one in roomy if not _shut(free, one, span)]
        for teacher in able:
            if _away(free, teacher, span):
                continue
            for arena in arenas:
                terms = _terms(free, lesson, teacher, arena, starts_at)
                ways.append(Way(teacher.pk, arena.pk, s(span[0]), s(span[1]), terms))
    return ways


def _starts(free: Free, lesson: Lesson) -> list[datetime]:
    """Return when a lesson might begin on its day, its own time first."""
    zone = ZoneInfo(free.rows.school.zone)
    first, last = day_bounds(free.rows.date, zone)
    first = max(first, free.now)
    if lesson.window_from is not None and lesson.window_to is not None:
        first, last = max(first, lesson.window_from), min(last, lesson.window_to)
    step = timedelta(minutes=free.rows.school.start_every_min)
    if free.out.kind == OutKind.INSTRUCTOR:
        step = max(step, COARSE)
    starts = [lesson.starts_at]
    for way in (step, -step):
        other = lesson.starts_at + way
        while first <= other <= last:
            starts.append(other)
            other += way
    return starts


def _riders_free(free: Free, lesson: Lesson, span: Span) -> bool:
    for ride in booked_rides(lesson):
        if free.overlap("person", ride.rider_id, span):
            return False
        if ride.horse is None:
            continue
        rest = timedelta(minutes=ride.horse.rest_min)
        if free.overlap("horse", ride.horse.pk, (span[0] - rest, span[1] + rest)):
            return False
    return True


def _shut(free: Free, arena: Arena, span: Span) -> str:
    """Say why nothing is held in an arena at a time; empty where it can be."""
    zone = ZoneInfo(free.rows.school.zone)
    first, last = (one.astimezone(zone) for one in span)
    if (
        first.date() != last.date()
        or first.time() < arena.opens_at
        or last.time() > arena.closes_at
    ):
        return f"{arena} is not open then"
    if needs_daylight(arena):
        light = daylight(free.rows.school, free.rows.date)
        if light is not None and not (light.rises <= first and last <= light.sets):
            return f"it is dark in {arena} then"
    held = free.overlap("arena", arena.pk, span)
    if held is None:
        return ""
    says = free.says["arena", arena.pk, held[0]]
    says = {"is out": "is closed"}.get(says, says.replace("is in", "is taken by"))
    return f"{arena} {says} until {hour(held[1], zone)}"


def _away(free: Free, teacher: Instructor, span: Span) -> str:
    """Say why somebody can't teach at a time; empty where they can."""
    zone = ZoneInfo(free.rows.school.zone)
    name = teacher.person.first_name
    first, last = (one.astimezone(zone) for one in span)
    hours = list(teacher.hours.all())
    today = [one for one in hours if one.weekday == first.weekday()]
    if hours and not any(
        one.from_at <= first.time() and last.time() <= one.to_at for one in today
    ):
        return f"{name} does not teach then"
    held = free.overlap("person", teacher.pk, span)
    if held is None:
        return ""
    return f"{name} {free.says['person', teacher.pk, held[0]]} until " + (
        hour(held[1], zone) if held[1].astimezone(zone).date() == first.date()
        else clock(held[1], zone)
    )  # fmt: skip


def _unable(free: Free, lesson: Lesson, teacher: Instructor) -> str:
    """Say why somebody may not teach a lesson at any time; empty where they may."""
    name = teacher.person.first_name
    if lesson.places > teacher.group_limit:
        return f"{name} teaches up to {teacher.group_limit} riders"
    if teacher.pk == lesson.instructor_id:
        return ""
    ended = [one for one in teacher.papers.all() if one.expires_date < free.rows.date]
    if ended:
        day = ended[0].expires_date
        return f"{name}'s {ended[0].name} ended on {day.day} {day:%B %Y}"
    if lesson.work != Work.JUMPING:
        return ""
    highest = max((ORDER.index(r.rider.level) for r in booked_rides(lesson)), default=0)
    if highest > ORDER.index(teacher.level):
        return f"{name} teaches jumping up to {teacher.get_level_display().lower()}"
    fence = _fence_cm(lesson)
    if fence > teacher.highest_fence_cm:
        highest_fence = units_of(free.rows.school).height(teacher.highest_fence_cm)
        return f"{name} teaches fences up to {highest_fence}"
    return ""


def _fence_cm(lesson: Lesson) -> int:
    grid = getattr(lesson, "grid", None)
    if grid is None:
        return 0
    return max((one.get("height_cm", 0) for one in [*grid.start, *grid.end]), default=0)


def _no_room(free: Free, lesson: Lesson, arena: Arena) -> str:
    """Say that a lesson's grid finds no line in another arena; empty where it does."""
    grid = getattr(lesson, "grid", None)
    if grid is None or arena.pk == lesson.arena_id:
        return ""
    needs_cm = room_for(grid)
    longest_cm = max((one.length_cm for one in arena.lines.all()), default=0)
    if needs_cm <= longest_cm:
        return ""
    units = units_of(free.rows.school)
    has = f"its longest line has {units.length(longest_cm)}"
    return (
        f"{arena} has no room for the grid: it takes {units.length(needs_cm)} with "
        f"approach and run-out, {has if longest_cm else 'and no line is drawn there'}"
    )


def _terms(
    free: Free,
    lesson: Lesson,
    teacher: Instructor,
    arena: Arena,
    starts_at: datetime,
) -> tuple[Term, ...]:
    weights, terms = Weights(), []
    shift = abs(starts_at - lesson.starts_at)
    if shift:
        quarters = -(-shift // timedelta(minutes=15))
        points = weights.other_time + weights.per_15_min * quarters
        minutes = int(shift.total_seconds() // 60)
        later = "later" if starts_at > lesson.starts_at else "earlier"
        terms.append(Term("time", points, f"{minutes} min {later} than booked"))
    if arena.pk != lesson.arena_id:
        says = "another arena"
        if getattr(lesson, "grid", None) is not None:
            says += ", with a line long enough for the grid"
        terms.append(Term("arena", weights.other_arena, says))
    if teacher.pk != lesson.instructor_id:
        terms.append(Term("instructor", weights.other_teacher, "another instructor"))
        terms += _of_teacher(free, lesson, teacher)
    return tuple(terms)


def _of_teacher(free: Free, lesson: Lesson, teacher: Instructor) -> list[Term]:
    weights, rides = Weights(), booked_rides(lesson)
    strange = [
        ride.rider.person.first_name
        for ride in rides
        if (teacher.pk, ride.rider_id) not in free.rows.taught
    ]
    terms = []
    if rides and not strange:
        terms.append(Term("riders", 0, "has taught them all before"))
    elif strange:
        points = min(weights.strangers * len(strange), weights.strangers_most)
        terms.append(Term("riders", points, f"has not taught {_and(strange)} before"))
    highest = max((ORDER.index(one.rider.level) for one in rides), default=0)
    above = max(0, ORDER.index(teacher.level) - highest)
    if above:
        says = f"teaches up to {teacher.get_level_display().lower()}, needed elsewhere"
        terms.append(Term("level", weights.level_above * above, says))
    return terms


def _and(names: list[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def why_not(free: Free, lesson: Lesson) -> list[str]:
    """Say of each instructor, or arena, why the lesson can't be held at its time."""
    zone, agreed = ZoneInfo(free.rows.school.zone), ""
    if lesson.window_from is not None and lesson.window_to is not None:
        agreed = (
            f"As agreed it begins from {hour(lesson.window_from, zone)} to "
            f"{hour(lesson.window_to, zone)}"
        )
    span = (lesson.starts_at, lesson.ends_at)
    if free.out.kind == OutKind.ARENA:
        found = [
            _no_room(free, lesson, one) or _shut(free, one, span)
            for one in free.rows.arenas
        ]
    else:
        found = [
            _unable(free, lesson, one) or _away(free, one, span)
            for one in free.rows.instructors
        ]
    return [one for one in [*found, agreed] if one]


def days_of(lessons: Iterable[Lesson], zone: ZoneInfo) -> dict[date, list[Lesson]]:
    """Return lessons by their local day."""
    days: dict[date, list[Lesson]] = {}
    for one in lessons:
        days.setdefault(one.starts_at.astimezone(zone).date(), []).append(one)
    return days
