"""Days as a yard has them, by seed: for benchmarks and tests.

Rows are invented from usual distances; their popularity is skewed, as a school
likes some grids best. A day is booked by requests in the order they come in, each
at the time asked for or the nearest at which everything fits, so that the day as
booked keeps every rule.
"""

from dataclasses import dataclass
from random import Random
from typing import Any

from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.tables import Costs
from scheduling.dayplan.document import read_day

Data = dict[str, Any]

SIZES = {
    "16/2": (16, 2, 16, 1),
    "24/2": (24, 2, 24, 1),
    "32/3": (32, 3, 32, 2),
    "40/4": (40, 4, 40, 2),
    "60/4": (60, 4, 60, 3),
    "70/4": (70, 4, 25, 2),
}
"""Lessons, arenas, lessons with grids, resets at once."""

OPENS, CLOSES = 8 * 60, 21 * 60 + 30


def clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _row(dice: Random) -> list[Data]:
    """A grid of two to five elements, most of them at pony distances of one height."""
    row: list[Data] = []
    at = 0
    for n in range(dice.choice([2, 2, 3, 3, 4, 5])):
        if at > 1900:
            break
        kind = dice.choice(
            ["cross", "cross", "vertical", "vertical", "oxer", "pole", "pole", "plank"]
            if n
            else ["pole", "cross", "cross", "raised-pole"]
        )
        one: Data = {"kind": kind, "at_cm": at}
        if kind in {"cross", "vertical", "oxer"}:
            one["height_cm"] = dice.choice([40, 50, 60, 70])
        if kind == "raised-pole":
            one["height_cm"] = 15
        if kind == "oxer":
            one |= {
                "spread_cm": dice.choice([60, 80]),
                "ascending": dice.random() < 0.6,
            }
        if kind == "vertical" and dice.random() < 0.3:
            one["ground_line"] = "take-off"
        row.append(one)
        low = kind in {"pole", "raised-pole", "plank"}
        at += one.get("spread_cm", 0) + (
            dice.choice([110, 250, 280]) if low else dice.choice([290, 300, 580, 620])
        )
    return row


def _scaled(row: list[Data], factor: float) -> list[Data]:
    """The same grid for longer or shorter strides, to 5 cm."""
    made, at = [], 0
    for n, one in enumerate(row):
        if n:
            last = row[n - 1]
            gap = one["at_cm"] - last["at_cm"] - last.get("spread_cm", 0)
            at += made[-1].get("spread_cm", 0) + round(gap * factor / 5) * 5
        made.append(one | {"at_cm": at})
    return made


def _ended(dice: Random, row: list[Data]) -> list[Data]:
    """What a lesson leaves of a grid: raised, or its last element changed."""
    end = [dict(one) for one in row]
    for one in end:
        if one["kind"] in {"cross", "vertical", "oxer"} and dice.random() < 0.7:
            one["height_cm"] += dice.choice([5, 10, 20])
    last = end[-1]
    if last["kind"] in {"cross", "pole"} and dice.random() < 0.4:
        last |= {"kind": "vertical", "height_cm": 60}
    return end


@dataclass
class _Booked:
    data: Data
    start: int
    arena: str


class _Yard:
    """Fills a day booking by booking, as a diary is filled."""

    def __init__(self, dice: Random, arenas: list[Data], crew: int) -> None:
        self.dice, self.arenas, self.crew = dice, arenas, crew
        self.booked: list[_Booked] = []
        self.known: dict[tuple[str, str, str], int] = {}
        self.rows: dict[str, Any] = {}
        self.costs = Costs(DEFAULT_HANDLING)

    def minutes(self, before: Data | None, after: Data, arena: Data) -> int:
        """Least minutes of a reset in an arena, of one grid after another."""
        was = "" if before is None else str(before["grid"])
        key = (was, str(after["grid"]), arena["id"])
        if key not in self.known:
            length = arena["length_cm"]
            later = self.row(after)
            where = later.places(length, 5)
            if before is None:
                seconds = int(self.costs.from_standing((), later, where[:1]).min())
            else:
                row = self.row(before)
                seconds = self.costs.least_between(row, later, length, 5)
            self.known[key] = -(-seconds // 60)
        return self.known[key]

    def row(self, lesson: Data) -> Any:
        key = str(lesson["grid"])
        if key not in self.rows:
            single = {**lesson, "booked": None, "people": [], "horses": []}
            self.rows[key] = read_day(day_of([single], self.arenas, [], 1)).lessons[0]
        return self.rows[key].grid

    def book(self, lesson: Data, asked: int) -> bool:
        """Book at the time asked for, or the nearest at which it fits."""
        starts = range(OPENS, CLOSES - lesson["minutes"] + 1, 15)
        arenas = [one for one in self.arenas if one["id"] in lesson["arenas"]]
        for start in sorted(starts, key=lambda one: (abs(one - asked), one)):
            self.dice.shuffle(arenas)
            for arena in arenas:
                tried = _Booked(lesson, start, arena["id"])
                if self.fits(tried):
                    self.booked.append(tried)
                    return True
        return False

    def fits(self, tried: _Booked) -> bool:
        one = tried.data
        for other in self.booked:
            gap = max(
                tried.start - other.start - other.data["minutes"],
                other.start - tried.start - one["minutes"],
            )
            if gap < 0 and (
                other.arena == tried.arena
                or set(other.data["people"]) & set(one["people"])
            ):
                return False
            if gap < 30 and set(other.data["horses"]) & set(one["horses"]):
                return False
        return self.crew_copes([*self.booked, tried])

    def crew_copes(self, booked: list[_Booked]) -> bool:
        """Every reset finds its minutes: the most urgent first."""
        jobs = []
        for arena in self.arenas:
            last: Data | None = None
            free = OPENS - 60
            ridden = (one for one in booked if one.arena == arena["id"])
            for one in sorted(ridden, key=lambda b: b.start):
                if one.data["grid"] is not None:
                    minutes = self.minutes(last, one.data, arena)
                    due = one.start + one.data["warm_up_min"]
                    if free + minutes > due:
                        return False
                    jobs.append((free, due, minutes))
                    last = one.data
                elif one.start > free:
                    # A reset is made in the last gap before its lesson.
                    pass
                free = one.start + one.data["minutes"] - one.data["cool_down_min"]
        return _in_time(jobs, self.crew)


def _in_time(jobs: list[tuple[int, int, int]], crew: int) -> bool:
    left, free = sorted(jobs), [0] * crew
    while left:
        free.sort()
        at = max(free[0], left[0][0])
        due = min((job for job in left if job[0] <= at), key=lambda job: job[1])
        if at + due[2] > due[1]:
            return False
        left.remove(due)
        free[0] = at + due[2]
    return True


def day_of(
    lessons: list[Data], arenas: list[Data], horses: list[Data], crew: int
) -> Data:
    return {
        "version": 1,
        "date": "2027-03-06",
        "zone": "Europe/Amsterdam",
        "opens": clock(OPENS),
        "closes": clock(CLOSES),
        "crew": crew,
        "arenas": arenas,
        "horses": horses,
        "lessons": lessons,
    }


def yard_day(size: str, seed: int) -> Data:
    """Return the day file of a generated day; `size` is one of `SIZES`."""
    number, count, grids, crew = SIZES[size]
    for attempt in range(50):
        made = _try(Random(f"{size} {seed} {attempt}"), number, count, grids, crew)
        if made is not None:
            return made
    raise RuntimeError(f"no day of {size} could be booked")


def _try(dice: Random, number: int, count: int, grids: int, crew: int) -> Data | None:
    arenas = []
    for k in range(count):
        length = dice.choice([4000, 6000])
        line = {"id": "centre", "length_cm": length}
        arenas.append({"id": f"arena-{k + 1}", "length_cm": length, "lines": [line]})
    horses = [f"horse-{k}" for k in range(max(6, number // 2))]
    teachers = [f"teacher-{k}" for k in range(count * 2)]
    shelf = []
    for _ in range(max(4, min(10, grids // 4))):
        row = _row(dice)
        sizes = [_scaled(row, f) for f in (0.92, 1.0, 1.08)]
        shelf.append([(one, _ended(dice, one)) for one in sizes])
    yard = _Yard(dice, arenas, crew)
    with_grid = set(dice.sample(range(number), grids))
    share_fixed = dice.uniform(0.3, 0.6)
    for n in range(number):
        asked = dice.choice(range(OPENS + 15, CLOSES - 75, 15))
        lesson = _lesson(dice, n, arenas, teachers, horses)
        if n in with_grid:
            # Some grids are asked for often, most now and then.
            grid = shelf[min(int(dice.expovariate(0.45)), len(shelf) - 1)]
            start, end = dice.choice(grid)
            lesson["grid"] = {
                "start": start,
                "end": end if dice.random() < 0.75 else start,
                "approach_cm": 800,
                "runout_cm": 800,
                "may_mirror": dice.random() < 0.7,
            }
        if not yard.book(lesson, asked):
            return None
    lessons = []
    for one in sorted(yard.booked, key=lambda b: b.data["id"]):
        before = after = one.start
        if dice.random() > share_fixed:
            around = dice.choice([60, 120, 180, 240])
            before -= 15 * dice.randint(0, around // 15)
            after = before + around
        latest = CLOSES - one.data["minutes"]
        one.data |= {
            "not_before": clock(max(OPENS, before)),
            "not_after": clock(min(latest, after)),
            "booked": {"start": clock(one.start), "arena": one.arena},
        }
        lessons.append(one.data)
    rests = [{"id": one, "rest_min": 30} for one in horses]
    return day_of(lessons, arenas, rests, crew)


def _lesson(
    dice: Random, n: int, arenas: list[Data], teachers: list[str], horses: list[str]
) -> Data:
    ids = [one["id"] for one in arenas]
    # A day of seventy lessons only holds short ones with few horses.
    full = len(horses) >= 35
    allowed = ids if dice.random() < 0.6 else dice.sample(ids, min(2, len(ids)))
    return {
        "id": f"lesson-{n:02d}",
        "minutes": dice.choice([30, 30, 45] if full else [30, 30, 45, 60]),
        "arenas": sorted(allowed),
        "not_before": clock(OPENS),
        "not_after": clock(OPENS),
        "people": [dice.choice(teachers)],
        "horses": dice.sample(horses, dice.choice([1, 1, 2] if full else [1, 1, 2, 3])),
        "warm_up_min": 15,
        "cool_down_min": 5,
        "grid": None,
    }
