"""What two lists of changeovers have in common.

A new order of the day makes new lists. What was ticked on the old one still holds
where the new one asks for the same step in the same work; what differs is told to
whoever has the old one in the hand.
"""

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Listed:
    """A changeover as a list has it.

    Parameters
    ----------
    gap
        The line, and the lessons before and after.
    work
        The line and the lesson it is for.
    steps
        Its moves in order; equal where the same is to be done.
    starts_at, ends_at
        From when to when.
    who
        Whose it is, empty where it is nobody's.
    """

    gap: Hashable
    work: Hashable
    steps: tuple[Hashable, ...]
    starts_at: datetime
    ends_at: datetime
    who: str


@dataclass(frozen=True, slots=True)
class Difference:
    """What a changeover has otherwise than before.

    Parameters
    ----------
    moved
        Whether its time is another.
    given
        Whether it is somebody else's.
    added, dropped
        How many of its steps are new, and how many are no more.
    turned
        Whether the steps that stay come in another order.
    """

    moved: bool
    given: bool
    added: int
    dropped: int
    turned: bool

    def __bool__(self) -> bool:
        return any((self.moved, self.given, self.added, self.dropped, self.turned))


def same_work(old: Sequence[Listed], new: Sequence[Listed]) -> dict[int, int]:
    """Return which of the new changeovers each old one has become, by place.

    The same gap comes first; what is left of the old is the same work where line
    and lesson are.
    """
    found = _pairs([one.gap for one in old], [one.gap for one in new])
    left = [n for n in range(len(old)) if n not in found]
    free = [n for n in range(len(new)) if n not in set(found.values())]
    more = _pairs([old[n].work for n in left], [new[n].work for n in free])
    return found | {left[a]: free[b] for a, b in more.items()}


def same_steps(old: Sequence[Hashable], new: Sequence[Hashable]) -> dict[int, int]:
    """Return where each old step stands among the new, as far as it is there."""
    return _pairs(old, new)


def _pairs(old: Sequence[Hashable], new: Sequence[Hashable]) -> dict[int, int]:
    """Pair equal things, the first with the first and the second with the second."""
    places = {key: n for n, key in enumerate(_numbered(new))}
    return {n: places[key] for n, key in enumerate(_numbered(old)) if key in places}


def _numbered(things: Sequence[Hashable]) -> list[tuple[Hashable, int]]:
    seen: Counter[Hashable] = Counter()
    numbered = []
    for one in things:
        seen[one] += 1
        numbered.append((one, seen[one]))
    return numbered


def difference(old: Listed, new: Listed) -> Difference:
    """Return what a changeover has otherwise than before."""
    kept = same_steps(old.steps, new.steps)
    order = list(kept.values())
    return Difference(
        moved=(old.starts_at, old.ends_at) != (new.starts_at, new.ends_at),
        given=old.who != new.who,
        added=len(new.steps) - len(kept),
        dropped=len(old.steps) - len(kept),
        turned=order != sorted(order),
    )
