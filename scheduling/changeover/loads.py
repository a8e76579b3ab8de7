"""What is carried in a changeover: from where to where, and how much at once.

A piece that one fence frees and another wants goes straight from fence to fence;
the rest goes to the store or comes from it. What has one way is parted into
armfuls by weight. Cups leave a fence first, with its poles, and come with the
poles last, so that none waits on a wing without a pole.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot

import numpy as np
from scipy.optimize import linear_sum_assignment

from exercises.geometry.elements import Piece, pieces
from scheduling.changeover.setups import PlacedElement

Step = tuple[PlacedElement | None, PlacedElement | None]
"""What stood, and what is to stand."""

Spot = int | None
"""A place of the walk: centimetres from the line's datum, or None for the store."""

ONE_HAND_G = 5_000
"""What one hand carries (the project's own estimate) [g]."""

USUAL_G: Mapping[Piece, int] = {
    Piece.WING: 12_000,
    Piece.POLE: 12_000,
    Piece.CUP: 400,
    Piece.BLOCK: 3_000,
    Piece.PLANK: 11_000,
}
"""What a piece weighs where the store does not say (planks and round poles by the
weights competitions ask for, the rest from memory): weigh your own [g]."""

_POLES_FIRST = (Piece.CUP, Piece.POLE, Piece.PLANK, Piece.BLOCK, Piece.WING)


@dataclass(frozen=True, slots=True)
class Crew:
    """Who carries, and what.

    Parameters
    ----------
    people
        One, or two who go together.
    carries_g
        What one person carries [g]. By default what the guide figures of the
        United Kingdom's Health and Safety Executive give for women between
        knuckle and elbow; they are filters for assessment, not limits.
    weights_g
        What a piece weighs [g].
    """

    people: int = 1
    carries_g: int = 16_000
    weights_g: Mapping[Piece, int] = field(default_factory=lambda: USUAL_G)

    @property
    def most_g(self) -> int:
        """What is carried in one go, in grams."""
        return self.people * self.carries_g

    def weighs(self, piece: Piece) -> int:
        """Return what a piece weighs, in grams."""
        return self.weights_g.get(piece, USUAL_G[piece])

    def weight_class(self, piece: Piece) -> int:
        """Return 1 for one hand, 2 for one person, 3 for two people."""
        weight = self.weighs(piece)
        if weight <= ONE_HAND_G:
            return 1
        return 2 if weight <= self.carries_g else 3


@dataclass(frozen=True, slots=True)
class Ground:
    """Where the store lies as seen from the line.

    Parameters
    ----------
    store_at_cm
        Level with which point of the line, from its datum [cm].
    store_aside_cm
        How far from the line [cm].
    """

    store_at_cm: int = 0
    store_aside_cm: int = 1_000

    def way(self, one: Spot, other: Spot) -> float:
        """Return the way from spot to spot, in centimetres."""
        if one is None and other is None:
            return 0.0
        if one is None or other is None:
            on_line = one if other is None else other
            return hypot((on_line or 0) - self.store_at_cm, self.store_aside_cm)
        return float(abs(one - other))


@dataclass(frozen=True, slots=True)
class Armful:
    """What is carried in one go: pieces with their number, and their weight.

    Armfuls of one pair of spots leave in their order. Where two people are needed,
    or a piece is beyond what is carried, the weight is all that can be carried.
    """

    pieces: tuple[tuple[Piece, int], ...]
    weight_g: int


@dataclass(frozen=True, slots=True)
class Freight:
    """Everything that goes from one spot to another, in armfuls."""

    origin: Spot
    to: Spot
    armfuls: tuple[Armful, ...]

    @property
    def pieces(self) -> Counter[Piece]:
        """Count the pieces of all armfuls."""
        total: Counter[Piece] = Counter()
        for one in self.armfuls:
            total.update(dict(one.pieces))
        return total


def freight_of(
    steps: Sequence[Step], ground: Ground, crew: Crew, *, by_store: bool = False
) -> tuple[Freight, ...]:
    """Return what the steps of a changeover carry between fences and the store.

    What a fence keeps while it is shifted is left out. With `by_store` nothing
    goes straight from fence to fence.
    """
    freed: dict[Piece, list[int]] = defaultdict(list)
    wanted: dict[Piece, list[int]] = defaultdict(list)
    for was, now in steps:
        before = Counter[Piece]() if was is None else pieces(was.element)
        after = Counter[Piece]() if now is None else pieces(now.element)
        for piece, count in (before - after).items():
            freed[piece] += [was.at_cm if was else 0] * count
        for piece, count in (after - before).items():
            wanted[piece] += [now.at_cm if now else 0] * count
    ways: dict[tuple[Spot, Spot], Counter[Piece]] = defaultdict(Counter)
    for piece in Piece:
        for way in _ways(freed[piece], wanted[piece], ground, by_store):
            ways[way][piece] += 1
    found = [
        Freight(origin, to, _armfuls(count, crew, last_poles=origin is None))
        for (origin, to), count in ways.items()
        if origin != to
    ]
    return tuple(sorted(found, key=_in_order))


def _in_order(one: Freight) -> tuple[bool, int, int]:
    """Sort by what leaves a fence first, then what comes from the store."""
    return one.origin is None, one.origin or 0, one.to or 0


def _ways(
    freed: Sequence[int], wanted: Sequence[int], ground: Ground, by_store: bool
) -> Iterable[tuple[Spot, Spot]]:
    """Return from where to where each piece of one kind goes: least carrying."""
    pairs: list[tuple[int, int]] = []
    if freed and wanted and not by_store:
        saved = np.array(
            [
                [
                    ground.way(a, None) + ground.way(None, b) - ground.way(a, b)
                    for b in wanted
                ]
                for a in freed
            ]
        )
        rows, columns = linear_sum_assignment(saved, maximize=True)
        pairs = [(int(i), int(j)) for i, j in zip(rows, columns, strict=True)]
    ways: list[tuple[Spot, Spot]] = [(freed[i], wanted[j]) for i, j in pairs]
    left = {i for i, _ in pairs}
    ways += [(at, None) for i, at in enumerate(freed) if i not in left]
    filled = {j for _, j in pairs}
    ways += [(None, at) for j, at in enumerate(wanted) if j not in filled]
    return ways


def _armfuls(
    count: Mapping[Piece, int], crew: Crew, *, last_poles: bool
) -> tuple[Armful, ...]:
    """Part pieces into armfuls, one after another, none above what is carried."""
    order = reversed(_POLES_FIRST) if last_poles else _POLES_FIRST
    found: list[Armful] = []
    hand, weight = Counter[Piece](), 0

    def put_down() -> None:
        if hand:
            packed = tuple((piece, hand[piece]) for piece in Piece if hand[piece])
            found.append(Armful(packed, min(weight, crew.most_g)))

    for piece in order:
        for _ in range(count.get(piece, 0)):
            alone = crew.weight_class(piece) == 3
            more = crew.most_g if alone else crew.weighs(piece)
            if weight + more > crew.most_g:
                put_down()
                hand, weight = Counter(), 0
            hand[piece] += 1
            weight += more
    put_down()
    return tuple(found)


def shift_walks(was: PlacedElement, now: PlacedElement, crew: Crew) -> int:
    """Count the armfuls in which a fence that stays whole is shifted; cups stay in."""
    kept = pieces(was.element) & pieces(now.element)
    kept.pop(Piece.CUP, None)
    return max(1, len(_armfuls(kept, crew, last_poles=False)))
