"""What speaks against a time, in points and words."""

import pytest

from scheduling.finding.points import (
    Weights,
    load_points,
    reset_points,
    reset_words,
    teacher_points,
    teacher_reason,
    wish_points,
)

PLAIN = Weights()


@pytest.mark.parametrize(
    ("added_s", "says"),
    [
        (61, "adds 2 min of changing fences"),
        (60, "adds 1 min of changing fences"),
        (0, "adds no changing of fences"),
        (-59, "saves less than a minute of changing fences"),
        (-119, "saves 1 min of changing fences"),
    ],
)
def test_a_begun_minute_is_added_whole_and_saved_only_when_over(
    added_s: int, says: str
) -> None:
    assert reset_words(added_s) == says


def test_a_saved_minute_counts_as_much_as_an_added_one() -> None:
    assert reset_points(-300, PLAIN) == -reset_points(300, PLAIN) == -10


@pytest.mark.parametrize(
    ("wait_min", "points", "says"),
    [
        (None, 8, "no other lesson that day"),
        (0, 0, "goes on from one lesson to the next"),
        (30, 2, "another lesson 30 min before or after"),
        (600, 6, "another lesson 600 min before or after"),
    ],
)
def test_an_instructor_comes_for_more_than_one_lesson_and_waits_little(
    wait_min: int | None, points: int, says: str
) -> None:
    reason = teacher_reason("Ilka", wait_min, PLAIN)

    assert (reason.points, teacher_points(wait_min, PLAIN)) == (points, points)
    assert reason.says == f"Ilka {says}" or reason.says == f"Ilka has {says}"


def test_a_fuller_horse_and_a_later_day_cost_more() -> None:
    assert load_points(1.0, PLAIN) == 2 * load_points(0.5, PLAIN)
    assert wish_points(4, short_notice=False, weights=PLAIN) == 2
    assert wish_points(0, short_notice=True, weights=PLAIN) == 4
