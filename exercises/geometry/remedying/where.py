"""Where a fault is seen: the row, the element, the stage that stands."""

from dataclasses import dataclass

from exercises.geometry.editing.edits import Edit
from exercises.geometry.elements import FENCES, Kind, Side
from exercises.geometry.spec import ExerciseSpec, SpecElement
from exercises.geometry.units import Units


class NotHere(Exception):
    """A remedy that is none for a row; says why."""


@dataclass(frozen=True, slots=True)
class Where:
    """The row, the element the fault is seen at, the stage that stands."""

    spec: ExerciseSpec
    at: int
    stage: int
    side: Side | None
    units: Units

    @property
    def one(self) -> SpecElement:
        """The element as it stands."""
        return self.spec.played[self.stage][self.at]

    @property
    def standing_before(self) -> tuple[int, SpecElement] | None:
        """The element that stands before it, with its slot."""
        slots = [n for n in self.spec.played[self.stage] if n < self.at]
        if not slots:
            return None
        return max(slots), self.spec.played[self.stage][max(slots)]

    @property
    def name(self) -> str:
        """The element by its place in the row."""
        return f"element {self.at + 1} ({self.one.kind.value.replace('-', ' ')})"

    @property
    def first_fence(self) -> int:
        """The first element that is ever a fence; refused where there is none."""
        for n, one in enumerate(self.spec.meant):
            if one.kind in FENCES:
                return n
        raise NotHere("there is no fence in this row")


Made = tuple[tuple[Edit, ...], str]
"""The edits of a remedy, and its amount in words."""


def fence_at(where: Where, *kinds: Kind) -> SpecElement:
    """Return the element, or refuse one that is no fence of these kinds."""
    one = where.one
    if one.kind not in (kinds or FENCES):
        wanted = " or ".join(kind.value for kind in kinds) if kinds else "fence"
        raise NotHere(f"{where.name} is no {wanted}")
    return one
