"""Small days in which every hard rule has something to say, and plans of them.

A day is planted: lessons are laid one after another with little between them, and
each may start somewhat earlier or later than it was laid. So most such days have a
plan, and the best plan would often be cheaper if one of the rules were not there.
"""

from copy import deepcopy
from functools import cache
from random import Random
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from scheduling.dayplan.check import check_plan
from scheduling.dayplan.document import read_day
from tests.scheduling.days import day, grid, ordered
from tests.scheduling.random_days import clock, element, raised, row

Data = dict[str, Any]


def minutes(written: str) -> int:
    """Minutes of the day of a clock time."""
    hours, rest = written.split(":")
    return 60 * int(hours) + int(rest)


def lessons_of(document: Data, plan: Data) -> list[tuple[Data, Data]]:
    """Each lesson as asked for, with what the plan says of it."""
    said = {one["id"]: one for one in plan["lessons"]}
    return [(one, said[one["id"]]) for one in document["lessons"]]


def span(asked: Data, said: Data) -> tuple[int, int]:
    """Minutes of the day from which and to which a lesson runs."""
    start = minutes(said["start"])
    return start, start + asked["minutes"]


def line_lengths(document: Data) -> dict[tuple[str, str], int]:
    """Length of each line, by its arena and its own name [cm]."""
    return {
        (arena["id"], line["id"]): line["length_cm"]
        for arena in document["arenas"]
        for line in arena.get("lines", [])
    }


@st.composite
def planned_days(draw: st.DrawFn) -> tuple[Data, Data]:
    """Days with a plan that keeps every rule; both may be changed freely."""
    # Few days, so that the tests of one module plan each of them once.
    document, plan = _planned(draw(st.integers(0, 4 * settings.default.max_examples)))
    return deepcopy(document), deepcopy(plan)


@cache
def _planned(seed: int) -> tuple[Data, Data]:
    """The day of a seed; where it has no plan, of the next that has one."""
    document = crowded_day(seed)
    plan = ordered(document)
    return _planned(seed + 10**7) if plan["status"] != "proved" else (document, plan)


def crowded_day(seed: int, most: int = 5) -> Data:
    """Three lessons to `most` in one or two arenas, close together."""
    dice = Random(seed)
    arenas = [_arena(dice, f"a{k}") for k in range(dice.choice([1, 2, 2]))]
    rows = [row(dice, dice.randint(1, 3)) for _ in range(2)]
    free = {one["id"]: 9 * 60 for one in arenas}
    lessons: list[Data] = []
    for n in range(dice.randint(3, most)):
        where = dice.choice(arenas)
        lessons.append(_lesson(dice, n, where, arenas, rows, free))
    horses = [_horse(dice, f"h{k}", lessons) for k in range(3)]
    return day(
        *lessons,
        arenas=arenas,
        horses=horses,
        crew=dice.choice([1, 1, 2]),
        crew_from=clock(dice.choice([7 * 60, 8 * 60 + 40])),
        crew_to="18:00",
        place_every_cm=dice.choice([100, 150, 300]),
        stock={"wing": dice.choice([8, 10, 16]), "pole": dice.choice([12, 16, 30])},
        closes=clock(max(free.values()) + dice.choice([0, 30])),
        weights={"moved_start_s": dice.choice([0, 30]), "moved_arena_s": 10},
    )


def _arena(dice: Random, name: str) -> Data:
    length = dice.choice([2500, 3500])
    lines: list[Data] = [
        {"id": f"{name}-line{k}", "length_cm": length}
        for k in range(dice.choice([1, 1, 2]))
    ]
    for line in lines:
        if dice.random() < 0.4:
            faces = dice.choice(["up", "down"])
            line["standing"] = [element(dice, 500) | {"faces": faces}]
    return {"id": name, "length_cm": length, "lines": lines}


def _lesson(
    dice: Random,
    n: int,
    where: Data,
    arenas: list[Data],
    rows: list[list[Data]],
    free: dict[str, int],
) -> Data:
    """A lesson laid after the last of its arena, with room for a reset."""
    start = -(-(free[where["id"]] + dice.choice([5, 10, 15])) // 15) * 15
    lasts = dice.choice([30, 45])
    free[where["id"]] = start + lasts
    early, late = dice.choice([(0, 0), (0, 30), (30, 30), (60, 60), (15, 120)])
    off = dice.choice([0, 0, 7]) if early == late == 0 else 0
    one: Data = {
        "id": f"L{n}",
        "minutes": lasts,
        "arenas": sorted({where["id"], dice.choice(arenas)["id"]}),
        "not_before": clock(max(8 * 60, start - early + off)),
        "not_after": clock(start + late + off),
        "booked": {"start": clock(start + off), "arena": where["id"]},
        "people": [dice.choice("pqrs")],
        "horses": [f"h{dice.randint(0, 2)}"],
        "warm_up_min": dice.choice([0, 5, 10]),
        "cool_down_min": dice.choice([0, 0, 5]),
    }
    if dice.random() < 0.25:
        one["needs_clear"] = dice.random() < 0.6
        return one
    elements = [dict(e) for e in dice.choice(rows)]
    one["grid"] = grid(
        *elements,
        end=raised(elements) if dice.random() < 0.5 else elements,
        approach_cm=dice.choice([0, 400]),
        runout_cm=dice.choice([0, 600, 1200]),
        may_mirror=dice.random() < 0.6,
    )
    if dice.random() < 0.2:
        one["arenas"] = [where["id"]]
        one["place"] = {
            "line": where["lines"][0]["id"],
            "offset_cm": 600,
            "mirrored": one["grid"]["may_mirror"],
        }
    return one


def _horse(dice: Random, name: str, lessons: list[Data]) -> Data:
    its = [one["minutes"] for one in lessons if name in one["horses"]]
    return {
        "id": name,
        "rest_min": dice.choice([0, 15, 30]),
        "max_lessons": len(its) + dice.choice([0, 1]),
        "max_minutes": sum(its) + dice.choice([0, 30]),
    }


def rules_broken(document: Data, plan: Data) -> set[str]:
    """Names of the rules by which the judge refuses a plan."""
    return {one.rule for one in check_plan(read_day(document), plan)}


def with_guest(document: Data, plan: Data, **asked: Any) -> None:
    """Put a lesson of a minute into a day and its plan, whatever it breaks."""
    guest = {
        "id": "guest",
        "minutes": 1,
        "not_before": asked["start"],
        "not_after": asked["start"],
        "arenas": [asked["arena"]],
        "people": asked.get("people", []),
        "horses": asked.get("horses", []),
    }
    document["lessons"].append(guest)
    for horse in document["horses"]:
        # What is tried is when it works, not how much.
        horse.pop("max_lessons", None)
        horse.pop("max_minutes", None)
    plan["lessons"].append(
        {
            "id": "guest",
            "arena": asked["arena"],
            "line": None,
            "start": asked["start"],
            "offset_cm": None,
            "mirrored": False,
        }
    )


def elsewhere(document: Data) -> str:
    """Add an arena without lines to a day, and return its id."""
    document["arenas"].append({"id": "elsewhere", "length_cm": 2000})
    return "elsewhere"


def resummed(plan: Data, gone_s: int) -> None:
    """Take seconds of resets out of a plan's sums."""
    plan["reset_s"] -= gone_s
    plan["objective_s"] -= gone_s
    plan["bound_s"] = 0
