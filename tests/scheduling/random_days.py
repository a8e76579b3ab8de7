"""Days at random, by seed: small, and full of what the contract allows."""

from random import Random
from typing import Any

from tests.scheduling.days import arena, day, grid

Data = dict[str, Any]


def clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def element(dice: Random, at_cm: int) -> Data:
    kind = dice.choice(["cross", "vertical", "oxer", "pole", "plank", "raised-pole"])
    one: Data = {"kind": kind, "at_cm": at_cm}
    if kind in {"cross", "vertical", "oxer"}:
        one["height_cm"] = dice.choice([30, 40, 60, 70, 110])
    if kind == "raised-pole":
        one["height_cm"] = 15
    if kind == "oxer":
        one["spread_cm"] = dice.choice([50, 80])
        one["ascending"] = dice.random() < 0.4
    one["ground_line"] = dice.choice(["none", "none", "take-off", "both"])
    one["guides"] = dice.random() < 0.2
    return one


def row(dice: Random, fences: int) -> list[Data]:
    elements, at = [], 0
    for _ in range(fences):
        one = element(dice, at)
        elements.append(one)
        at += one.get("spread_cm", 0) + dice.choice([250, 300, 350, 600, 650])
    return elements


def raised(elements: list[Data]) -> list[Data]:
    return [
        one | {"height_cm": one["height_cm"] + 10}
        if one["kind"] in {"cross", "vertical"}
        else dict(one)
        for one in elements
    ]


def lesson(dice: Random, n: int, arenas: int, rows: list[list[Data]]) -> Data:
    start = 9 * 60 + 15 * dice.randint(0, 20)
    until = start + 15 * dice.choice([0, 0, 2, 6, 12])
    allowed = [f"a{k}" for k in range(arenas)]
    if dice.random() < 0.4:
        allowed = [dice.choice(allowed)]
    one: Data = {
        "id": f"L{n}",
        "minutes": dice.choice([30, 45, 60]),
        "arenas": allowed,
        "not_before": clock(start),
        "not_after": clock(until),
        "booked": {"start": clock(start), "arena": allowed[0]},
        "people": [f"p{dice.randint(0, 4)}"],
        "horses": [f"h{dice.randint(0, 5)}"],
        "warm_up_min": dice.choice([0, 5, 15]),
        "cool_down_min": dice.choice([0, 5]),
    }
    if dice.random() < 0.8:
        elements = [dict(e) for e in dice.choice(rows)]
        one["grid"] = grid(
            *elements,
            approach_cm=dice.choice([0, 500]),
            runout_cm=dice.choice([0, 500]),
            may_mirror=dice.random() < 0.5,
        )
        if dice.random() < 0.6:
            one["grid"]["end"] = raised(elements)
    else:
        one["needs_clear"] = dice.random() < 0.5
    return one


def random_day(seed: int, lessons: int = 7, lines: int = 2) -> Data:
    """A day of up to `lessons` lessons in one or two arenas."""
    dice = Random(seed)
    arenas = dice.randint(1, 2)
    built = [
        arena(
            f"a{k}", lines=dice.randint(1, lines), length_cm=dice.choice([2500, 4000])
        )
        for k in range(arenas)
    ]
    for one in built:
        for line in one["lines"]:
            if dice.random() < 0.4:
                faces = dice.choice(["up", "down"])
                line["standing"] = [element(dice, 500) | {"faces": faces}]
    rows = [row(dice, dice.randint(1, 4)) for _ in range(3)]
    made = day(
        *(lesson(dice, n, arenas, rows) for n in range(dice.randint(1, lessons))),
        arenas=built,
        horses=[{"id": f"h{k}", "rest_min": dice.choice([0, 15])} for k in range(6)],
        crew=dice.choice([1, 2]),
        place_every_cm=dice.choice([25, 50, 100]),
    )
    if dice.random() < 0.5:
        made["stock"] = {
            "wing": dice.choice([6, 8, 10, 14]),
            "pole": dice.choice([8, 12, 20]),
        }
    return made
