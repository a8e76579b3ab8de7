"""Turns the rows of a day into the day file, exactly as the contract has it.

Where the contract has no word for something, it is said with what there is. A
closed arena is a fixed entry in it without horses, whose id begins with
`closure`. An arena that opens later or closes earlier than the others gets one
beginning with `hours`, all of it open to changeovers; one without lights gets one
beginning with `dark`, and where somebody works before the arenas open and it is
dark then, the day opens with their work. A harrow is a closure that `needs_clear`,
so that what stands is stripped before it and what comes after is built again; the
day opens earlier, or closes later, where one lies outside the hours of lessons. A
lesson's window ends where a horse's state, an instructor's hours or absence forbid
it.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from exercises.geometry.data import as_planned
from scheduling.changeover.alike import Listed
from scheduling.changeover.loads import Crew, Ground
from scheduling.changeover.stopwatch import Stretch, Tick, stretches
from scheduling.changeover.walking import Walk, walk
from scheduling.changeover.work import Step
from scheduling.dayplan.day import minutes_at
from scheduling.dayplan.document import placed_from_data
from scheduling.models import Changeover, ChangeoverMove
from scheduling.queries import Carrying, DayRows
from school.models import Arena, Groundsperson, Horse, Lesson, Line
from school.queries.daylight import daylight, needs_daylight

Data = dict[str, Any]
Minutes = tuple[int, int]

LESSON = "lesson-"
DAY_MIN = 24 * 60


def day_document(rows: DayRows) -> Data:
    """Return the day file of a day's rows."""
    opens, closes = _hours(rows)
    crew = _crew(rows.groundspeople, rows.school.helpers)
    if (begins := _dark_work_from(rows, crew, opens)) is not None:
        crew = {"crew_from": _clock(begins), "crew_to": _clock(closes), **crew}
        opens = begins
    school = rows.school
    return {
        "version": 1,
        "date": rows.date.isoformat(),
        "zone": school.zone,
        "opens": _clock(opens),
        "closes": _clock(closes),
        "start_every_min": school.start_every_min,
        "place_every_cm": school.place_every_cm,
        **crew,
        "handling": dict(school.handling),
        "stock": _stock(rows),
        "weights": {
            "moved_start_s": school.moved_start_s,
            "moved_arena_s": school.moved_arena_s,
        },
        "arenas": [_arena(rows, one) for one in rows.arenas],
        "horses": [_horse(rows, one) for one in rows.horses],
        "lessons": [
            *(_lesson(rows, one) for one in rows.lessons),
            *_blockers(rows, opens, closes),
        ],
    }


def _hours(rows: DayRows) -> Minutes:
    """Return from when to when the day runs: the lessons' hours, and every harrow."""
    opens = [_minutes(one.opens_at) for one in rows.arenas] or [8 * 60]
    closes = [_minutes(one.closes_at) for one in rows.arenas] or [20 * 60]
    clear = [one for one in rows.closures if one.needs_clear]
    opens += [_local(rows, one.closed_from) for one in clear]
    closes += [_local(rows, one.closed_to) for one in clear]
    return min(opens), max(closes)


def fingerprint(document: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a day file, whatever the order of its keys."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def is_lesson(day_id: str) -> bool:
    """Say whether an id of the day file is a lesson's, and no closure's."""
    return day_id.startswith(LESSON)


def minute_of(rows: DayRows, at: datetime) -> int:
    """Return a moment as minutes of the day by the wall clock, within the day."""
    return _local(rows, at)


def minute_of_clock(clock: str) -> int:
    """Return a clock time of the plan file, "09:30" say, as minutes of the day."""
    return int(clock[:2]) * 60 + int(clock[3:5])


def moment(rows: DayRows, clock: str) -> datetime:
    """Return the aware moment of a clock time of the plan file."""
    return moment_of(rows.date, rows.zone, clock)


def moment_at(rows: DayRows, minute: int) -> datetime:
    """Return the aware moment of a minute of the day by the wall clock."""
    return moment(rows, _clock(minute))


def moment_of(day: date, zone: ZoneInfo, clock: str) -> datetime:
    """Return the aware moment of a day file's clock time, `25:00` on the next day."""
    hours, minutes = int(clock[:2]), int(clock[3:])
    day += timedelta(days=hours // 24)
    return datetime.combine(day, time(hours % 24, minutes), tzinfo=zone)


def _minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _local(rows: DayRows, at: datetime) -> int:
    """Return a moment as minutes of the day by the wall clock, within the day."""
    local = at.astimezone(rows.zone)
    if local.date() < rows.date:
        return 0
    if local.date() > rows.date:
        return DAY_MIN
    return _minutes(local.time())


def _horse(rows: DayRows, horse: Horse) -> Data:
    """Return a horse's limits; what was overruled for the day is its limit then."""
    overruled = {
        one.rule: int(one.figure) for one in rows.overrides if one.horse_id == horse.pk
    }
    return {
        "id": f"horse-{horse.pk}",
        "rest_min": max(0, min(horse.rest_min, overruled.get("rest", horse.rest_min))),
        "max_lessons": max(horse.max_lessons, overruled.get("lessons-day", 0)),
        "max_minutes": max(horse.max_minutes, overruled.get("minutes-day", 0)),
    }


def _crew(people: Iterable[Groundsperson], helpers: int) -> Data:
    """Say how many changeovers may run at once, and when.

    Those who do not work alone count as half, or less where more usually help. With
    differing hours only those count in which all are there; where there are none, one
    person's.
    """
    known = list(people)
    if not known:
        return {"crew": 1}
    singles = sum(one.alone for one in known)
    crew = max(1, singles + (len(known) - singles) // (1 + helpers))
    first = max(_minutes(one.works_from) for one in known)
    last = min(_minutes(one.works_to) for one in known)
    if first >= last:
        longest = max(
            known, key=lambda one: _minutes(one.works_to) - _minutes(one.works_from)
        )
        crew, first = 1, _minutes(longest.works_from)
        last = _minutes(longest.works_to)
    return {"crew": crew, "crew_from": _clock(first), "crew_to": _clock(last)}


def _stock(rows: DayRows) -> dict[str, int]:
    stock: dict[str, int] = {}
    for one in rows.store:
        stock[one.piece] = stock.get(one.piece, 0) + one.working
    return stock


def _arena(rows: DayRows, arena: Arena) -> Data:
    return {
        "id": f"arena-{arena.pk}",
        "length_cm": arena.length_cm,
        "lines": [
            {
                "id": f"line-{one.pk}",
                "length_cm": one.length_cm,
                "standing": rows.standing.get(one.pk, []),
            }
            for one in rows.lines
            if one.arena_id == arena.pk
        ],
    }


def _lesson(rows: DayRows, lesson: Lesson) -> Data:
    start = _local(rows, lesson.starts_at)
    minutes = int((lesson.ends_at - lesson.starts_at).total_seconds() // 60)
    rides = lesson.booked_rides  # type: ignore[attr-defined]
    horses = [one.horse_id for one in rides if one.horse_id is not None]
    first, last = _window(rows, lesson, start, minutes, horses)
    people = dict.fromkeys([lesson.instructor_id, *(one.rider_id for one in rides)])
    arenas = dict.fromkeys(
        [lesson.arena_id, *sorted(one.pk for one in lesson.other_arenas.all())]
    )
    return {
        "id": f"{LESSON}{lesson.pk}",
        "minutes": minutes,
        "arenas": [f"arena-{pk}" for pk in arenas],
        "not_before": _clock(first),
        "not_after": _clock(last),
        "booked": {"start": _clock(start), "arena": f"arena-{lesson.arena_id}"},
        "people": [f"person-{pk}" for pk in people],
        "horses": [f"horse-{pk}" for pk in horses],
        "warm_up_min": lesson.warm_up_min,
        "cool_down_min": lesson.cool_down_min,
        "grid": _grid(lesson),
        "needs_clear": lesson.needs_clear,
    }


def new_lesson(
    rows: DayRows,
    *,
    minutes: int,
    people: Sequence[int],
    horses: Sequence[int],
    grid: Data | None,
) -> Data:
    """Return a lesson that might be booked: at any time, in any arena."""
    return {
        "id": f"{LESSON}new",
        "minutes": minutes,
        "arenas": [f"arena-{one.pk}" for one in rows.arenas],
        "not_before": "00:00",
        "not_after": _clock(DAY_MIN - minutes),
        "people": [f"person-{pk}" for pk in dict.fromkeys(people)],
        "horses": [f"horse-{pk}" for pk in dict.fromkeys(horses)],
        "grid": grid,
    }


def _grid(lesson: Lesson) -> Data | None:
    grid = getattr(lesson, "grid", None)
    if grid is None:
        return None
    return {
        "start": [as_planned(one) for one in grid.start],
        "end": [as_planned(one) for one in grid.end],
        "approach_cm": grid.approach_cm,
        "runout_cm": grid.runout_cm,
        "may_mirror": grid.may_mirror,
    }


def _window(
    rows: DayRows, lesson: Lesson, start: int, minutes: int, horses: list[int]
) -> Minutes:
    """Return the first and last start, with what forbids others taken off."""
    if lesson.window_from is None or lesson.window_to is None:
        return start, start
    if lesson.state == "running":
        return start, start
    first = _local(rows, lesson.window_from)
    last = min(_local(rows, lesson.window_to), DAY_MIN - minutes)
    for taken_from, taken_to in forbidden_times(rows, lesson.instructor_id, horses):
        if taken_to <= start:
            first = max(first, taken_to)
        elif taken_from >= start + minutes:
            last = min(last, taken_from - minutes)
    return min(first, start), max(last, start)


def forbidden_times(
    rows: DayRows, instructor: int, horses: Sequence[int]
) -> list[Minutes]:
    """Return the times in which a horse is off or the instructor away."""
    times = [
        (
            _local(rows, one.state_from),
            DAY_MIN if one.state_to is None else _local(rows, one.state_to),
        )
        for one in rows.horse_states
        if one.horse_id in horses
    ]
    times += [
        (_local(rows, one.absent_from), _local(rows, one.absent_to))
        for one in rows.absences
        if one.instructor_id == instructor
    ]
    hours = [
        one
        for one in rows.instructor_hours
        if one.instructor_id == instructor and one.weekday == rows.date.weekday()
    ]
    free_from = 0
    for one in hours:
        times.append((free_from, _minutes(one.from_at)))
        free_from = _minutes(one.to_at)
    if hours:
        times.append((free_from, DAY_MIN))
    return times


def dark_hours(rows: DayRows, arena: Arena) -> Minutes:
    """Return until when it is dark in an arena, and from when, in minutes of the day.

    What is booked in the dark already has its place: the dark gives way to it.
    """
    light = daylight(rows.school, rows.date)
    if light is None or not needs_daylight(arena):
        return 0, DAY_MIN
    booked = [one for one in rows.lessons if one.arena_id == arena.pk]
    first = min((_local(rows, one.starts_at) for one in booked), default=DAY_MIN)
    last = max((_local(rows, one.ends_at) for one in booked), default=0)
    return min(_local(rows, light.rises), first), max(_local(rows, light.sets), last)


def _dark_work_from(rows: DayRows, crew: Mapping[str, Any], opens: int) -> int | None:
    """Return from when somebody works before the day opens, if it is dark then.

    The contract keeps changeovers out of an arena only while the day is open: it is
    told to open with their work.
    """
    begins = minutes_at(crew["crew_from"]) if "crew_from" in crew else opens - 60
    begins = max(begins, 0)
    dark = any(dark_hours(rows, one)[0] > begins for one in rows.arenas)
    return begins if dark and begins < opens else None


def _built_in_the_dark(rows: DayRows, arena: Arena) -> bool:
    """Say whether a lesson before sunrise needs its fences built before it too."""
    light = daylight(rows.school, rows.date)
    return light is not None and any(
        one.arena_id == arena.pk and one.starts_at < light.rises for one in rows.lessons
    )


def _blockers(rows: DayRows, opens: int, closes: int) -> list[Data]:
    """Return the entries that keep closed and dark arenas free of lessons.

    In an arena that is shut changeovers are made, in the dark none: before sunrise
    only where a lesson is booked before it already.
    """
    blockers = []
    for arena in rows.arenas:
        open_from, open_to = _minutes(arena.opens_at), _minutes(arena.closes_at)
        dark_until, dark_from = dark_hours(rows, arena)
        if opens < dark_until:
            until = min(dark_until, closes)
            resets = _built_in_the_dark(rows, arena)
            blockers.append(_blocker("dark-until", arena, opens, until, resets))
        if dark_from < closes:
            since = max(dark_from, opens)
            blockers.append(_blocker("dark-from", arena, since, closes, False))
        light = max(opens, dark_until), min(closes, dark_from)
        open_from, open_to = max(open_from, dark_until), min(open_to, dark_from)
        taken = []
        for one in rows.closures:
            first, last = light if one.needs_clear else (open_from, open_to)
            first = max(_local(rows, one.closed_from), first)
            last = min(_local(rows, one.closed_to), last)
            if one.arena_id == arena.pk and first < last:
                name = f"closure-{one.pk}"
                taken.append((first, last))
                blockers.append(
                    _blocker(name, arena, first, last, False, clear=one.needs_clear)
                )
        shut = [("hours-from", light[0], open_from), ("hours-to", open_to, light[1])]
        for name, first, last in shut:
            parts = list(enumerate(_without(first, last, taken)))
            blockers += [
                _blocker(f"{name}-{n}" if n else name, arena, *part, True)
                for n, part in parts
            ]
    return blockers


def _without(first: int, last: int, taken: Iterable[Minutes]) -> list[Minutes]:
    """Return what is left of a time when others are taken out of it, in order."""
    left = []
    for taken_from, taken_to in sorted(taken):
        if first < min(taken_from, last):
            left.append((first, min(taken_from, last)))
        first = max(first, taken_to)
    return [*left, (first, last)] if first < last else left


def _blocker(
    name: str,
    arena: Arena,
    first: int,
    last: int,
    resets: bool,
    *,
    clear: bool = False,
) -> Data:
    """Return a fixed entry in an arena.

    `resets` lets changeovers be made in it; `clear` lets nothing stand in it.
    """
    return {
        "id": f"{name}-arena-{arena.pk}",
        "minutes": last - first,
        "arenas": [f"arena-{arena.pk}"],
        "not_before": _clock(first),
        "not_after": _clock(first),
        "booked": {"start": _clock(first), "arena": f"arena-{arena.pk}"},
        "people": [],
        "horses": [],
        "warm_up_min": 0,
        "cool_down_min": last - first if resets else 0,
        "grid": None,
        "needs_clear": clear,
    }


def walk_of(
    changeover: Changeover, carrying: Carrying
) -> tuple[Walk, Crew, list[ChangeoverMove]]:
    """Return a changeover as a walk, who walks it, and its moves in that order.

    Nobody named counts as one person alone.
    """
    moves = sorted(changeover.moves.all(), key=lambda move: move.position)
    who = changeover.who
    people = 1 if who is None or who.alone else 1 + carrying.helpers
    crew = Crew(people, carrying.carries_kg * 1000, carrying.weights_g)
    found = walk([_step(move) for move in moves], ground_of(changeover.line), crew)
    return found, crew, [moves[n] for n in found.order]


def purpose_words(one: Changeover, zone: ZoneInfo) -> str:
    """Say what a changeover is for, and when that is."""
    if one.lesson is not None:
        words = f"for {one.title} at {one.lesson.starts_at.astimezone(zone):%H:%M}"
        return f"{words}, morning build" if is_morning(one, zone) else words
    if one.before_work is not None:
        at = one.before_work.starts_at.astimezone(zone)
        return f"before {one.title} at {at:%H:%M}: poles off first"
    return "evening strip: all into the store"


def is_morning(one: Changeover, zone: ZoneInfo) -> bool:
    """Say whether a changeover is made before its arena opens."""
    begins = one.starts_at.astimezone(zone).time()
    return one.after_lesson_id is None and begins < one.line.arena.opens_at


def ground_of(line: Line) -> Ground:
    """Return where the store lies as seen from a line; as usual where nobody said.

    A line lies in the middle of its arena's length, since nothing says otherwise.
    """
    arena = line.arena
    if arena.store_along_cm is None or arena.store_across_cm is None:
        return Ground()
    begins = max(0, (arena.length_cm - line.length_cm) // 2)
    aside = abs(arena.store_across_cm - line.from_long_side_cm)
    return Ground(arena.store_along_cm - begins, aside)


def stretches_of(changeover: Changeover) -> tuple[Stretch, ...]:
    """Return what a finished changeover tells of the time its work takes.

    Ticks from before it was started, or after it was done, count at these.
    """
    if changeover.started_at is None or changeover.done_at is None:
        return ()
    done_s = (changeover.done_at - changeover.started_at).total_seconds()
    ticks = []
    for move in changeover.moves.all():
        at_s = done_s
        if move.ticked_at is not None:
            at_s = (move.ticked_at - changeover.started_at).total_seconds()
        ticks.append(Tick(_step(move), min(max(at_s, 0.0), done_s)))
    who = changeover.who
    return stretches(
        ticks,
        done_s,
        str(who) if who else "",
        pair=who is not None and not who.alone,
    )


def listed(changeover: Changeover) -> Listed:
    """Return a changeover as lists are compared by."""
    return Listed(
        gap=changeover.uid,
        work=changeover.work,
        steps=tuple(step_key(one) for one in changeover.moves.all()),
        starts_at=changeover.starts_at,
        ends_at=changeover.ends_at,
        who=str(changeover.who) if changeover.who else "",
    )


def step_key(move: ChangeoverMove) -> str:
    """Return what is equal where two moves ask for the same."""
    return json.dumps([move.do, move.was, move.now], sort_keys=True)


def _step(move: ChangeoverMove) -> Step:
    return (
        placed_from_data(move.was) if move.was else None,
        placed_from_data(move.now) if move.now else None,
    )
