"""What lies or leans beside a fence: drawn, said, counted, and kept as data."""

import pytest

from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.drawing.words import element_words
from exercises.geometry.data import as_planned, element_as_data, element_from_data
from exercises.geometry.elements import (
    Element,
    GroundLine,
    InvalidElement,
    Kind,
    Piece,
    Side,
    pieces,
)

FENCE = Element(
    Kind.VERTICAL,
    0,
    60,
    ground_line=GroundLine.TAKE_OFF,
    guides=True,
    ground_line_cm=40,
    guides_cm=100,
    v_poles_cm=200,
    leaning=Side.LEFT,
)


def test_it_is_said_in_words() -> None:
    assert element_words(FENCE) == (
        "vertical 60 cm, ground line in front 40 cm away, guide rails 100 cm apart, "
        "V-poles 200 cm apart, a pole leaning on the left"
    )


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("draw", [draw_side, draw_plan])
def test_it_is_drawn(draw, side: Side) -> None:
    plain = draw([Element(Kind.VERTICAL, 0, 60)], ident="a", title="t")
    leaning = Element(Kind.VERTICAL, 0, 60, v_poles_cm=200, leaning=side)

    assert draw([leaning], ident="a", title="t").count("<line") > plain.count("<line")


def test_its_poles_are_counted() -> None:
    bare = pieces(Element(Kind.VERTICAL, 0, 60))

    assert pieces(FENCE)[Piece.POLE] - bare[Piece.POLE] == 1 + 2 + 2 + 1


def test_it_reads_back_as_it_was_written_and_a_plan_knows_nothing_of_it() -> None:
    data = element_as_data(FENCE)

    assert element_from_data(data) == FENCE
    assert as_planned(data) == {
        "kind": "vertical",
        "at_cm": 0,
        "height_cm": 60,
        "ground_line": "take-off",
        "guides": True,
    }


@pytest.mark.parametrize(
    "broken",
    [
        {"ground_line_cm": 120},
        {"guides_cm": 40},
        {"v_poles_cm": 20},
        {"kind": Kind.POLE, "height_cm": 0, "v_poles_cm": 200},
        {"kind": Kind.POLE, "height_cm": 0, "leaning": Side.LEFT},
    ],
)
def test_what_cannot_lie_or_lean_is_refused(broken: dict) -> None:
    fields = {"kind": Kind.VERTICAL, "height_cm": 60} | broken
    with pytest.raises(InvalidElement):
        Element(**fields)
