"""The day as a picture: arenas as lanes, true to time, changeovers between."""

from collections.abc import Sequence
from datetime import date, datetime, time
from xml.etree.ElementTree import Element as Node
from xml.etree.ElementTree import SubElement
from zoneinfo import ZoneInfo

from exercises.drawing import svg
from scheduling.models import Changeover
from school.models import Arena, ArenaClosure, Lesson

MINUTE = 1.8
"""Width of a minute in the drawing."""

LEFT, TOP, LANE, GAP = 120, 46, 112, 18
LESSON_FILL, JUMP_FILL, RESET_FILL, CLOSED_FILL = (
    "#e8e2d4",
    "#cfe0d8",
    "#f3c98b",
    "#d8d8d8",
)


def draw_day(
    day: date,
    zone: ZoneInfo,
    arenas: Sequence[Arena],
    lessons: Sequence[Lesson],
    changeovers: Sequence[Changeover],
    closures: Sequence[ArenaClosure],
) -> str:
    """Draw a day; the table beside it says the same in words."""
    first = min([one.opens_at.hour for one in arenas], default=8)
    first = min([first, *(one.starts_at.astimezone(zone).hour for one in changeovers)])
    last = max([one.closes_at.hour + 1 for one in arenas], default=20)
    begin = datetime.combine(day, time(first), tzinfo=zone)

    def x(moment: datetime) -> float:
        return LEFT + (moment - begin).total_seconds() / 60 * MINUTE

    width = LEFT + (last - first) * 60 * MINUTE + 20
    height = TOP + len(arenas) * (LANE + GAP) + 10
    root = svg.drawing(
        width, height, ident="day", title=f"The day {day.isoformat()}",
        says="Arenas as lanes, lessons and changeovers true to time; "
        "the table below says the same.",
        kind="day",
    )  # fmt: skip
    for hour in range(first, last + 1):
        at = LEFT + (hour - first) * 60 * MINUTE
        svg.line(root, at, TOP - 8, at, height - 8, stroke="#c9c2b4", width=1)
        svg.text(root, at, TOP - 16, f"{hour:02d}:00", size=17, fill=svg.FAINT)
    for lane, arena in enumerate(arenas):
        top = TOP + lane * (LANE + GAP)
        svg.rect(root, 4, top, width - 8, LANE, fill="#f7f3ea")
        svg.text(
            root, 12, top + LANE / 2 + 6, arena.name, size=18, anchor="start", bold=True
        )
        for closure in closures:
            if closure.arena_id == arena.pk:
                left, right = x(closure.closed_from), x(closure.closed_to)
                svg.rect(root, left, top, right - left, LANE, fill=CLOSED_FILL)
                svg.text(root, (left + right) / 2, top + 60, "closed", size=16)
        for lesson in lessons:
            if lesson.arena_id == arena.pk:
                link = SubElement(root, "a", {"href": f"/lessons/{lesson.pk}/"})
                left, right = x(lesson.starts_at), x(lesson.ends_at)
                grid = hasattr(lesson, "grid")
                fill = JUMP_FILL if grid else LESSON_FILL
                svg.rect(
                    link, left, top + 8, right - left, LANE - 16, fill=fill,
                    stroke=svg.INK, stroke_width=2 if grid else 1,
                )  # fmt: skip
                _words(link, left, right, top, lesson, zone)
        its = [one for one in changeovers if one.line.arena_id == arena.pk]
        _resets(root, top, [(x(one.starts_at), x(one.ends_at)) for one in its])
    return svg.written(root)


def _resets(root: Node, top: float, spans: list[tuple[float, float]]) -> None:
    """Draw a lane's changeovers, their minutes below where there is room."""
    written_to = 0.0
    for left, right in spans:
        svg.rect(
            root, left, top + LANE - 34, max(right - left, 5), 30,
            fill=RESET_FILL, stroke="#7a4a00", stroke_width=2,
        )  # fmt: skip
        middle, low = (left + right) / 2, top + LANE + 13
        if middle - 26 < written_to:
            middle = written_to + 26
        written_to = middle + 26
        svg.text(
            root, middle, low, f"{round((right - left) / MINUTE)} min", size=15,
            fill="#7a4a00", bold=True,
        )  # fmt: skip


def _words(
    parent: Node,
    left: float,
    right: float,
    top: float,
    lesson: Lesson,
    zone: ZoneInfo,
) -> None:
    """Write a lesson's start and title in its box, as much as has room."""
    room = int((right - left - 8) / 7.6)
    start = f"{lesson.starts_at.astimezone(zone):%H:%M}"
    svg.text(parent, left + 6, top + 27, start, size=15, anchor="start", bold=True)
    rows: list[str] = [""]
    for word in lesson.title.split():
        if len(rows[-1]) + len(word) + 1 <= room:
            rows[-1] = f"{rows[-1]} {word}".strip()
        else:
            rows.append(word if len(word) <= room else word[: room - 1] + "…")
    for n, row in enumerate([one for one in rows if one][:2]):
        svg.text(parent, left + 6, top + 46 + 18 * n, row, size=14, anchor="start")
