"""What the store holds: pieces that work and pieces that are broken, place by place.

A row is fitted and a day planned with what works, over all places.
"""

from datetime import datetime

from django.db import transaction

from exercises.geometry.elements import Piece
from school.models import Account, StorePiece
from school.services.audit import record

MOST = 10_000
HEAVIEST_G = 100_000
PLACE_LETTERS = 60

Held = tuple[int, int]
"""Pieces that work, and pieces that are broken or lost."""


class UnableToSetStore(ValueError):
    """A change of the store that is refused, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def set_store(
    *,
    piece: Piece,
    place: str,
    held: Held,
    seen: Held | None,
    by: Account | None,
    now: datetime,
    weight_g: int | None = None,
) -> StorePiece:
    """Set how many of a piece work and are broken in one place; twice is once.

    Parameters
    ----------
    seen
        What stood there when it was looked at; None for a place that is new.
    weight_g
        Of one piece; None leaves it.

    Raises
    ------
    UnableToSetStore
        For numbers or a place that are none, a new place without a weight, or
        where somebody else set it meanwhile.
    """
    place = " ".join(place.split())
    if not 0 < len(place) <= PLACE_LETTERS:
        raise UnableToSetStore(f"Name the place in at most {PLACE_LETTERS} letters.")
    if not all(0 <= count <= MOST for count in held):
        raise UnableToSetStore(f"Pieces are counted from 0 to {MOST}.")
    if weight_g is not None and not 0 < weight_g <= HEAVIEST_G:
        raise UnableToSetStore("One piece weighs from 0.1 to 100 kg.")
    with transaction.atomic():
        row = StorePiece.objects.select_for_update().filter(piece=piece, place=place)
        found = row.first()
        one = found or StorePiece(piece=piece, place=place)
        was = (found.working, found.broken) if found else None
        if was == held and weight_g in (None, one.weight_g):
            return one
        if was != seen:
            raise UnableToSetStore(_meanwhile(piece, place, was))
        if was is None and weight_g is None:
            raise UnableToSetStore(f"Say what one {piece.value} weighs.")
        one.working, one.broken = held
        one.weight_g = weight_g or one.weight_g
        one.save()
        record(
            by=by,
            at=now,
            action="set store",
            subject=one,
            before=None if was is None else _as_data(was),
            after=_as_data(held),
        )
        return one


def _as_data(held: Held) -> dict[str, int]:
    return dict(zip(("working", "broken"), held, strict=True))


def _meanwhile(piece: Piece, place: str, was: Held | None) -> str:
    if was is None:
        return f"No {piece.value} is in the book for {place} yet. Look again."
    working, broken = was
    return (
        f"Meanwhile {place} has {working} that work and {broken} broken of the "
        f"piece {piece.value}. Look again before you set it."
    )
