"""Which line of an arena each row stands on, for the least sum of resets.

Rows come in the order of their lessons; each goes to one of the arena's lines.
Depth first, with the least seconds of each line so far (they never fall as rows
are added) and the least that each row still to come costs anywhere.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from scheduling.dayplan.chains import CLEAR, NEVER, Chains, Steps
from scheduling.dayplan.timing import TooManyTries

MOST_TRIES = 1_000
"""Beginnings of an arena's day that are tried, where it has several lines."""


@dataclass(frozen=True, slots=True)
class LineCosts:
    """The least resets of an arena: seconds, and each line's sequence."""

    seconds: int
    steps: tuple[tuple[int, Steps], ...]


def least_lines(chains: Chains, arena: int, users: tuple[int, ...]) -> LineCosts | None:
    """Return the lines for an arena's users in their order; None if one fits none.

    Parameters
    ----------
    chains
        Costs of sequences.
    arena
        Its number.
    users
        Lessons with a row, and those that need the arena clear, by their start.

    Raises
    ------
    TooManyTries
        If the least is not known within a bound of tries.
    """
    lines = [k for k, (where, _) in enumerate(chains.lines) if where == arena]
    fits = {
        n: [k for k in lines if chains.runs(n, k)]
        for n in users
        if chains.row(n) is not None
    }
    if not all(fits.values()):
        return None
    search = _Search(chains, users, fits)
    search.go(0, dict.fromkeys(lines, ()), 0)
    return LineCosts(search.best, tuple(search.found.items()))


Use = tuple[int, int | None, int]
"""A row on a line: the line, the step before it (None: the morning), the lesson."""

Possible = Callable[[tuple[Use, ...]], bool]
"""Whether these uses of an arena's lines may be part of a day at all."""


def possible_lines(
    chains: Chains, arena: int, users: tuple[int, ...], most: int, possible: Possible
) -> list[LineCosts] | None:
    """Return every choice of lines that is possible, with a lower bound of its cost.

    None where there are more than `most`. Every row must fit a line.

    Parameters
    ----------
    chains, arena, users
        As in `least_lines`.
    most
        Choices that are kept at most, on the way too.
    possible
        Asked as rows are added; what it refuses is not looked at further.
    """
    lines = [k for k, (where, _) in enumerate(chains.lines) if where == arena]
    empty: dict[int, Steps] = dict.fromkeys(lines, ())
    ways: list[tuple[dict[int, Steps], tuple[Use, ...]]] = [(empty, ())]
    for user in users:
        if chains.row(user) is None:
            ways = [
                ({k: (*its, CLEAR) for k, its in way.items()}, uses)
                for way, uses in ways
            ]
            continue
        added = [
            (way | {k: (*way[k], user)}, (*uses, (k, _last(way[k]), user)))
            for way, uses in ways
            for k in lines
            if chains.runs(user, k)
        ]
        ways = [one for one in added if possible(one[1])]
        if len(ways) > most:
            return None
    return [
        LineCosts(sum(chains.least(*use) for use in uses), tuple(way.items()))
        for way, uses in ways
    ]


def exactly(chains: Chains, lines: LineCosts) -> LineCosts:
    """Return a choice of lines with what it costs, rows placed together."""
    total = sum(chains.total(line, steps) for line, steps in lines.steps)
    return LineCosts(total, lines.steps)


def _last(steps: Steps) -> int | None:
    return steps[-1] if steps else None


@dataclass(slots=True)
class _Search:
    chains: Chains
    users: tuple[int, ...]
    fits: dict[int, list[int]]
    best: int = NEVER
    found: dict[int, Steps] = field(default_factory=dict)
    tries: int = 0

    def go(self, at: int, steps: dict[int, Steps], so_far: int) -> None:
        """Place the users from `at` on; `so_far` is what the lines cost already."""
        self.tries += len(steps) > 1
        if self.tries > MOST_TRIES:
            raise TooManyTries
        if so_far + self._least_to_come(at, steps) >= self.best:
            return
        if at == len(self.users):
            self.best, self.found = so_far, dict(steps)
            return
        user = self.users[at]
        for then in self._ways(user, steps):
            self.go(at + 1, then, sum(map(self.chains.total, then, then.values())))

    def _ways(self, user: int, steps: dict[int, Steps]) -> list[dict[int, Steps]]:
        """Return what the lines are used for with one more user, cheapest first."""
        if self.chains.row(user) is None:
            return [{line: (*its, CLEAR) for line, its in steps.items()}]
        ways = [steps | {line: (*steps[line], user)} for line in self.fits[user]]
        if len(ways) > 1:
            ways.sort(key=lambda way: sum(map(self.chains.total, way, way.values())))
        return ways

    def _least_to_come(self, at: int, steps: dict[int, Steps]) -> int:
        """Least that the rows from `at` on cost, each by itself on its best line.

        Before a row on a line stands what stands there now, or one of the rows
        (or clearings) between.
        """
        if len(steps) == 1:
            return 0
        total = 0
        for n in range(at, len(self.users)):
            user = self.users[n]
            if user not in self.fits:
                continue
            between = [one if one in self.fits else CLEAR for one in self.users[at:n]]
            total += min(
                self.chains.least(line, stood, user)
                for line in self.fits[user]
                for stood in {_last(steps[line]), *between}
                if stood is None or stood == CLEAR or line in self.fits[stood]
            )
        return total
