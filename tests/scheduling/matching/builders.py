"""Seats and horses that may go together unless a test says otherwise."""

from itertools import count, pairwise, product

from scheduling.matching.engine import jumps_again
from scheduling.matching.problem import Mount, Problem, Seat
from scheduling.matching.together import Refuses, nothing_refused
from scheduling.matching.weighing import ruled_out, terms

HOUR = 3600
_keys = count(1)


def seat(**changes) -> Seat:
    key = changes.pop("key", None) or next(_keys)
    usual = {
        "name": f"Rider {key}",
        "lesson": 1,
        "from_s": 9 * HOUR,
        "to_s": 10 * HOUR,
        "weight_kg": 50,
        "level": 1,
        "highest_fence_cm": 80,
    }
    return Seat(key=key, **usual | changes)


def mount(**changes) -> Mount:
    key = changes.pop("key", None) or next(_keys)
    usual = {
        "name": f"Horse {key}",
        "weight_kg": 550,
        "height_cm": 160,
        "level": 1,
        "highest_fence_cm": 100,
    }
    return Mount(key=key, **usual | changes)


def judge(problem: Problem, refuses: Refuses = nothing_refused) -> tuple[int, int]:
    """Try everything: the most seats that can be, and then the fewest points.

    Shares with the engine only what one pair costs; time, rest and limits are read
    anew here, second by second of rest and lesson by lesson.
    """
    best = (len(problem.seats) + 1, 0)
    options = [[None, *problem.mounts] for _ in problem.seats]
    for choice in product(*options):
        points = _points(problem, choice, refuses)
        if points is not None:
            best = min(best, (sum(one is None for one in choice), points))
    return best


def _points(problem: Problem, choice, refuses: Refuses) -> int | None:
    total = 0
    chosen = {}
    for its, horse in zip(problem.seats, choice, strict=True):
        if its.fixed is not None and (horse is None or horse.key != its.fixed):
            return None
        if horse is None:
            continue
        if ruled_out(its, horse, problem.weights):
            return None
        total += sum(one.points for one in terms(its, horse, problem.weights))
        chosen[its.key] = horse.key
    for horse in problem.mounts:
        mine = [
            its
            for its, one in zip(problem.seats, choice, strict=True)
            if one is not None and one.key == horse.key
        ]
        spans = [(one.from_s, one.to_s) for one in mine]
        spans += [(one.from_s, one.to_s) for one in horse.held if one.work]
        spans.sort()
        if mine and len(spans) > horse.max_lessons:
            return None
        if mine and sum(to - since for since, to in spans) > horse.max_s:
            return None
        if len(mine) > 1 and refuses(horse.key, tuple(one.key for one in mine)):
            return None
        new = {(one.from_s, one.to_s) for one in mine}
        for first, second in pairwise(spans):
            if (first in new or second in new) and second[0] < first[1] + horse.rest_s:
                return None
    return total + sum(jumps_again(problem, chosen).values())
