"""Days with a short store on several lines: judged by trying everything."""

from random import Random
from typing import Any

import pytest

from tests.scheduling.days import ordered
from tests.scheduling.exhaustive_stock import least_objective
from tests.scheduling.random_days import random_day


def tight_day(seed: int) -> dict[str, Any]:
    """Up to three lessons whose rows need about all the fences there are."""
    dice, made = Random(seed), random_day(seed, lessons=3, lines=2)
    made["place_every_cm"], made["start_every_min"] = 1000, 60
    for one in made["lessons"]:
        if dice.random() < 0.7:
            one["not_after"] = one["not_before"]
        if one.get("grid"):
            one["grid"]["may_mirror"] = False
    made["stock"] = {
        "wing": dice.choice([2, 4, 6, 8]),
        "pole": dice.choice([4, 6, 8, 12]),
    }
    return made


STRIPPED = [52, 92]
"""Days whose best plan strips a line so that its pieces are free for another."""

JUST_ENOUGH = [13, 21, 42, 48, 68, 83, 108, 130, 144, 145, 147, 152]

TOO_LITTLE = [1, 3, 9, 10, 33, 43, 56, 57, 60, 70]


@pytest.mark.parametrize("seed", STRIPPED + JUST_ENOUGH)
def test_nothing_tried_needs_less_of_a_short_store(seed: int) -> None:
    document = tight_day(seed)

    plan = ordered(document)

    least = least_objective(document)
    assert (plan["status"], plan["objective_s"]) == ("proved", least)


@pytest.mark.parametrize("seed", STRIPPED)
def test_a_line_is_stripped_where_that_is_best(seed: int) -> None:
    resets = ordered(tight_day(seed))["resets"]

    assert any({move["do"] for move in one["moves"]} == {"strip"} for one in resets)


@pytest.mark.parametrize("seed", TOO_LITTLE)
def test_where_nothing_tried_keeps_the_rules_there_is_no_plan(seed: int) -> None:
    document = tight_day(seed)

    plan = ordered(document)

    assert least_objective(document) is None
    assert plan["status"] == "impossible"
