from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, Piece
from scheduling.changeover.setups import Faces, GridRow, Place, pieces_of
from tests.scheduling.changeover.builders import (
    CROSS,
    OXER,
    POLE,
    TAKE_OFF,
    placed,
    row,
    setups,
)


def test_a_row_stands_where_it_is_placed() -> None:
    """The contract: not mirrored at o + at, facing up."""
    grid = row(placed(CROSS), placed(OXER, 600, spread_cm=90))

    stands = grid.stand(grid.start, Place(700, False))

    assert [(e.at_cm, e.faces) for e in stands] == [(700, "up"), (1300, "up")]


def test_a_mirrored_row_stands_from_the_other_end() -> None:
    """The contract: mirrored at o + R - at - spread, facing down; here R is 690."""
    grid = row(placed(CROSS), placed(OXER, 600, spread_cm=90))

    stands = grid.stand(grid.start, Place(700, True))

    assert [(e.element.kind, e.at_cm, e.faces) for e in stands] == [
        (OXER, 700, "down"),
        (CROSS, 1390, "down"),
    ]


def test_the_end_uses_the_starts_length_and_place() -> None:
    end = (Element(POLE, -50), Element(POLE, 400))
    grid = row(placed(POLE), placed(POLE, 300), end=end)

    stands = grid.stand(end, Place(1000, True))

    assert [e.at_cm for e in stands] == [1000 + 300 - 400, 1000 + 300 + 50]


def test_a_row_keeps_its_approach_and_run_out_as_ridden() -> None:
    grid = row(placed(POLE), placed(POLE, 300), approach_cm=700, runout_cm=1000)

    assert grid.fits(2000, Place(700, False))
    assert not grid.fits(2000, Place(695, False))
    assert not grid.fits(2000, Place(705, False))
    assert grid.fits(2000, Place(1000, True))
    assert not grid.fits(2000, Place(995, True))
    assert not grid.fits(2000, Place(1005, True))


def test_the_end_needs_its_room_too() -> None:
    end = (Element(POLE, -100), Element(POLE, 300))
    grid = row(placed(POLE), placed(POLE, 300), end=end, approach_cm=700)

    assert not grid.fits(2000, Place(700, False))
    assert grid.fits(2000, Place(800, False))


@given(setups(), st.integers(1, 40).map(lambda n: n * 100), st.booleans())
def test_places_are_exactly_those_that_fit(setup, line_cm: int, mirror: bool) -> None:
    if not setup:
        return
    grid = row(*setup, approach_cm=200, runout_cm=300, may_mirror=mirror)

    places = grid.places(line_cm, 50)

    ways = (False, True) if mirror else (False,)
    assert set(places) == {
        Place(o, m)
        for m in ways
        for o in range(-6000, 6050, 50)
        if grid.fits(line_cm, Place(o, m))
    }


@given(setups())
def test_mirroring_twice_is_no_change(setup) -> None:
    if not setup:
        return
    grid = GridRow(tuple(e.element for e in setup), ())
    once = grid.stand(grid.start, Place(0, True))
    back = GridRow(tuple(e.element for e in once), ())

    twice = back.stand(back.start, Place(0, True))

    length = grid.length_cm
    assert back.length_cm == length or not once
    assert sorted(e.at_cm for e in twice) == sorted(e.at_cm for e in setup)


def test_pieces_of_a_setup_are_counted() -> None:
    count = pieces_of((placed(CROSS, ground_line=TAKE_OFF), placed(POLE, 300)))

    assert count == {Piece.WING: 2, Piece.POLE: 4, Piece.CUP: 2}


def test_each_way_has_its_other() -> None:
    assert Faces.UP.other is Faces.DOWN
    assert Faces.DOWN.other is Faces.UP
