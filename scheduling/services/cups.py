"""Cups counted back into the pail: what is missing is no longer planned with.

A horse treads on a cup that lies in the sand, so they are counted in and out.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from exercises.geometry.elements import Piece, pieces
from scheduling.dayplan.document import placed_from_data
from scheduling.models import Standing
from school.models import Account, Line, StorePiece
from school.services.audit import record

MOST = 10_000


class UnableToCount(ValueError):
    """A count that is refused, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True, slots=True)
class Cups:
    """Where the school's working cups are: on the lines, and the rest in the pail."""

    working: int
    broken: int
    on_lines: tuple[tuple[Line, int], ...]

    @property
    def pail(self) -> int:
        """How many should lie in the pail."""
        return max(0, self.working - sum(count for _, count in self.on_lines))


def cups_now() -> Cups:
    """Return where the cups are by the store and by what stands, in two queries."""
    rows = _rows()
    on_lines = [
        (one.line, cups_of(one.elements))
        for one in Standing.objects.select_related("line__arena").order_by(
            "line__arena__name", "line__name", "pk"
        )
    ]
    return Cups(
        sum(one.working for one in rows),
        sum(one.broken for one in rows),
        tuple((line, count) for line, count in on_lines if count),
    )


def cups_of(elements: Iterable[dict[str, object]]) -> int:
    """Count the cups that hold what stands."""
    return sum(pieces(placed_from_data(one).element)[Piece.CUP] for one in elements)


def count_cups(
    *, counted: int, expected: int, by: Account | None, now: datetime
) -> int:
    """Take a count of the pail; return how many are missing, below 0 how many more.

    What is missing counts as broken or lost, and the planner has it no longer;
    what is there again is taken from the broken ones. The same sent twice is
    taken once.

    Raises
    ------
    UnableToCount
        For a number that is none, or where the pail is another by now.
    """
    if not 0 <= counted <= MOST:
        raise UnableToCount("Give the number of cups in the pail.")
    with transaction.atomic():
        rows = list(_rows().select_for_update())
        should = cups_now().pail
        if counted == should:
            return 0
        if should != expected:
            raise UnableToCount(
                f"Meanwhile {should} should be in the pail, no longer {expected}. "
                "Count once more."
            )
        if not rows:
            raise UnableToCount("The store has no cups in its book yet.")
        missing = should - counted
        _take_off(rows, missing)
        record(
            by=by,
            at=now,
            action="count cups",
            subject=rows[0],
            before={"in_pail": should},
            after={"in_pail": counted},
        )
        return missing


def _rows() -> QuerySet[StorePiece]:
    return StorePiece.objects.filter(piece=Piece.CUP.value).order_by("-working", "pk")


def _take_off(rows: list[StorePiece], missing: int) -> None:
    """Move cups from working to broken, from where most are; or back again."""
    for one in rows:
        moved = max(min(missing, one.working), -one.broken)
        one.working -= moved
        one.broken += moved
        missing -= moved
    # More than ever was in the book: the book was wrong.
    if missing < 0:
        rows[0].working -= missing
    for one in rows:
        one.save(update_fields=["working", "broken"])
