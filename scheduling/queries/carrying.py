"""How the yard carries its pieces."""

from collections.abc import Mapping
from dataclasses import dataclass

from exercises.geometry.elements import Piece
from school.models import School, StorePiece


@dataclass(frozen=True, slots=True)
class Carrying:
    """How a yard carries: what pieces weigh [g], what one carries, who helps."""

    weights_g: Mapping[Piece, int]
    carries_kg: int = 16
    helpers: int = 1


def carrying_of_yard(school: School) -> Carrying:
    """Return how the yard carries, as it is set; one query."""
    return Carrying(piece_weights(), school.carries_kg, school.helpers)


def piece_weights() -> dict[Piece, int]:
    """Return what a piece of each kind weighs, the heaviest counting [g]."""
    found: dict[Piece, int] = {}
    for one in StorePiece.objects.order_by("piece", "pk"):
        piece = Piece(one.piece)
        found[piece] = max(found.get(piece, 0), one.weight_g)
    return found
