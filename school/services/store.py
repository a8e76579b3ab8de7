"""What the store holds: pieces that work and pieces that are broken, place by place.

A row is fitted and a day planned with what works, over all places; what an arena has
not beside it is fetched.
"""

from datetime import datetime

from django.db import transaction

from exercises.geometry.elements import Piece
from school.models import Account, Arena, KeepingPlace, StorePiece
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
    beside: Arena | None = None,
) -> StorePiece:
    """Set how many of a piece work and are broken in one place; twice is once.

    Parameters
    ----------
    seen
        What stood there when it was looked at; None for a place that is new.
    weight_g
        Of one piece; None leaves it.
    beside
        The arena that a place which is new belongs to; one named like an arena is
        that arena's anyway.

    Raises
    ------
    UnableToSetStore
        For numbers or a place that are none, a new place without a weight, or
        where somebody else set it meanwhile.
    """
    place = " ".join(place.split())
    _check(place, held, weight_g)
    with transaction.atomic():
        rows = StorePiece.objects.select_for_update(of=("self",))
        found = rows.filter(piece=piece, place__name=place).first()
        one = found or StorePiece(piece=piece)
        was = (found.working, found.broken) if found else None
        if was == held and weight_g in (None, one.weight_g):
            return one
        if was != seen:
            raise UnableToSetStore(_meanwhile(piece, place, was))
        if was is None and weight_g is None:
            raise UnableToSetStore(f"Say what one {piece.value} weighs.")
        one.working, one.broken = held
        one.weight_g = weight_g or one.weight_g
        if found is None:
            one.place = _place_of(place, beside)
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


def _check(place: str, held: Held, weight_g: int | None) -> None:
    if not 0 < len(place) <= PLACE_LETTERS:
        raise UnableToSetStore(f"Name the place in at most {PLACE_LETTERS} letters.")
    if not all(0 <= count <= MOST for count in held):
        raise UnableToSetStore(f"Pieces are counted from 0 to {MOST}.")
    if weight_g is not None and not 0 < weight_g <= HEAVIEST_G:
        raise UnableToSetStore("One piece weighs from 0.1 to 100 kg.")


def set_beside(
    *, place: KeepingPlace, arena: Arena | None, by: Account | None, now: datetime
) -> KeepingPlace:
    """Say whose own the pieces of a place are: an arena's, or the whole yard's."""
    with transaction.atomic():
        one = KeepingPlace.objects.select_for_update(of=("self",)).get(pk=place.pk)
        was = one.arena
        if was == arena:
            return one
        one.arena = arena
        one.save(update_fields=["arena"])
        record(
            by=by,
            at=now,
            action="set keeping place",
            subject=one,
            before={"beside": was.name if was else ""},
            after={"beside": arena.name if arena else ""},
        )
        return one


def _place_of(name: str, beside: Arena | None) -> KeepingPlace:
    arena = beside or Arena.objects.filter(name__iexact=name).first()
    place, _ = KeepingPlace.objects.get_or_create(name=name, defaults={"arena": arena})
    return place


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
