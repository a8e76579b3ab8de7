"""What a store holds for a row: in the whole yard, and where the row is to stand.

An arena's own pieces are those kept beside it; where none of a kind are, those of
the whole yard serve it. What it lacks is fetched from where else the kind is kept.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from exercises.geometry.elements import Element, Kind, Piece, pieces
from exercises.geometry.fit import Fit, Verdict

WHOLE_YARD = ""
"""The arena of what is kept beside none."""

STORE, AT_HAND = "store", " at hand"
"""The subject of a verdict on the store, and how one on an arena's pieces ends."""


@dataclass(frozen=True, slots=True)
class Kept:
    """Pieces of a kind in one place, beside an arena or the whole yard's."""

    piece: Piece
    place: str
    working: int
    broken: int = 0
    arena: str = WHOLE_YARD

    @property
    def where(self) -> str:
        """The place, with its arena where its name does not tell."""
        told = self.arena.casefold() in self.place.casefold()
        return self.place if told else f"{self.place} ({self.arena})"


@dataclass(frozen=True, slots=True)
class Store:
    """All that is kept, seen from an arena, or from nowhere in particular."""

    kept: tuple[Kept, ...]
    arena: str = WHOLE_YARD


EMPTY = Store(())
"""A store without a book: nothing is limited."""


@dataclass(frozen=True, slots=True)
class Lack:
    """What an arena's own working pieces of a kind do not suffice for.

    `sources` are the places to fetch the rest from, each with how many.
    """

    piece: Piece
    needed: int
    own: tuple[Kept, ...]
    arena: str
    sources: tuple[tuple[Kept, int], ...]

    @property
    def says(self) -> str:
        """Say what works, what is needed, and what to fetch from where."""
        several = f"{self.piece.value}s"
        fetch = _and(f"{count} from {one.where}" for one, count in self.sources)
        if not self.own:
            return f"{self.arena} has no {several} of its own: fetch {fetch}."
        whose = self.arena
        if self.own[0].arena == WHOLE_YARD:
            whose = _and(one.place for one in self.own)
        works = sum(one.working for one in self.own)
        return (
            f"{whose}'s {several}: {works} {'works' if works == 1 else 'work'}"
            f"{broken_words(self.own)}, this grid needs {self.needed}: fetch {fetch}."
        )


def own_of(kept: Iterable[Kept], arena: str, piece: Piece) -> tuple[Kept, ...]:
    """Return where an arena's own pieces of a kind are kept; none where it has none."""
    its = [one for one in kept if one.piece is piece]
    beside = tuple(one for one in its if arena and one.arena == arena)
    return beside or tuple(one for one in its if one.arena == WHOLE_YARD)


def lacks(needed: Mapping[Piece, int], store: Store) -> tuple[Lack, ...]:
    """Return what is to be fetched from elsewhere, where the whole yard has enough.

    From the whole yard's places first, then from those that have most.
    """
    found = []
    for piece in Piece:
        its = [one for one in store.kept if one.piece is piece]
        own = own_of(its, store.arena, piece)
        short = needed.get(piece, 0) - sum(one.working for one in own)
        if not its or short <= 0:
            continue
        elsewhere = sorted(
            (one for one in its if one not in own),
            key=lambda one: (one.arena != WHOLE_YARD, -one.working, one.place),
        )
        sources: list[tuple[Kept, int]] = []
        for one in elsewhere:
            count = min(one.working, short)
            short -= count
            if count:
                sources.append((one, count))
        if not short:
            found.append(Lack(piece, needed[piece], own, store.arena, tuple(sources)))
    return tuple(found)


def broken_words(kept: Sequence[Kept]) -> str:
    """Say how many are broken, " (6 of 10 are broken)" say; nothing where none is."""
    broken = sum(one.broken for one in kept)
    if not broken:
        return ""
    owned = broken + sum(one.working for one in kept)
    return f" ({broken} of {owned} {'is' if broken == 1 else 'are'} broken)"


def needed_for(stages: Iterable[Iterable[Element]]) -> Counter[Piece]:
    """Count the pieces a row needs at most while it is raised, stage by stage."""
    needed: Counter[Piece] = Counter()
    for stage in stages:
        total: Counter[Piece] = Counter()
        for element in stage:
            total += pieces(element)
        needed |= total
    return needed


def store_verdicts(
    stages: Sequence[Sequence[Element]], store: Store
) -> tuple[Verdict, ...]:
    """Hold a row, stage by stage, against the whole yard, then against an arena's own.

    Too few in the yard can't be overruled; what is kept elsewhere is to be looked at.
    """
    needed = needed_for(stages)
    if short := _short(needed, store.kept):
        return (
            Verdict(
                STORE,
                Fit.DOES_NOT,
                f"The row needs more than the store has: {', '.join(short)}.",
                short[0],
                _spare_words([element for stage in stages for element in stage]),
                firm=True,
            ),
        )
    figure = ", ".join(f"{count} {p.value}s" for p, count in sorted(needed.items()))
    if store.arena and (fetched := lacks(needed, store)):
        return tuple(
            Verdict(
                f"{one.piece.value}s{AT_HAND}",
                Fit.LOOK,
                one.says,
                f"{one.needed} {one.piece.value}s",
            )
            for one in fetched
        )
    return (Verdict(STORE, Fit.FITS, "The store has every piece.", figure),)


def is_of_store(subject: str) -> bool:
    """Say whether a verdict on this subject is one on the store."""
    return subject == STORE or subject.endswith(AT_HAND)


def _short(needed: Mapping[Piece, int], kept: Sequence[Kept]) -> list[str]:
    """Say of which pieces the whole yard has too few."""
    short = []
    for piece, count in sorted(needed.items()):
        its = [one for one in kept if one.piece is piece]
        works = sum(one.working for one in its)
        if its and count > works:
            short.append(f"{count} {piece.value}s of {works}{broken_words(its)}")
    return short


def _spare_words(elements: Sequence[Element]) -> str:
    if any(one.kind is Kind.OXER for one in elements):
        return (
            "Make an oxer a vertical (it saves two wings, a pole and two cups), or "
            "leave an element out."
        )
    if any(one.front_rails > 1 for one in elements):
        return "Take a rail out of a vertical, or leave an element out."
    return "Leave an element out, or mend or borrow the pieces."


def _and(words: Iterable[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


@dataclass(frozen=True, slots=True)
class Use:
    """A lesson that rides a grid: where, from when to when, what it needs."""

    arena: str
    begins: datetime
    ends: datetime
    needed: Mapping[Piece, int]
    what: str


@dataclass(frozen=True, slots=True)
class Need:
    """The most pieces that lessons need at one moment, and which lessons."""

    count: int
    uses: tuple[Use, ...]


def most_needed(uses: Iterable[Use], piece: Piece) -> Need:
    """Return the most pieces of a kind that lessons need at one moment, the first."""
    its = sorted(
        (one for one in uses if one.needed.get(piece)),
        key=lambda one: (one.begins, one.ends, one.arena),
    )
    best = Need(0, ())
    for first in its:
        at_once = tuple(x for x in its if x.begins <= first.begins < x.ends)
        count = sum(one.needed[piece] for one in at_once)
        if count > best.count:
            best = Need(count, at_once)
    return best
