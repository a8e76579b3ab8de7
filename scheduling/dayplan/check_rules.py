"""What the judge's parts share: a broken rule, a lesson as planned, plain keys."""

from dataclasses import dataclass
from typing import Any

from exercises.geometry.elements import Element
from scheduling.dayplan.day import DayLesson


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule a plan breaks: its name, whose, and one sentence."""

    rule: str
    lessons: tuple[str, ...]
    says: str

    def as_data(self) -> dict[str, Any]:
        """Write it with the keys of the plan file."""
        return {"rule": self.rule, "lessons": list(self.lessons), "says": self.says}


@dataclass(frozen=True, slots=True)
class Held:
    """A lesson as planned: its row in the plan, its start in minutes of the day."""

    lesson: DayLesson
    row: dict[str, Any]
    start: int

    @property
    def end(self) -> int:
        """End of the lesson, in minutes of the day."""
        return self.start + self.lesson.minutes

    @property
    def arena(self) -> str:
        """Arena it is planned in."""
        return str(self.row["arena"])

    @property
    def line(self) -> tuple[str, str] | None:
        """Arena and line its row stands on."""
        line = self.row["line"]
        return None if line is None else (self.arena, str(line))


def at_minutes(clock: str) -> int:
    """Read a local clock time as minutes of the day."""
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)


def plain(one: Element, at_cm: int, faces: str) -> dict[str, Any]:
    """Return a placed element with the contract's keys, defaults filled in."""
    return {
        "kind": one.kind.value,
        "at_cm": at_cm,
        "height_cm": one.height_cm,
        "spread_cm": one.spread_cm,
        "rails": one.rails,
        "ground_line": one.ground_line.value,
        "guides": one.guides,
        "ascending": one.ascending,
        "faces": faces,
    }


def stood(
    elements: tuple[Element, ...], length_cm: int, offset_cm: int, mirrored: bool
) -> list[dict[str, Any]]:
    """Place a row's elements by the contract's two formulas."""
    if mirrored:
        placed = [
            plain(e, offset_cm + length_cm - e.at_cm - e.spread_cm, "down")
            for e in elements
        ]
    else:
        placed = [plain(e, offset_cm + e.at_cm, "up") for e in elements]
    return sorted(placed, key=lambda e: (e["at_cm"], e["spread_cm"]))
