"""What a plan finds standing on the lines of its day, and what it leaves there."""

from collections.abc import Mapping
from typing import Any

from scheduling.changeover.setups import Place
from scheduling.dayplan.document import placed_as_data, read_day

Data = Mapping[str, Any]
Elements = list[dict[str, Any]]


def found_by(document: Data) -> dict[str, Elements]:
    """Return what stood on each line when the plan was made."""
    return {
        line["id"]: line.get("standing", [])
        for arena in document.get("arenas", [])
        for line in arena["lines"]
    }


def left_by(document: Data, plan: Data) -> dict[str, tuple[str, Elements]]:
    """Return what a plan leaves on the lines it uses, and since which clock time."""
    day = read_day(document)
    left: dict[str, tuple[str, Elements]] = {}
    for reset in plan["resets"]:
        elements = [move["now"] for move in reset["moves"] if move["now"]]
        _later(left, reset["line"], reset["to"], elements)
    rows = {lesson.id: lesson for lesson in day.lessons}
    for planned in plan["lessons"]:
        lesson = rows[planned["id"]]
        if planned["line"] is None or lesson.grid is None:
            continue
        place = Place(planned["offset_cm"], planned["mirrored"])
        setup = lesson.grid.stand(lesson.grid.end, place)
        ends = _clock_after(planned["start"], lesson.minutes)
        elements = [placed_as_data(one) for one in setup]
        _later(left, planned["line"], ends, elements)
    return left


def _later(
    left: dict[str, tuple[str, Elements]], line: str, when: str, elements: Elements
) -> None:
    if line not in left or left[line][0] <= when:
        left[line] = (when, elements)


def _clock_after(start: str, minutes: int) -> str:
    total = int(start[:2]) * 60 + int(start[3:]) + minutes
    return f"{total // 60:02d}:{total % 60:02d}"
