"""What is proposed for each lesson or ride that lost its instructor, arena or horse."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from scheduling.matching.cover import Choice, UnableToCover, cover
from scheduling.matching.cover_problem import Key, Way
from scheduling.services.covering import (
    Free,
    cover_of,
    days_of,
    free_on,
    start_of,
    why_not,
)
from scheduling.services.remounting import remount_day
from scheduling.services.touched_items import (
    CANCEL,
    MOST_OPTIONS,
    Item,
    Option,
    Proposal,
)
from school.enums import OutKind
from school.models import Arena, Instructor, Lesson
from school.queries.lessons import booked_rides
from school.queries.schools import school_zone
from school.queries.touched import CoverRows, cover_rows, lessons_touched
from school.services.out import Out
from school.services.refusals import UnableToBook, hour


def propose_for(
    *,
    out: Out,
    chosen: Mapping[str, str],
    now: datetime,
    barred: frozenset[tuple[int, object]] = frozenset(),
) -> Proposal:
    """Propose for everything that is touched; each day is settled by itself.

    Where a horse is out, a day knows what the days before it give to whom, since a
    horse's work counts by the week too.

    `chosen` are settled choices by item; `barred` ways that a rule forbids.
    """
    found = lessons_touched(out.kind, out.pk, out.first, out.last, now)
    items: list[Item] = []
    proved = True
    teachers: dict[int, Instructor] = {}
    arenas: dict[int, Arena] = {}
    given: dict[int, list[Lesson]] = {}
    for day, lessons in days_of(found.lessons, school_zone()).items():
        if out.kind == OutKind.HORSE:
            its, sure = remount_day(
                day, out, lessons, chosen=chosen, barred=barred, now=now, also=given
            )
            for one in its:
                if one.horse is not None:
                    given.setdefault(one.horse.pk, []).append(one.lesson)
            items += its
            proved = proved and sure
            continue
        riders = [ride.rider_id for one in lessons for ride in booked_rides(one)]
        rows = cover_rows(day, riders)
        free = free_on(rows, out, lessons, now)
        its, sure = _settle_day(free, lessons, chosen, barred)
        items += its
        proved = proved and sure
        teachers |= {one.pk: one for one in rows.instructors}
        arenas |= {one.pk: one for one in rows.arenas}
    return Proposal(
        tuple(items), tuple(found.begun), tuple(found.asked), proved, teachers, arenas
    )


def _settle_day(
    free: Free,
    lessons: list[Lesson],
    chosen: Mapping[str, str],
    barred: frozenset[tuple[int, object]],
) -> tuple[list[Item], bool]:
    problem = cover_of(free, lessons, barred=barred)
    fixed: dict[int, Key | None] = {
        one.pk: _key(chosen[f"lesson-{one.pk}"])
        for one in lessons
        if chosen.get(f"lesson-{one.pk}")
    }
    try:
        found = cover(problem, fixed=fixed)
    except UnableToCover as error:
        raise UnableToBook("fixed", str(error)) from error
    items = []
    for lesson, covered, choice in zip(
        lessons, problem.lessons, found.choices, strict=True
    ):
        why = tuple(why_not(free, lesson))
        items.append(
            _item(free.rows, lesson, covered.ways, choice, lesson.pk in fixed, why)
        )
    return items, found.proved


def _key(choice: str) -> Key | None:
    """Return the way a form named; None cancels.

    Raises UnableToBook where it names none.
    """
    if choice == CANCEL:
        return None
    parts = choice.split("_")
    if len(parts) != 3 or not all(one.isdecimal() and len(one) < 12 for one in parts):
        raise UnableToBook("choice", "Choose again what is to be done with each.")
    teacher, arena, start = (int(one) for one in parts)
    return teacher, arena, start


def _value(way: Way | None) -> str:
    return CANCEL if way is None else "_".join(str(one) for one in way.key)


def _item(
    rows: CoverRows,
    lesson: Lesson,
    ways: Sequence[Way],
    choice: Choice,
    fixed: bool,
    why: tuple[str, ...],
) -> Item:
    names = _Names(rows, lesson)
    best = sorted(ways, key=lambda one: (one.points, one.key))[:MOST_OPTIONS]
    for one in (choice.way, choice.next_best):
        if one is not None and one not in best:
            best.append(one)
    return Item(
        key=f"lesson-{lesson.pk}",
        lesson=lesson,
        rides=booked_rides(lesson),
        choice=_value(choice.way),
        says=names.says(choice.way),
        way=choice.way,
        terms=() if choice.way is None else choice.way.terms,
        next_best="" if choice.next_best is None else names.says(choice.next_best),
        more=choice.more,
        fixed=fixed,
        options=tuple(Option(_value(one), names.says(one)) for one in best),
        why=why,
    )


class _Names:
    """Says of a way what of the lesson it changes."""

    def __init__(self, rows: CoverRows, lesson: Lesson) -> None:
        self.lesson = lesson
        self.teachers = {one.pk: one.person.first_name for one in rows.instructors}
        self.arenas = {one.pk: one.name for one in rows.arenas}

    def says(self, way: Way | None) -> str:
        if way is None:
            return "Cancel this lesson"
        parts = [self.teachers[way.teacher], self.arenas[way.arena]]
        return f"{', '.join(parts)}, {hour(start_of(way))}"
