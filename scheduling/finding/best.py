"""The best of many times for a lesson, without judging all of them to the end.

What speaks against a time costs more to find out the more exactly it is asked: from
the diary alone, then which horses can go, then what the fences take. So each time is
asked in stages that never say too much, and only while it may still be among the
best. What comes out is what judging every time to the end would give.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import Generic, TypeVar

Points = float
"""What speaks against a time; less is better."""


@dataclass(frozen=True, slots=True, order=True)
class Time:
    """A time for a lesson: day by day, its start [min of the day], and the arena."""

    day: int
    start_min: int
    arena: int


Stage = Callable[[Time], Points | None]
"""Points that a time has at least, or None where it can't be."""


@dataclass(frozen=True)
class Choice:
    """How many times are shown, and how they are spread so that there is a choice.

    Parameters
    ----------
    most, a_day
        Times in all, and on one day.
    apart_min
        Two on one day start at least so far from each other [min].
    """

    most: int = 10
    a_day: int = 2
    apart_min: int = 60

    def allows(self, time: Time, chosen: Iterable[Time]) -> bool:
        """Say whether a time adds to the choice there is."""
        there = [one for one in chosen if one.day == time.day]
        return len(there) < self.a_day and all(
            abs(one.start_min - time.start_min) >= self.apart_min for one in there
        )


T = TypeVar("T", bound=Time)


@dataclass(frozen=True, slots=True)
class Found(Generic[T]):
    """The best times with their points, and how many were judged to each stage."""

    best: tuple[tuple[T, Points], ...]
    judged: tuple[int, ...]


def best_times(
    times: Iterable[T], stages: Sequence[Callable[[T], Points | None]], choice: Choice
) -> Found[T]:
    """Return the best times, the fewest points first, the earlier where they tie.

    Parameters
    ----------
    times
        All that come into question.
    stages
        Each gives points no fewer than the one before; the last one's are the time's
        own. None of them may change its mind.
    choice
        How many, and how far from each other.
    """
    judged = [0] * len(stages)
    heap: list[tuple[Points, T, int]] = []
    for one in times:
        judged[0] += 1
        points = stages[0](one)
        if points is not None:
            heap.append((points, one, 1))
    heapify(heap)
    best: list[tuple[T, Points]] = []
    while heap and len(best) < choice.most:
        points, one, stage = heappop(heap)
        if not choice.allows(one, (time for time, _ in best)):
            continue
        if stage == len(stages):
            best.append((one, points))
            continue
        judged[stage] += 1
        sharper = stages[stage](one)
        if sharper is not None:
            heappush(heap, (max(points, sharper), one, stage + 1))
    return Found(tuple(best), tuple(judged))
