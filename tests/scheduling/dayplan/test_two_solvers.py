"""Whole small days, solved by two general solvers that know nothing of days.

The day is written as one integer programme (`programme`), from the contract alone,
and solved by HiGHS (through SciPy) and by SCIP (through OR-Tools): two programs by
other hands, which must both find the least objective that `order_day` proves.
"""

from typing import Any

import pytest

from tests.scheduling.dayplan.crowded_days import crowded_day
from tests.scheduling.days import cross, day, grid, lesson, ordered
from tests.scheduling.programme import Programme, programme_of

PLANNED = [0, 5, 9, 25, 27, 30, 56, 69, 80, 88, 93, 101, 105]
IMPOSSIBLE = [64, 92, 116]


def coarse_day(seed: int) -> dict[str, Any]:
    """Four to six lessons in two arenas of three or four lines; any store will do."""
    document = crowded_day(seed, most=6)
    document["place_every_cm"] = 600
    del document["stock"]
    return document


@pytest.mark.parametrize("seed", PLANNED)
def test_two_general_solvers_find_no_better_day(seed: int) -> None:
    document = coarse_day(seed)
    programme = programme_of(document)

    plan = ordered(document)

    assert (plan["status"], plan["objective_s"]) == ("proved", programme.by_highs())
    assert plan["objective_s"] == programme.by_scip()


@pytest.mark.parametrize("seed", IMPOSSIBLE)
def test_two_general_solvers_find_no_day_where_there_is_none(seed: int) -> None:
    document = coarse_day(seed)
    programme = programme_of(document)

    plan = ordered(document)

    assert plan["status"] == "impossible"
    assert programme.by_highs() is programme.by_scip() is None


def test_the_programme_of_a_day_worked_on_paper() -> None:
    """A cross built once: 2 wings, 2 poles, 2 cups, measured, begun: 260 s.

    90 + 56 + 24 + 30 + 60, by the handling times of the day file's contract.
    """
    programme = programme_of(day(lesson("a", grid=grid(cross()))))

    assert programme.by_highs() == programme.by_scip() == 260


def test_the_solvers_solve_what_is_known_without_them() -> None:
    """Of 3 and 5, at least one, and the dearer only with the other: 3."""
    programme = Programme()
    cheap, dear = programme.choice(), programme.choice()
    programme.at_least({**cheap, **dear}, {-1: 1})
    programme.at_least(cheap, dear)
    programme.least = {0: 3, 1: 5}

    assert programme.by_highs() == programme.by_scip() == 3
