"""The least objective of a small day whose store may run short, by trying everything.

To what `exhaustive` tries this adds where a line is stripped before it is needed
again, so that its pieces come free, and the pieces that stand at each minute. A reset
is tried wherever some chain of resets, from the beginning or the end of a gap, could
put it: if any timing keeps the rules, one of these does.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

from scheduling.dayplan.check_resets import handling_times
from scheduling.dayplan.check_rules import plain, stood
from scheduling.dayplan.cost import cheapest_seconds, count_pieces
from scheduling.dayplan.day import Day
from scheduling.dayplan.document import read_day
from tests.scheduling.exhaustive import Choice, choices, clashes, moves

END = 48 * 60


@dataclass(frozen=True)
class Reset:
    """A reset on a line: what it makes of what, the gaps it may lie in [min]."""

    line: tuple[str, str]
    minutes: int
    gaps: tuple[tuple[int, int], ...]
    before: Counter[str]
    after: Counter[str]


def least_objective(document: dict[str, Any]) -> int | None:
    """Return the least objective, or None where nothing keeps the rules."""
    day = read_day(document)
    best: int | None = None
    for chosen in product(*(choices(day, lesson) for lesson in day.lessons)):
        if clashes(day, chosen):
            continue
        moved = sum(
            moves(day, one, c) for one, c in zip(day.lessons, chosen, strict=True)
        )
        if best is not None and moved >= best:
            continue
        for cost, lines in ways(day, chosen):
            total = moved + cost
            if (best is None or total < best) and can_be_timed(day, lines):
                best = total
    return best


def ways(
    day: Day, chosen: tuple[Choice, ...]
) -> Iterator[tuple[int, list[tuple[Counter[str], list[Reset]]]]]:
    """Return (seconds, each line's pieces in the morning and its resets)."""
    for each in product(
        *(
            list(line_ways(day, chosen, arena.id, line))
            for arena in day.arenas
            for line in arena.lines
        )
    ):
        yield sum(cost for cost, *_ in each), [(first, its) for _, first, its in each]


def line_ways(day: Day, chosen: tuple[Choice, ...], arena: str, line: Any):
    times, key = handling_times(day), (arena, line.id)
    stands = [plain(p.element, p.at_cm, p.faces.value) for p in line.standing]
    nodes = [(-1, stands, stands, total(stands), 0, 0)]
    for n in sorted(range(len(chosen)), key=lambda n: chosen[n][0]):
        lesson, (start, where, on, offset, mirrored) = day.lessons[n], chosen[n]
        if (where, on) == key and lesson.grid is not None:
            size = lesson.grid.length_cm
            wanted = stood(lesson.grid.start, size, offset, mirrored)
            left = stood(lesson.grid.end, size, offset, mirrored)
            pieces = total(wanted) | total(left)
            nodes.append((n, wanted, left, pieces, start, start + lesson.warm_up_min))
        elif lesson.needs_clear and where == arena:
            nodes.append((n, [], [], Counter(), start, start))
    for strips in product((False, True), repeat=len(nodes)):
        cost, resets, first, ok = 0, [], nodes[0][3], True
        held = nodes[0][3]
        for k, stripped in enumerate(strips):
            n, _, left, pieces, *_ = nodes[k]
            ridden = 0 if n < 0 else free_from(day, chosen, n)
            after = nodes[k + 1] if k + 1 < len(nodes) else None
            until = day.crew_to_min if after is None else after[5]
            if stripped:
                seconds = cheapest_seconds(left, [], times)
                ok = ok and bool(left)
                gaps = gaps_of(day, chosen, arena, ridden, until, after)
                resets.append(Reset(key, -(-seconds // 60), gaps, held, Counter()))
                cost, held, left = cost + seconds, Counter(), []
            if after is None:
                continue
            seconds = cheapest_seconds(left, after[1], times)
            if seconds == 0:
                # It stands since then, and holds what the next lesson needs too.
                held = held | after[3]
                if resets:
                    last = resets[-1]
                    resets[-1] = Reset(
                        last.line, last.minutes, last.gaps, last.before, held
                    )
                else:
                    first = held
                continue
            gaps = gaps_of(day, chosen, arena, ridden, until, after)
            resets.append(Reset(key, -(-seconds // 60), gaps, held, after[3]))
            cost, held = cost + seconds, after[3]
        if ok:
            yield cost, first, resets


def total(setup: list[dict[str, Any]]) -> Counter[str]:
    return sum((count_pieces(one) for one in setup), Counter())


def free_from(day: Day, chosen: tuple[Choice, ...], n: int) -> int:
    return chosen[n][0] + day.lessons[n].minutes - day.lessons[n].cool_down_min


def gaps_of(
    day: Day, chosen: tuple[Choice, ...], arena: str, begin: int, end: int, after: Any
) -> tuple[tuple[int, int], ...]:
    at, gaps = max(begin, day.crew_from_min), []
    end = min(end, day.crew_to_min)
    for start, stop in sorted(
        (chosen[n][0], free_from(day, chosen, n))
        for n in range(len(chosen))
        if chosen[n][1] == arena and (after is None or n != after[0])
    ):
        gaps.append((at, min(start, end)))
        at = max(at, stop)
    gaps.append((at, end))
    return tuple((a, b) for a, b in gaps if a < b)


def can_be_timed(day: Day, lines: list[tuple[Counter[str], list[Reset]]]) -> bool:
    resets = [one for _, its in lines for one in its]
    sums = {
        sum(one.minutes for one in some)
        for size in range(len(resets) + 1)
        for some in combinations(resets, size)
    }
    edges = {edge for one in resets for gap in one.gaps for edge in gap}
    moments = sorted(
        {e + s for e in edges for s in sums} | {e - s for e in edges for s in sums}
    )

    def tried(n: int, begun: list[int]) -> bool:
        if n == len(resets):
            return stock_holds(day, lines, begun)
        one = resets[n]
        for at in moments:
            if not any(a <= at and at + one.minutes <= b for a, b in one.gaps):
                continue
            follows = n and resets[n - 1].line == one.line
            if follows and at < begun[-1] + resets[n - 1].minutes:
                continue
            now = [*begun, at]
            if crew_holds(day, resets, now) and tried(n + 1, now):
                return True
        return False

    return tried(0, [])


def crew_holds(day: Day, resets: list[Reset], begun: list[int]) -> bool:
    spans = [(at, at + one.minutes) for at, one in zip(begun, resets, strict=False)]
    return all(sum(a <= at < b for a, b in spans) <= day.crew for at, _ in spans)


def stock_holds(
    day: Day, lines: list[tuple[Counter[str], list[Reset]]], begun: list[int]
) -> bool:
    if not day.stock:
        return True
    holdings, k = [], 0
    for held, resets in lines:
        since = 0
        for one in resets:
            at, k = begun[k], k + 1
            holdings.append((since, at, held))
            holdings.append((at, at + one.minutes, one.before | one.after))
            since, held = at + one.minutes, one.after
        holdings.append((since, END, held))
    for at in {a for a, *_ in holdings}:
        stands = sum((c for a, b, c in holdings if a <= at < b), Counter())
        if any(stands[piece] > owned for piece, owned in day.stock.items()):
            return False
    return True
