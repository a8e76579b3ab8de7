"""What no horse may do all of, found while horses are looked for.

Some rules bind lessons together that each alone would keep: minutes with the waits
between, lessons without a rest, jumping, a week's hours. They are asked of what was
found, and each set of seats that is refused is forbidden from then on. Since nothing
else is forbidden, what is found in the end and keeps all rules is the best of all.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

Refuses = Callable[[int, tuple[int, ...]], bool]
"""Says of a horse and seats, by key, whether it may not do all of them together."""

Cut = tuple[int, frozenset[int]]
"""A horse and seats it may not do all of."""


def nothing_refused(mount: int, seats: tuple[int, ...]) -> bool:
    """Refuse nothing: there is no rule that binds lessons together."""
    return False


@dataclass(slots=True)
class Together:
    """The rules that bind lessons together, and what they were found to forbid.

    A rule is taken to refuse more where it refuses less: who may not do two lessons
    may not do these two and a third.
    """

    refuses: Refuses = nothing_refused
    mounts: tuple[int, ...] = ()
    cuts: set[Cut] = field(default_factory=set)
    asked: dict[Cut, bool] = field(default_factory=dict)

    def may_not(self, mount: int, seats: Iterable[int]) -> bool:
        """Say whether a horse may not do some seats together, each asked once."""
        key = (mount, frozenset(seats))
        if key not in self.asked:
            self.asked[key] = self.refuses(mount, tuple(sorted(key[1])))
        return self.asked[key]

    def broken_by(self, chosen: Mapping[int, int]) -> list[Cut]:
        """Return what is to be forbidden of a choice, the fewest seats of each.

        What one horse may not do is asked of all others too, which saves rounds.
        """
        new: set[Cut] = set()
        for mount, seats in _by_mount(chosen).items():
            if len(seats) < 2 or not self.may_not(mount, seats):
                continue
            fewest = self._fewest(mount, seats)
            new.add((mount, fewest))
            new |= {(m, fewest) for m in self.mounts if self.may_not(m, fewest)}
        self.cuts |= new
        return _in_order(new)

    @property
    def cuts_in_order(self) -> list[Cut]:
        """What was found so far, in an order that is always the same."""
        return _in_order(self.cuts)

    def _fewest(self, mount: int, seats: list[int]) -> frozenset[int]:
        """Return seats of which none can be left out without their being allowed."""
        left = list(seats)
        for one in seats:
            rest = [seat for seat in left if seat != one]
            if len(rest) > 1 and self.may_not(mount, rest):
                left = rest
        return frozenset(left)

    def mended(self, chosen: Mapping[int, int], keep: Iterable[int]) -> dict[int, int]:
        """Return a choice with seats left out until every rule is kept."""
        kept, fixed = dict(chosen), set(keep)
        for mount, seats in _by_mount(chosen).items():
            left = list(seats)
            for one in reversed(seats):
                if len(left) > 1 and one not in fixed and self.may_not(mount, left):
                    left.remove(one)
                    del kept[one]
        return kept


def _in_order(cuts: Iterable[Cut]) -> list[Cut]:
    return sorted(cuts, key=lambda one: (one[0], sorted(one[1])))


def _by_mount(chosen: Mapping[int, int]) -> dict[int, list[int]]:
    seats: dict[int, list[int]] = {}
    for seat, mount in sorted(chosen.items()):
        seats.setdefault(mount, []).append(seat)
    return seats
