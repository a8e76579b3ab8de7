"""What stands in for what is out: lessons, and the ways each could still be held.

A way is an instructor, an arena and a time that are to be had, were it not for the
other lessons that are looked at with it.
"""

from dataclasses import dataclass, field

from scheduling.matching.problem import Term

Key = tuple[int, int, int]
"""Of a way: instructor, arena, start in seconds."""


@dataclass(frozen=True, slots=True)
class CoverWeights:
    """What counts how much, in points; all are estimates, the school's to argue with.

    More than all of them together counts a lesson that is not held at all. A client
    asked to come at another time is what a yard avoids most after that, then another
    arena, then another instructor, whom terms of lessons usually allow to be changed:
    common practice, no source.
    """

    other_time: int = 30
    per_15_min: int = 2
    other_arena: int = 10
    other_teacher: int = 8
    level_above: int = 4
    strangers: int = 3
    strangers_most: int = 12
    hurry: int = 2
    hurry_s: int = 300
    long_day_s: int = 6 * 3600
    per_10_min_over: int = 2


@dataclass(frozen=True, slots=True)
class Way:
    """One way to hold a lesson, and what speaks against it."""

    teacher: int
    arena: int
    from_s: int
    to_s: int
    terms: tuple[Term, ...] = ()

    @property
    def key(self) -> Key:
        """What tells it from the lesson's other ways."""
        return self.teacher, self.arena, self.from_s

    @property
    def points(self) -> int:
        """What speaks against it by itself."""
        return sum(one.points for one in self.terms)


@dataclass(frozen=True, slots=True)
class Covered:
    """A lesson that is touched: its ways, and whom it takes along wherever it goes.

    `takes` gives for each horse (and each rider, under other keys) the rest in
    seconds it needs to its next lesson.
    """

    key: int
    name: str
    ways: tuple[Way, ...]
    takes: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Teaches:
    """A lesson of an instructor that is not looked at, and stays."""

    teacher: int
    arena: int
    from_s: int
    to_s: int


@dataclass(frozen=True, slots=True)
class Cover:
    """All lessons of a day that are looked at together, beside those that stay."""

    lessons: tuple[Covered, ...]
    stays: tuple[Teaches, ...] = ()
    weights: CoverWeights = CoverWeights()
