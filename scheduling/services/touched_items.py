"""What is touched by somebody or something out, and what may be chosen for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from scheduling.matching.cover_problem import Way
from scheduling.matching.problem import Term
from scheduling.services.covering import start_of
from school.models import Arena, Horse, Instructor, Lesson, Ride

CANCEL = "cancel"
NO_HORSE = "none"
MOST_OPTIONS = 12
"""So many other ways are offered for a lesson; the best first."""


@dataclass(frozen=True, slots=True)
class Option:
    """Something that may be chosen for an item, in words."""

    value: str
    says: str


@dataclass(frozen=True, slots=True)
class Item:
    """A lesson that is touched, what is chosen for it, and what else there is.

    Where a horse is out it is a rider's place in it. `why` says who or what can't stand
    in at its time.
    """

    key: str
    lesson: Lesson
    rides: Sequence[Ride]
    choice: str
    says: str
    way: Way | None = None
    terms: tuple[Term, ...] = ()
    next_best: str = ""
    more: int | None = None
    fixed: bool = False
    options: tuple[Option, ...] = ()
    why: tuple[str, ...] = ()
    ride: Ride | None = None
    horse: Horse | None = None

    @property
    def starts_at(self) -> datetime:
        """When the lesson begins as chosen."""
        if self.way is None or self.way.from_s == int(
            self.lesson.starts_at.timestamp()
        ):
            return self.lesson.starts_at
        return start_of(self.way)

    @property
    def points(self) -> int:
        """What speaks against the choice."""
        return sum(one.points for one in self.terms)

    @property
    def cancels(self) -> bool:
        """Whether it is not held."""
        return self.choice == CANCEL

    @property
    def waits(self) -> bool:
        """Whether a rider is left without a horse for now."""
        return self.choice == NO_HORSE


@dataclass(frozen=True, slots=True)
class Proposal:
    """All that is touched, with what is proposed for it."""

    items: tuple[Item, ...]
    begun: tuple[Lesson, ...]
    asked: tuple[Lesson, ...]
    proved: bool = True
    teachers: Mapping[int, Instructor] = field(default_factory=dict)
    arenas: Mapping[int, Arena] = field(default_factory=dict)


def choices_of(proposal: Proposal) -> dict[str, str]:
    """Return what is chosen, by item."""
    return {one.key: one.choice for one in proposal.items}
