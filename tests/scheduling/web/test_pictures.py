"""The pictures of the planner: what they say, and where they stay."""

import re
from datetime import timedelta

from scheduling.drawing.changeover_picture import draw_changeover
from scheduling.web.plan_picture import Box, draw_plan_of_day
from scheduling.web.what_if import draw_savings
from tests.clock import at
from tests.scheduling.days import cross, oxer, pole, vertical

DO = {"ident": "c", "title": "Changeover", "datum": "the gate"}


def moves() -> list[dict]:
    return [
        {"do": "strip", "was": pole(300), "now": None},
        {"do": "keep", "was": cross(1000), "now": cross(1000)},
        {"do": "shift", "was": vertical(1600), "now": vertical(1650)},
        {"do": "build", "was": None, "now": oxer(2300)},
    ]


def test_a_changeover_shows_standing_over_wanted() -> None:
    drawn = draw_changeover(moves(), 4000, **DO)

    for words in ("Stands now", "Wanted", ">new<", "metres from the gate", "oxer 80"):
        assert words in drawn
    assert drawn.index(">Stands now<") < drawn.index(">Wanted<")
    assert 'stroke-dasharray="8 7"' in drawn
    assert "style=" not in drawn


def test_an_empty_line_says_nothing_stands() -> None:
    drawn = draw_changeover([], 4000, **DO)

    assert "Standing: nothing. Wanted: nothing." in drawn


def test_names_of_elements_that_stand_close_do_not_lie_on_each_other() -> None:
    close = [{"do": "keep", "was": pole(n), "now": pole(n)} for n in (1000, 1040, 1080)]

    drawn = draw_changeover(close, 6000, **DO)

    heights = {part.split('"')[1] for part in drawn.split(">pole<")[0].split(" y=")[1:]}
    assert len(heights) > 1


def test_a_plan_shows_lessons_changeovers_and_what_moved() -> None:
    nine = at("09:00")
    boxes = [
        Box(
            0,
            nine,
            nine + timedelta(hours=1),
            "Group",
            "/lessons/1/",
            grid=True,
            note="was 10:00",
        ),
        Box(1, nine, nine + timedelta(minutes=15), "A very long title of a lesson"),
        Box(
            0,
            nine - timedelta(minutes=9),
            nine,
            "Changeover for Group",
            "/changeovers/1/",
            reset=True,
        ),
    ]

    drawn = draw_plan_of_day(
        ["Hall", "Ring"],
        boxes,
        hours=(at("08:00"), at("11:00")),
        ident="d",
        title="Day",
    )

    for words in (">was 10:00<", 'href="/changeovers/1/"', ">9<", ">08:00<", ">Ring<"):
        assert words in drawn
    assert 'stroke-width="4"' in drawn
    assert "…" in drawn


def test_the_minutes_of_changeovers_after_each_other_stay_apart() -> None:
    begins, turn, ends = at("09:00"), at("09:05"), at("09:10")
    boxes = [
        Box(0, turn, ends, "Second", reset=True),
        Box(0, begins, turn, "First", reset=True),
    ]

    drawn = draw_plan_of_day(
        ["Hall"], boxes, hours=(at("08:00"), at("11:00")), ident="d", title="Day"
    )

    first, second = (
        float(one) for one in re.findall(r'<text x="([\d.]+)"[^>]*>5</text>', drawn)
    )
    assert second - first >= 14  # A figure and a gap, at a size of 14.


def test_savings_are_bars_and_costs_are_on_the_other_side() -> None:
    rows = [
        {"name": "A, b", "saved_s": 600, "saved_min": "10.0"},
        {"name": "B", "saved_s": -120, "saved_min": "-2.0"},
        {"name": "C", "saved_s": None, "saved_min": None},
    ]

    drawn = draw_savings(rows)

    for words in (">10.0 min<", ">-2.0 min<", "not possible", ">A<"):
        assert words in drawn


def test_without_costs_every_bar_begins_at_the_same_line() -> None:
    assert "-2" not in draw_savings([{"name": "A", "saved_s": 60, "saved_min": "1.0"}])
