import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.data import element_as_data, element_from_data
from exercises.geometry.elements import (
    Element,
    GroundLine,
    InvalidElement,
    Kind,
    Piece,
    pieces,
)
from exercises.geometry.rows import InvalidRow, Row, UnableToReverse


@st.composite
def rows(draw) -> Row:
    elements, at = [], 0
    for _ in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from(list(Kind)))
        flat = kind in {Kind.POLE, Kind.PLANK}
        elements.append(
            Element(
                kind,
                at,
                0 if flat else draw(st.integers(10, 110)),
                draw(st.integers(40, 110)) if kind is Kind.OXER else 0,
                ground_line=draw(st.sampled_from([GroundLine.NONE, GroundLine.BOTH])),
                guides=draw(st.booleans()),
            )
        )
        at = elements[-1].landing_cm + draw(st.integers(50, 900))
    return Row(tuple(elements))


@given(rows())
def test_reversing_twice_gives_the_same_row(row: Row) -> None:
    assert row.reversed().reversed() == row


@given(rows())
def test_a_row_is_as_long_as_its_gaps_and_spreads(row: Row) -> None:
    spreads = sum(one.spread_cm for one in row.elements)

    assert row.length_cm == sum(row.gaps_cm) + spreads
    assert row.reversed().gaps_cm == row.gaps_cm[::-1]


@given(rows())
def test_elements_read_back_from_their_data(row: Row) -> None:
    assert (
        tuple(element_from_data(element_as_data(e)) for e in row.elements)
        == row.elements
    )


def test_an_element_with_everything_reads_back() -> None:
    one = Element(Kind.OXER, 5, 80, 90, 2, GroundLine.TAKE_OFF, True, True)

    assert element_from_data(element_as_data(one)) == one


def test_a_rows_pieces_are_those_of_its_elements() -> None:
    """Stable Management (US), a: about three poles to a pair of wings."""
    row = Row(
        (
            Element(Kind.CROSS, 0, 40),
            Element(Kind.VERTICAL, 600, 70, ground_line=GroundLine.TAKE_OFF),
            Element(Kind.OXER, 1200, 80, 80),
        )
    )

    assert row.pieces == {Piece.WING: 8, Piece.POLE: 8, Piece.CUP: 12}
    assert row.pieces[Piece.POLE] <= 3 * row.pieces[Piece.WING] / 2


@pytest.mark.parametrize(
    ("elements", "says"),
    [
        ((), "needs an element"),
        ((Element(Kind.POLE, 5),), "is at 0"),
        (
            (Element(Kind.OXER, 0, 60, 80), Element(Kind.POLE, 50)),
            "before the oxer ends",
        ),
    ],
)
def test_elements_that_make_no_row_are_refused(elements, says: str) -> None:
    with pytest.raises(InvalidRow, match=says):
        Row(elements)


@pytest.mark.parametrize(
    ("one", "says"),
    [
        (Element(Kind.OXER, 0, 60, 80, ascending=True), "set it square first"),
        (Element(Kind.CROSS, 0, 60, ground_line=GroundLine.TAKE_OFF), "on both sides"),
    ],
)
def test_what_can_not_be_ridden_backwards_says_why(one: Element, says: str) -> None:
    with pytest.raises(UnableToReverse, match=says):
        Row((one,)).reversed()


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"kind": Kind.CROSS, "height_cm": -1}, "height_cm"),
        ({"kind": Kind.POLE, "height_cm": 10}, "height_cm"),
        ({"kind": Kind.CROSS}, "height_cm"),
        ({"kind": Kind.OXER, "height_cm": 60}, "spread_cm"),
        ({"kind": Kind.CROSS, "height_cm": 60, "spread_cm": 5}, "spread_cm"),
        ({"kind": Kind.CROSS, "height_cm": 60, "ascending": True}, "ascending"),
        ({"kind": Kind.CROSS, "height_cm": 60, "rails": 2}, "rails"),
        ({"kind": Kind.VERTICAL, "height_cm": 60, "rails": 0}, "rails"),
    ],
)
def test_an_element_that_can_not_be_built_names_the_field(fields, field: str) -> None:
    with pytest.raises(InvalidElement) as caught:
        Element(**fields)

    assert caught.value.field == field


@pytest.mark.parametrize(
    ("one", "count"),
    [
        (Element(Kind.POLE), {"pole": 1}),
        (Element(Kind.RAISED_POLE, 0, 15), {"pole": 1, "block": 2}),
        (Element(Kind.PLANK), {"plank": 1}),
        (Element(Kind.CROSS, 0, 40), {"wing": 2, "pole": 2, "cup": 2}),
        (Element(Kind.VERTICAL, 0, 60), {"wing": 2, "pole": 1, "cup": 2}),
        (Element(Kind.VERTICAL, 0, 100), {"wing": 2, "pole": 2, "cup": 4}),
        (Element(Kind.VERTICAL, 0, 101), {"wing": 2, "pole": 3, "cup": 6}),
        (Element(Kind.VERTICAL, 0, 60, rails=2), {"wing": 2, "pole": 2, "cup": 4}),
        (Element(Kind.OXER, 0, 60, 80), {"wing": 4, "pole": 2, "cup": 4}),
        (
            Element(Kind.CROSS, 0, 40, ground_line=GroundLine.TAKE_OFF, guides=True),
            {"wing": 2, "pole": 5, "cup": 2},
        ),
        (
            Element(Kind.CROSS, 0, 40, ground_line=GroundLine.BOTH),
            {"wing": 2, "pole": 4, "cup": 2},
        ),
    ],
)  # fmt: skip
def test_pieces_of_each_kind(one: Element, count: dict[str, int]) -> None:
    assert {piece.value: n for piece, n in pieces(one).items() if n} == count
