"""Whether the resets of a settled day find their minutes, and when.

Every reset has its windows (the gaps of its arena in which it may lie), its
minutes, and people to do it. Tried by depth first search over which reset comes
next, each as early as it can be; that is exact, since resets that can be timed can
be timed so. Beyond a count of tries it says that it does not know.
"""

from collections.abc import Sequence
from dataclasses import dataclass

Window = tuple[int, int]

MOST_TRIES = 3_000


@dataclass(frozen=True, slots=True)
class Job:
    """A reset to time.

    Parameters
    ----------
    minutes
        How long it takes [min].
    windows
        Times in which it may lie, ascending [min of the day].
    """

    minutes: int
    windows: tuple[Window, ...]

    @property
    def latest_end(self) -> int:
        """End of its last window that is long enough; -1 if there is none."""
        return max((b for a, b in self.windows if b - a >= self.minutes), default=-1)

    def earliest(self, start: int) -> int | None:
        """Return the first start from `start` on at which it lies in a window."""
        for begin, end in self.windows:
            at = max(begin, start)
            if at + self.minutes <= end:
                return at
        return None


class TooManyTries(Exception):
    """The search was ended before it knew."""


def time_resets(jobs: Sequence[Job], crew: int) -> tuple[int, ...] | None:
    """Return a start for each reset with at most `crew` at once; None if none is.

    Raises
    ------
    TooManyTries
        If that is not known within a bound of tries.
    """
    if any(one.latest_end < 0 for one in jobs) or (jobs and crew < 1):
        return None
    starts: list[int] = [0] * len(jobs)
    at = 0
    order = sorted(range(len(jobs)), key=lambda n: jobs[n].windows[0][0])
    # Resets that can't meet any before them are timed apart: a day is many small
    # questions, not a large one.
    while at < len(order):
        group = [order[at]]
        ends = jobs[order[at]].latest_end
        while (
            at + len(group) < len(order)
            and jobs[order[at + len(group)]].windows[0][0] < ends
        ):
            group.append(order[at + len(group)])
            ends = max(ends, jobs[group[-1]].latest_end)
        found = _group([jobs[n] for n in group], crew)
        if found is None:
            return None
        for n, start in zip(group, found, strict=True):
            starts[n] = start
        at += len(group)
    return tuple(starts)


def _group(jobs: list[Job], crew: int) -> list[int] | None:
    search = _Search(jobs)
    free = (0,) * min(crew, len(jobs))
    return search.starts if search.place(free, frozenset(range(len(jobs)))) else None


class _Search:
    def __init__(self, jobs: list[Job]) -> None:
        self.jobs = jobs
        self.starts = [0] * len(jobs)
        self.tries = 0
        self.dead: set[tuple[tuple[int, ...], frozenset[int]]] = set()

    def place(self, free: tuple[int, ...], left: frozenset[int]) -> bool:
        """Time what is left, with each of the crew free from a moment on."""
        if not left:
            return True
        if (free, left) in self.dead:
            return False
        self.tries += 1
        if self.tries > MOST_TRIES:
            raise TooManyTries
        options = []
        for n in left:
            at = self.jobs[n].earliest(free[0])
            if at is None:
                # Nobody is free sooner, so it can't be done any more.
                self.dead.add((free, left))
                return False
            options.append((self.jobs[n].latest_end, at, n))
        soonest = min(at + self.jobs[n].minutes for _, at, n in options)
        for _, at, n in sorted(options):
            # One that begins only when another could be over may as well wait.
            if at >= soonest and len(left) > 1:
                continue
            self.starts[n] = at
            then = tuple(sorted((at + self.jobs[n].minutes, *free[1:])))
            if self.place(then, left - {n}):
                return True
        self.dead.add((free, left))
        return False
