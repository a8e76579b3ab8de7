"""Bars are true to their numbers, and to be told apart without colour."""

import re
from itertools import pairwise

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

from exercises.drawing.bars import LEFT, RIGHT, WIDE, Bars, draw_bars, scale_of

SVG = "{http://www.w3.org/2000/svg}"


def drawn(bars: Bars):
    return fromstring(draw_bars(bars, ident="b", title="Hours", says="The table."))


def boxes(root) -> list[tuple[float, float]]:
    """Return left and width of the bars, without background, key and patterns."""
    found = [
        one for one in root.findall(f"{SVG}rect") if one.get("stroke-width") == "1"
    ]
    return [
        (float(one.get("x")), float(one.get("width")))
        for one in found
        if float(one.get("x")) >= LEFT
    ]


def words(root) -> list[str]:
    return [one.text for one in root.iter(f"{SVG}text")]


@given(st.floats(0, 1e6))
def test_a_scale_holds_the_longest_bar_and_wastes_less_than_half(longest):
    most = scale_of(longest)

    assert most >= longest
    assert most <= max(2, 2 * longest * 1.0001)


@given(st.lists(st.integers(0, 500), min_size=1, max_size=12))
def test_bars_are_as_long_as_their_numbers_say(values):
    root = drawn(Bars([str(n) for n in range(len(values))], [("Hall", values)], "h"))

    across = (WIDE - LEFT - RIGHT) / scale_of(max(values))
    wanted = [(LEFT, round(value * across, 1)) for value in values if value]
    assert boxes(root) == pytest.approx(wanted)


def test_stacked_parts_follow_each_other_and_their_sum_is_written():
    root = drawn(
        Bars(["A", "B"], [("x", [1, 0]), ("y", [2, 0]), ("z", [3, None])], "", True)
    )

    parts = boxes(root)
    assert len(parts) == 3
    for (left, wide), (following, _) in pairwise(parts):
        assert following == pytest.approx(left + wide, abs=0.11)
    assert words(root)[-3:] == ["6", "B", "0"]


def test_what_is_not_known_is_a_question_mark():
    assert "?" in words(drawn(Bars(["A"], [("x", [None])], "min")))


def test_series_differ_by_pattern_and_are_named():
    root = drawn(Bars(["A"], [(name, [2]) for name in "vwxyz"], "h"))

    fills = [
        one.get("fill") for one in root.findall(f"{SVG}rect") if one.get("x") == "104"
    ]
    assert len(set(fills)) == 5
    assert len(root.findall(f"{SVG}pattern")) == 4
    assert words(root)[:5] == list("vwxyz")
    assert "2 h" in words(root)


def test_long_names_are_cut_and_nothing_needs_a_style():
    body = draw_bars(
        Bars(["A horse with a very long name"], [("x", [1.25])], "h"),
        ident="b", title="t", says="s",
    )  # fmt: skip

    assert "A horse with…" in re.sub(r"\s+", " ", body) or "…" in body
    assert "style" not in body
    assert ">1.2<" in body


def test_nothing_is_drawn_without_failing():
    assert words(drawn(Bars([], [("x", [])], "h")))[0] == "x"
