"""The least objective of a small day by trying everything.

Starts, arenas, lines, places and the order of resets are all enumerated; costs
come from the judge's own reckoning, which the engines do not use. Days with
stock that runs short or clear arenas beyond their own strips are not for it.
"""

from itertools import permutations, product
from typing import Any

from scheduling.dayplan.check_resets import handling_times
from scheduling.dayplan.check_rules import plain, stood
from scheduling.dayplan.cost import cheapest_seconds
from scheduling.dayplan.day import Day, DayLesson
from scheduling.dayplan.document import read_day

Choice = tuple[int, str, str | None, int, bool]


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
        resets = resets_of(day, chosen)
        total = moved + sum(seconds for *_, seconds in resets)
        if (best is None or total < best) and can_be_timed(day, chosen, resets):
            best = total
    return best


def choices(day: Day, lesson: DayLesson) -> list[Choice]:
    found: list[Choice] = []
    for start in day.starts(lesson):
        for arena in day.arenas:
            if arena.id not in lesson.arenas:
                continue
            if lesson.grid is None:
                found.append((start, arena.id, None, 0, False))
                continue
            for line in arena.lines:
                found += [
                    (start, arena.id, line.id, place.offset_cm, place.mirrored)
                    for place in lesson.grid.places(line.length_cm, day.place_every_cm)
                ]
    return found


def clashes(day: Day, chosen: tuple[Choice, ...]) -> bool:
    for n, one in enumerate(day.lessons):
        for k, other in enumerate(day.lessons[:n]):
            first, last = sorted(
                (
                    (chosen[n][0], chosen[n][0] + one.minutes),
                    (chosen[k][0], chosen[k][0] + other.minutes),
                )
            )
            gap = last[0] - first[1]
            same = chosen[n][1] == chosen[k][1] or set(one.people) & set(other.people)
            if same and gap < 0:
                return True
            for horse in set(one.horses) & set(other.horses):
                if gap < day.horses[horse].rest_min:
                    return True
    return False


def moves(day: Day, lesson: DayLesson, choice: Choice) -> int:
    if lesson.booked is None:
        return 0
    weight = day.moved_start_s * (choice[0] != lesson.booked.start_min)
    return weight + day.moved_arena_s * (choice[1] != lesson.booked.arena)


def resets_of(day: Day, chosen: tuple[Choice, ...]) -> list[tuple[str, int, int, int]]:
    """Return (arena, lesson before or -1, lesson after, seconds) of each reset."""
    times, found = handling_times(day), []
    for arena in day.arenas:
        for line in arena.lines:
            stands = [plain(p.element, p.at_cm, p.faces.value) for p in line.standing]
            last = -1
            order = sorted(range(len(chosen)), key=lambda n: chosen[n][0])
            for n in order:
                lesson, (_, where, on, offset, mirrored) = day.lessons[n], chosen[n]
                clears = lesson.needs_clear and where == arena.id
                if not clears and (where, on) != (arena.id, line.id):
                    continue
                wanted, left = [], []
                if lesson.grid is not None:
                    size = lesson.grid.length_cm
                    wanted = stood(lesson.grid.start, size, offset, mirrored)
                    left = stood(lesson.grid.end, size, offset, mirrored)
                seconds = cheapest_seconds(stands, wanted, times)
                if seconds:
                    found.append((arena.id, last, n, seconds))
                stands, last = left, n
    return found


def can_be_timed(day: Day, chosen, resets) -> bool:
    """Say whether every reset finds its minutes: tried one by one, early first."""
    windows = [window(day, chosen, one) for one in resets]

    def place(n: int, taken: list[tuple[int, int]]) -> bool:
        if n == len(resets):
            return True
        minutes = -(-resets[n][3] // 60)
        for begin, end in windows[n]:
            starts = {begin, *(t for _, t in taken if begin <= t)}
            for start in sorted(starts):
                if start + minutes > end:
                    continue
                now = [*taken, (start, start + minutes)]
                busy = max(sum(a <= at < b for a, b in now) for at, _ in now)
                if busy <= day.crew and place(n + 1, now):
                    return True
        return False

    # Resets begin when something ends, in some order: every order is tried.
    for order in permutations(range(len(resets))):
        resets_in, windows_in = [resets[k] for k in order], [windows[k] for k in order]
        resets, windows = resets_in, windows_in
        if place(0, []):
            return True
    return False


def window(day: Day, chosen, reset) -> list[tuple[int, int]]:
    """Return the gaps of its arena in which a reset may lie."""
    arena, before, after, _ = reset
    begin = day.crew_from_min
    if before >= 0:
        one = day.lessons[before]
        begin = max(begin, chosen[before][0] + one.minutes - one.cool_down_min)
    last = day.lessons[after]
    late = 0 if last.needs_clear else last.warm_up_min
    end = min(day.crew_to_min, chosen[after][0] + late)
    gaps, at = [], begin
    ridden = sorted(
        (c[0], c[0] + one.minutes - one.cool_down_min)
        for n, (c, one) in enumerate(zip(chosen, day.lessons, strict=True))
        if c[1] == arena and n != after
    )
    for start, stop in ridden:
        if start > at:
            gaps.append((at, min(start, end)))
        at = max(at, stop)
    gaps.append((at, end))
    return [(a, b) for a, b in gaps if a < b]
