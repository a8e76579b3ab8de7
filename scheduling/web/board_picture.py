"""The board as a picture: arenas as columns, time downwards, true to scale.

A minute is as long everywhere, by the wall clock. The script that lets lessons be
dragged reads columns, scale and lessons from the data attributes written here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from xml.etree.ElementTree import Element as Node
from xml.etree.ElementTree import SubElement
from zoneinfo import ZoneInfo

from django.urls import reverse

from exercises.drawing import svg
from scheduling.models import Changeover
from school.enums import LessonKind, LessonState
from school.models import (
    Arena,
    ArenaClosure,
    InstructorAbsence,
    InstructorHours,
    Lesson,
)
from school.queries.daylight import Daylight
from school.queries.lessons import booked_rides

GUTTER, TOP = 52, 58
LESSON_FILL, JUMP_FILL, RESET_FILL, CLOSED_FILL, LANE_FILL = (
    "#efe9dc",
    "#d5e6dd",
    "#f3c98b",
    "#d8d8d8",
    "#f7f3ea",
)
STRAW = "#7a4a00"
LETTER = 0.56
"""Width of a letter in parts of its size, on the wide side."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a picture is drawn: pixels a minute, width of a column, first and last hour.

    `fine` writes titles and teachers; a week has no room for them.
    """

    first_hour: int
    last_hour: int
    minute: float = 1.5
    column: float = 204
    fine: bool = True

    @property
    def height(self) -> float:
        """Of the whole drawing."""
        return TOP + (self.last_hour - self.first_hour) * 60 * self.minute + 14

    def y(self, minute_of_day: float) -> float:
        """Return how far down a minute of the day is, kept inside the drawing."""
        first, last = self.first_hour * 60, self.last_hour * 60
        inside = min(max(minute_of_day, first), last)
        return TOP + (inside - first) * self.minute


@dataclass(frozen=True, slots=True)
class Column:
    """An arena on a day, with what is in it; `light` only where it has no lights."""

    day: date
    arena: Arena
    lessons: Sequence[Lesson] = ()
    changeovers: Sequence[Changeover] = ()
    closures: Sequence[ArenaClosure] = ()
    light: Daylight | None = None


def minute_of(moment: datetime, day: date, zone: ZoneInfo) -> int:
    """Return a moment as a minute of the day by the wall clock, within the day."""
    local = moment.astimezone(zone)
    if local.date() != day:
        return 0 if local.date() < day else 24 * 60
    return local.hour * 60 + local.minute


def hours_shown(columns: Sequence[Column], zone: ZoneInfo) -> tuple[int, int]:
    """Return the first and last whole hour that a picture of columns needs."""
    times = [
        (minute_of(one.starts_at, column.day, zone), _end(one, column.day, zone))
        for column in columns
        for one in _timed(column)
    ]
    times += [
        (
            one.arena.opens_at.hour * 60,
            one.arena.closes_at.hour * 60 + one.arena.closes_at.minute,
        )
        for one in columns
    ]
    first = min([one for one, _ in times], default=8 * 60) // 60
    last = -(-max([one for _, one in times], default=20 * 60) // 60)
    return first, max(last, first + 1)


def _timed(column: Column) -> list[Lesson | Changeover]:
    return [*column.lessons, *column.changeovers]


def _end(one: Lesson | Changeover, day: date, zone: ZoneInfo) -> int:
    return minute_of(one.ends_at, day, zone)


def draw_board(
    columns: Sequence[Column],
    zone: ZoneInfo,
    scale: Scale,
    *,
    title: str,
    manager: bool,
    snap_min: int = 5,
) -> str:
    """Draw columns side by side; the list below the picture says the same."""
    width = GUTTER + len(columns) * scale.column + 6
    root = _root(width, scale, "board", title)
    if manager:
        root.set("data-first-min", str(scale.first_hour * 60))
        root.set("data-minute", str(scale.minute))
        root.set("data-snap", str(snap_min))
        root.set("data-top", str(TOP))
    _hours(root, width, scale)
    for n, column in enumerate(columns):
        left = GUTTER + n * scale.column
        _column(root, left, column, scale, first=_is_first(columns, n))
    for n, column in enumerate(columns):
        left = GUTTER + n * scale.column
        if column.light is not None:
            _dark(root, left, column, column.light, zone, scale)
        for closure in column.closures:
            _closure(root, left, closure, column, zone, scale)
        _resets(root, left, column, zone, scale)
        for lesson in column.lessons:
            _lesson(root, left, lesson, column, zone, scale, manager)
    return svg.written(root)


def _root(width: float, scale: Scale, kind: str, title: str) -> Node:
    root = svg.drawing(
        width, scale.height, ident=kind, title=title,
        says="Time runs downwards, true to scale; the list below says the same.",
        kind=kind,
    )  # fmt: skip
    # Its lessons are links, so it is a group and not one image.
    root.set("role", "group")
    root.set("width", f"{width:g}")
    root.set("height", f"{scale.height:g}")
    return root


def _hours(root: Node, width: float, scale: Scale) -> None:
    for hour in range(scale.first_hour, scale.last_hour + 1):
        y = scale.y(hour * 60)
        svg.line(root, GUTTER - 6, y, width - 6, y, stroke="#c9c2b4", width=1)
        svg.text(
            root, GUTTER - 10, y + 5, f"{hour:02d}:00", size=14, anchor="end",
            fill=svg.FAINT,
        )  # fmt: skip


def _is_first(columns: Sequence[Column], n: int) -> bool:
    return n == 0 or columns[n].day != columns[n - 1].day


def _column(
    root: Node, left: float, column: Column, scale: Scale, *, first: bool
) -> None:
    arena = column.arena
    opens = arena.opens_at.hour * 60 + arena.opens_at.minute
    closes = arena.closes_at.hour * 60 + arena.closes_at.minute
    lane = svg.rect(
        root, left + 2, scale.y(opens), scale.column - 4,
        scale.y(closes) - scale.y(opens), fill=LANE_FILL,
    )  # fmt: skip
    lane.set("class", "lane")
    lane.set("data-date", column.day.isoformat())
    lane.set("data-arena", str(arena.pk))
    lane.set("data-name", arena.name)
    lane.set("data-left", f"{left:g}")
    lane.set("data-wide", f"{scale.column:g}")
    middle = left + scale.column / 2
    if scale.fine:
        svg.text(root, middle, 36, arena.name, size=17, bold=True)
        return
    if first:
        address = reverse("day", args=[column.day.isoformat()])
        link = SubElement(root, "a", {"href": address})
        svg.text(
            link, left + 4, 20, f"{column.day:%a} {column.day.day} {column.day:%b}",
            size=15, anchor="start", bold=True,
        )  # fmt: skip
        svg.line(
            root, left, 8, left, scale.height - 10, stroke=svg.FAINT, width=1
        )  # fmt: skip
    words = _fitting(arena.name, scale.column - 6, 13)
    svg.text(root, middle, 42, words, size=13)


def _dark(
    root: Node,
    left: float,
    column: Column,
    light: Daylight,
    zone: ZoneInfo,
    scale: Scale,
) -> None:
    """Shade when it is dark in an arena without lights.

    The words stand at the outer end, since a lesson may lie across the sunset.
    """
    opens = column.arena.opens_at.hour * 60 + column.arena.opens_at.minute
    closes = column.arena.closes_at.hour * 60 + column.arena.closes_at.minute
    rises = minute_of(light.rises, column.day, zone)
    sets = minute_of(light.sets, column.day, zone)
    for first, last, words, evening in (
        (opens, min(rises, closes), f"dark until {light.rises:%H:%M}", False),
        (max(sets, opens), closes, f"dark from {light.sets:%H:%M}", True),
    ):
        if first >= last:
            continue
        top, low = scale.y(first), scale.y(last)
        svg.rect(
            root, left + 2, top, scale.column - 4, low - top, fill=CLOSED_FILL,
        )  # fmt: skip
        if low - top >= 18:
            svg.text(
                root, left + scale.column / 2, low - 6 if evening else top + 15,
                _fitting(words if scale.fine else "dark", scale.column - 12, 13),
                size=13, fill=svg.FAINT,
            )  # fmt: skip


def _closure(
    root: Node,
    left: float,
    closure: ArenaClosure,
    column: Column,
    zone: ZoneInfo,
    scale: Scale,
) -> None:
    top = scale.y(minute_of(closure.closed_from, column.day, zone))
    low = scale.y(minute_of(closure.closed_to, column.day, zone))
    svg.rect(
        root, left + 2, top, scale.column - 4, low - top, fill=CLOSED_FILL,
        stroke=svg.FAINT, stroke_width=1,
    )  # fmt: skip
    words = f"closed: {closure.reason}" if scale.fine else closure.reason
    size = 14 if scale.fine else 12
    svg.text(
        root, left + scale.column / 2, (top + low) / 2 + 5,
        _fitting(words, scale.column - 12, size), size=size,
    )  # fmt: skip


def _resets(
    root: Node, left: float, column: Column, zone: ZoneInfo, scale: Scale
) -> None:
    """Draw a column's changeovers at its right edge, with their minutes."""
    edge = left + scale.column - (54 if scale.fine else 20)
    written_to = 0.0
    for one in column.changeovers:
        top = scale.y(minute_of(one.starts_at, column.day, zone))
        low = scale.y(minute_of(one.ends_at, column.day, zone))
        address = reverse("changeover", args=[one.pk])
        link = SubElement(root, "a", {"href": address, "class": "reset"})
        minutes = round((one.ends_at - one.starts_at).total_seconds() / 60)
        SubElement(link, "title").text = one.heading
        svg.rect(
            link, edge, top, 12, max(low - top, 4), fill=RESET_FILL,
            stroke=STRAW, stroke_width=2,
        )  # fmt: skip
        if scale.fine:
            words = max((top + low) / 2 + 5, written_to + 15)
            written_to = words
            svg.text(
                link, edge + 16, words, f"{minutes} min", size=13, anchor="start",
                fill=STRAW, bold=True,
            )  # fmt: skip


def _lesson(
    root: Node,
    left: float,
    lesson: Lesson,
    column: Column,
    zone: ZoneInfo,
    scale: Scale,
    manager: bool,
) -> None:
    start = minute_of(lesson.starts_at, column.day, zone)
    minutes = int((lesson.ends_at - lesson.starts_at).total_seconds() // 60)
    top, high = scale.y(start), minutes * scale.minute
    wide = scale.column - (64 if scale.fine else 26)
    where = "board-lesson" if manager else "lesson"
    from_week = "?back=week" if manager and not scale.fine else ""
    link = SubElement(
        root,
        "a",
        {
            "href": reverse(where, args=[lesson.pk]) + from_week,
            "id": f"lesson-{lesson.pk}",
            "class": f"lesson {lesson.state}",
            "aria-label": _spoken(lesson, column, zone),
        },
    )
    if manager:
        link.set("data-version", str(lesson.version))
        link.set("data-start", str(start))
        link.set("data-minutes", str(minutes))
        link.set("data-date", column.day.isoformat())
        link.set("data-arena", str(column.arena.pk))
    grid = hasattr(lesson, "grid")
    asked = lesson.state == LessonState.ASKED
    box = svg.rect(
        link, left + 6, top + 1, wide, max(high - 2, 8),
        fill="#ffffff" if asked else JUMP_FILL if grid else LESSON_FILL,
        stroke=svg.INK, stroke_width=2 if grid else 1,
    )  # fmt: skip
    box.set("class", "ride-box")
    if asked:
        box.set("stroke-dasharray", "6 4")
    _words(link, left + 12, top, high, wide - 12, lesson, zone, scale)
    if manager and scale.fine:
        edge = svg.rect(link, left + 6, top + high - 9, wide, 8, fill="transparent")
        edge.set("class", "edge")


def _spoken(lesson: Lesson, column: Column, zone: ZoneInfo) -> str:
    starts, ends = (
        moment.astimezone(zone) for moment in (lesson.starts_at, lesson.ends_at)
    )
    asked = ", asked for" if lesson.state == LessonState.ASKED else ""
    led = ", lead-rein" if lesson.kind == LessonKind.LEAD_REIN else ""
    return (
        f"{lesson.title}{led}, {starts:%H:%M} to {ends:%H:%M}, {column.arena.name}, "
        f"{lesson.instructor.person.first_name}{asked}"
    )


def _words(
    parent: Node,
    left: float,
    top: float,
    high: float,
    wide: float,
    lesson: Lesson,
    zone: ZoneInfo,
    scale: Scale,
) -> None:
    """Write what a box has room for: its times, its title, who teaches whom."""
    starts, ends = (
        moment.astimezone(zone) for moment in (lesson.starts_at, lesson.ends_at)
    )
    size = 14 if scale.fine else 12
    times = f"{starts:%H:%M} to {ends:%H:%M}" if scale.fine else f"{starts:%H:%M}"
    rows = [(times, True)]
    rows += [(row, False) for row in _wrapped(lesson.title, wide, size)]
    if scale.fine:
        riders = len(booked_rides(lesson))
        who = f"{lesson.instructor.person.first_name}, {riders} rider"
        who = who if riders == 1 else f"{who}s"
        led = ", led" if lesson.kind == LessonKind.LEAD_REIN else ""
        rows.append((f"{who}{led}", False))
    step = size + 3
    for n, (row, bold) in enumerate(rows[: max(1, int((high - 4) // step))]):
        svg.text(
            parent, left, top + 3 + size + n * step, row, size=size, anchor="start",
            bold=bold,
        )  # fmt: skip


def _fitting(words: str, wide: float, size: float) -> str:
    most = max(int(wide / (size * LETTER)), 2)
    return words if len(words) <= most else f"{words[: most - 1]}…"


def _wrapped(words: str, wide: float, size: float) -> list[str]:
    """Break a title into at most two rows of a width."""
    most = max(int(wide / (size * LETTER)), 2)
    rows = [""]
    for word in words.split():
        if len(rows[-1]) + len(word) + 1 <= most:
            rows[-1] = f"{rows[-1]} {word}".strip()
        else:
            rows.append(word if len(word) <= most else f"{word[: most - 1]}…")
    return [one for one in rows if one][:2]


@dataclass(frozen=True, slots=True)
class Teacher:
    """An instructor's day: hours in which they teach, and the lessons they have."""

    name: str
    hours: Sequence[InstructorHours]
    lessons: Sequence[Lesson]
    absences: Sequence[InstructorAbsence] = ()

    def out(self, day: date, zone: ZoneInfo) -> list[tuple[int, int]]:
        """Return the times in which they are out, in minutes of the day."""
        return [
            (minute_of(one.absent_from, day, zone), minute_of(one.absent_to, day, zone))
            for one in self.absences
        ]

    def gaps(self, day: date, zone: ZoneInfo) -> list[tuple[int, int]]:
        """Return the free times, in minutes of the day: within hours, between lessons.

        Without known hours, from the first lesson to the last.
        """
        taken = sorted(
            [
                (minute_of(one.starts_at, day, zone), minute_of(one.ends_at, day, zone))
                for one in self.lessons
            ]
            + self.out(day, zone)
        )
        spans = [
            (
                one.from_at.hour * 60 + one.from_at.minute,
                one.to_at.hour * 60 + one.to_at.minute,
            )
            for one in self.hours
        ]
        if not spans and taken:
            spans = [(taken[0][0], max(end for _, end in taken))]
        gaps = []
        for first, last in spans:
            free_from = first
            for start, end in taken:
                if free_from < min(start, last):
                    gaps.append((free_from, min(start, last)))
                free_from = max(free_from, end)
            if free_from < last:
                gaps.append((free_from, last))
        return gaps


def draw_teachers(
    teachers: Sequence[Teacher], day: date, zone: ZoneInfo, scale: Scale
) -> str:
    """Draw when each instructor teaches, and the gaps with their minutes."""
    wide = 70
    width = GUTTER + len(teachers) * wide + 6
    root = _root(width, scale, "teachers", "Instructors: lessons and gaps")
    _hours(root, width, scale)
    for n, one in enumerate(teachers):
        left = GUTTER + n * wide
        name = _fitting(one.name, wide - 4, 15)
        svg.text(root, left + wide / 2, 36, name, size=15, bold=True)
        for first, last in one.gaps(day, zone):
            top, low = scale.y(first), scale.y(last)
            gap = svg.rect(
                root, left + 5, top, wide - 10, low - top, fill="none",
                stroke=svg.FAINT, stroke_width=1,
            )  # fmt: skip
            gap.set("stroke-dasharray", "3 4")
            if low - top >= 16:
                svg.text(
                    root, left + wide / 2, (top + low) / 2 + 5, _length(last - first),
                    size=13, fill=svg.FAINT,
                )  # fmt: skip
        for first, last in one.out(day, zone):
            _out(root, left, wide, scale.y(first), scale.y(last))
        for lesson in one.lessons:
            top = scale.y(minute_of(lesson.starts_at, day, zone))
            low = scale.y(minute_of(lesson.ends_at, day, zone))
            svg.rect(root, left + 5, top + 1, wide - 10, low - top - 2, fill=svg.INK)
            svg.text(
                root, left + wide / 2, top + 17,
                f"{lesson.starts_at.astimezone(zone):%H:%M}", size=13, fill="#ffffff",
            )  # fmt: skip
    return svg.written(root)


def _out(root: Node, left: float, wide: float, top: float, low: float) -> None:
    """Draw a time in which an instructor is out, as an arena that is closed."""
    if low <= top:
        return
    svg.rect(
        root, left + 5, top, wide - 10, low - top, fill=CLOSED_FILL,
        stroke=svg.FAINT, stroke_width=1,
    )  # fmt: skip
    svg.text(root, left + wide / 2, (top + low) / 2 + 5, "out", size=14)


def _length(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest}" if rest else f"{hours} h"
