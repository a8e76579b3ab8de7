"""The judge: a good plan spoilt in each way is told by its rule."""

from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest

from scheduling.dayplan.check import check_plan
from scheduling.dayplan.cost import Times, cheapest_seconds
from scheduling.dayplan.document import read_day
from tests.scheduling.days import (
    arena,
    cross,
    day,
    grid,
    lesson,
    loose,
    ordered,
    oxer,
    vertical,
)

DOCUMENT = day(
    loose(
        "a",
        "09:00",
        "11:00",
        grid=grid(cross(), oxer(600), may_mirror=False),
        people=["t"],
        horses=["h"],
    ),
    loose(
        "b",
        "12:00",
        "13:00",
        grid=grid(cross(), vertical(350, rails=2)),
        people=["t"],
        horses=["h"],
    ),
    lesson("c", "15:00", needs_clear=True),
    arenas=[arena(), arena("ring")],
    horses=[{"id": "h", "rest_min": 30}],
    stock={"wing": 20},
    place_every_cm=50,
)


def set_lesson(n: int, **changes: Any) -> Callable[[dict], None]:
    return lambda plan: plan["lessons"][n].update(changes)


def set_reset(n: int, **changes: Any) -> Callable[[dict], None]:
    return lambda plan: plan["resets"][n].update(changes)


def drop_reset(n: int) -> Callable[[dict], None]:
    return lambda plan: plan["resets"].pop(n)


def swap_moves(plan: dict) -> None:
    plan["resets"][0]["moves"] = plan["resets"][1]["moves"]


def dear_moves(plan: dict) -> None:
    plan["resets"][0]["moves"][0]["seconds"] += 5


def same_time(plan: dict) -> None:
    plan["resets"][1] |= {"from": plan["resets"][0]["from"]}


@pytest.mark.parametrize(
    ("spoil", "rule"),
    [
        (lambda plan: plan["lessons"].pop(), "lessons"),
        (set_lesson(0, start="11:15"), "window"),
        (set_lesson(0, start="09:05"), "raster"),
        (set_lesson(2, start="17:30"), "opening hours"),
        (set_lesson(0, arena="ring"), "arena"),
        (set_lesson(0, line=None), "line"),
        (set_lesson(2, line="line-0"), "line"),
        (set_lesson(0, line="line-9"), "line"),
        (set_lesson(0, mirrored=True), "mirrored"),
        (set_lesson(0, offset_cm=25), "place"),
        (set_lesson(0, offset_cm=3950), "row fits"),
        (set_lesson(1, start="09:30"), "one lesson an arena"),
        (set_lesson(1, start="09:30"), "one place a person"),
        (set_lesson(1, start="10:15"), "horse's rest"),
        (drop_reset(1), "row stands"),
        (drop_reset(-1), "clear arena"),
        (set_reset(0, seconds=1), "cheapest"),
        (set_reset(0, to="09:00"), "length"),
        (set_reset(1, after=None), "after"),
        (swap_moves, "moves"),
        (dear_moves, "moves"),
        (set_reset(0, moves=[]), "moves"),
        (set_reset(0, **{"from": "06:00"}), "crew's hours"),
        (set_reset(1, **{"from": "09:30"}), "arena ridden"),
        (same_time, "crew"),
        (lambda plan: plan.update(reset_s=1), "sum"),
        (lambda plan: plan.update(objective_s=1), "sum"),
        (lambda plan: plan.update(bound_s=10**6), "bound"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_spoilt_plan_is_told_by_its_rule(
    spoil: Callable[[dict], None], rule: str
) -> None:
    plan = ordered(DOCUMENT)
    assert check_plan(read_day(DOCUMENT), plan) == []
    spoilt = deepcopy(plan)
    spoil(spoilt)

    broken = check_plan(read_day(DOCUMENT), spoilt)

    assert rule in {one.rule for one in broken}


def test_more_pieces_than_there_are_is_told_once_a_piece() -> None:
    plan = ordered(DOCUMENT)
    poor = read_day(DOCUMENT | {"stock": {"wing": 3, "pole": 100}})

    broken = [one.says for one in check_plan(poor, plan) if one.rule == "stock"]

    assert len(broken) == 1
    assert "wings stand, and the store has 3." in broken[0]


def test_a_reset_for_nobody_known_builds_nothing() -> None:
    plan = ordered(DOCUMENT)
    plan["resets"][0]["for"] = "nobody"

    rules = {one.rule for one in check_plan(read_day(DOCUMENT), plan)}

    assert {"row stands", "moves", "cheapest"} <= rules


def test_the_judges_own_reckoning_of_an_example_on_paper() -> None:
    """A cross 1 m on: 2 x 14 + 2 x 9.6 + 30 = 77.2 s, and 60 to start: 138 s."""
    piece = {
        name: {"fetch": 0, "return": 0, "lift": 0, "per_cm": 0}
        for name in ("wing", "pole", "cup", "block", "plank")
    }
    piece["wing"] = {
        "fetch": 45 * 10**6,
        "return": 32 * 10**6,
        "lift": 12 * 10**6,
        "per_cm": 20_000,
    }
    piece["pole"] = {
        "fetch": 28 * 10**6,
        "return": 20 * 10**6,
        "lift": 8 * 10**6,
        "per_cm": 16_000,
    }
    act = {
        "measure": 30 * 10**6,
        "cup_height": 16 * 10**6,
        "turn": 8 * 10**6,
        "start": 60 * 10**6,
    }
    was = {
        "kind": "cross", "at_cm": 0, "height_cm": 40, "spread_cm": 0, "rails": None,
        "ground_line": "none", "guides": False, "ascending": False, "faces": "up",
    }  # fmt: skip

    assert cheapest_seconds([was], [was | {"at_cm": 100}], Times(piece, act)) == 138
