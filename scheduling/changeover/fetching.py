"""What has to be fetched from another place before a changeover, and from where.

The changeovers of a day are gone through in their order. What an arena takes off a
line lies beside that arena until somebody needs it; what stands on a line is not
there to fetch. Every piece that is needed is one that lies free by then, each used
once until it is free again, so that as few as can be are fetched over the day.
"""

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from exercises.geometry.elements import Piece
from exercises.geometry.store import WHOLE_YARD, Kept, own_of

NOWHERE = ""
"""The place of a piece that lies free nowhere by then."""

_FIRST = float("-inf")


@dataclass(frozen=True, slots=True)
class Stands:
    """What stands on a line of an arena before the first changeover."""

    line: Hashable
    arena: str
    holds: Mapping[Piece, int]


@dataclass(frozen=True, slots=True)
class Turn:
    """A changeover: what its line holds from its beginning on, until the next one.

    While it is made the line holds what it held and what it will: pieces are free
    at its end, and needed at its beginning.
    """

    key: Hashable
    line: Hashable
    arena: str
    begins: float
    ends: float
    holds: Mapping[Piece, int]


@dataclass(frozen=True, slots=True)
class Fetch:
    """Pieces of a kind to fetch for a changeover; `place` NOWHERE where none are."""

    piece: Piece
    count: int
    place: str


@dataclass(slots=True)
class _Pieces:
    """The pieces of one kind as they become free, and as they are needed."""

    free: list[tuple[float, str]] = field(default_factory=list)
    needed: list[tuple[float, str, Hashable]] = field(default_factory=list)


def fetches_of(
    kept: Sequence[Kept], standing: Iterable[Stands], turns: Sequence[Turn]
) -> dict[Hashable, tuple[Fetch, ...]]:
    """Return what is to be fetched before each changeover, by its key.

    Exact: no other choice of places fetches fewer pieces in all. Of equal ones, what
    is the whole yard's is taken before what is another arena's own.

    Parameters
    ----------
    kept
        What works, by place; a kind that is kept nowhere is not limited.
    standing
        What stands before the first of the changeovers, line by line.
    turns
        The changeovers, in any order.
    """
    found: dict[Hashable, list[Fetch]] = defaultdict(list)
    stands = tuple(standing)
    for piece in Piece:
        its = [one for one in kept if one.piece is piece]
        if all(one.arena == WHOLE_YARD for one in its):
            continue
        for (key, place), count in sorted(
            _fetched(piece, its, stands, turns).items(),
            key=lambda one: (one[0][1] == NOWHERE, one[0][1]),
        ):
            found[key].append(Fetch(piece, count, place))
    return {key: tuple(its) for key, its in found.items()}


def _fetched(
    piece: Piece,
    kept: Sequence[Kept],
    standing: Sequence[Stands],
    turns: Sequence[Turn],
) -> Counter[tuple[Hashable, str]]:
    """Return how many of a kind are fetched for each changeover from each place."""
    arenas = {one.arena for one in standing} | {one.arena for one in turns}
    own = {
        arena: [one.place for one in own_of(kept, arena, piece)] or [arena]
        for arena in arenas
    }
    pieces = _free_and_needed(piece, kept, standing, turns, own)
    if not pieces.needed:
        return Counter()
    common = {one.place for one in kept if one.arena == WHOLE_YARD}
    spots = {place for _, place in pieces.free}
    order = sorted(spots, key=lambda place: (place not in common, place))
    # One piece fetched less outweighs any choice of places, one that is there at all
    # any number fetched; what is needed first is served first.
    wanted = len(pieces.needed)
    many = wanted * (len(order) + 1) + 1
    lost = many * many * np.arange(wanted + 1, 1, -1, dtype=np.float64)
    # One column more for each that is needed, for the case that it is had nowhere.
    cost = np.repeat(lost[:, None], len(pieces.free) + wanted, axis=1)
    since = np.array([since for since, _ in pieces.free])
    at = np.array([order.index(place) for _, place in pieces.free], dtype=np.int64)
    asked = {
        arena: np.array(
            [0 if x in own[arena] else many + n for n, x in enumerate(order)]
        )
        for arena in arenas
    }
    for row, (when, arena, _) in enumerate(pieces.needed if pieces.free else ()):
        there = np.flatnonzero(since <= when)
        cost[row, there] = asked[arena][at[there]]
    rows, columns = linear_sum_assignment(cost)
    fetched: Counter[tuple[Hashable, str]] = Counter()
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        key = pieces.needed[row][2]
        if cost[row, column] == lost[row]:
            fetched[key, NOWHERE] += 1
        elif cost[row, column]:
            fetched[key, pieces.free[column][1]] += 1
    return fetched


def _free_and_needed(
    piece: Piece,
    kept: Sequence[Kept],
    standing: Sequence[Stands],
    turns: Sequence[Turn],
    own: Mapping[str, Sequence[str]],
) -> _Pieces:
    """Return when and where each piece of a kind is free, and needed for what."""
    pieces = _Pieces()
    pieces.free = [
        (_FIRST, place)
        for place, count in _left(piece, kept, standing, own).items()
        for _ in range(count)
    ]
    holds = {one.line: one.holds.get(piece, 0) for one in standing}
    for turn in sorted(turns, key=lambda one: (one.begins, one.ends, str(one.key))):
        was, now = holds.get(turn.line, 0), turn.holds.get(piece, 0)
        holds[turn.line] = now
        pieces.needed += [(turn.begins, turn.arena, turn.key)] * (now - was)
        pieces.free += [(turn.ends, own[turn.arena][0])] * (was - now)
    return pieces


def _left(
    piece: Piece,
    kept: Sequence[Kept],
    standing: Sequence[Stands],
    own: Mapping[str, Sequence[str]],
) -> dict[str, int]:
    """Return what lies in each place while something stands already.

    What stands in an arena is its own as far as that goes, then the whole yard's,
    then of where most lies.
    """
    left = {one.place: one.working for one in kept}
    beyond = 0
    for one in standing:
        count = one.holds.get(piece, 0)
        for place in own[one.arena]:
            taken = min(left.get(place, 0), count)
            if taken:
                left[place] -= taken
                count -= taken
        beyond += count
    elsewhere = sorted(
        kept, key=lambda one: (one.arena != WHOLE_YARD, -one.working, one.place)
    )
    for other in elsewhere:
        taken = min(left[other.place], beyond)
        left[other.place] -= taken
        beyond -= taken
    return left
