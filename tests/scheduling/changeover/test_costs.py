"""Each line of the contract's "What a changeover costs", worked by hand."""

import pytest

from scheduling.changeover.costs import alike, build_us, pair_cost, strip_us
from scheduling.changeover.effort import DEFAULT_HANDLING
from tests.scheduling.changeover.builders import (
    BOTH,
    CROSS,
    OXER,
    PLANK,
    POLE,
    RAISED,
    TAKE_OFF,
    VERTICAL,
    placed,
)

H = DEFAULT_HANDLING


@pytest.mark.parametrize(
    ("one", "build_s", "strip_s"),
    [
        # Pieces x fetch + measure 30; pieces x return.
        (placed(POLE), 28 + 30, 20),
        (placed(RAISED), 28 + 2 * 18 + 30, 20 + 2 * 12),
        (placed(PLANK), 28 + 30, 20),
        (placed(CROSS), 2 * 45 + 2 * 28 + 2 * 12 + 30, 2 * 32 + 2 * 20 + 2 * 6),
        (placed(VERTICAL, height_cm=60), 90 + 28 + 24 + 30, 64 + 20 + 12),
        (placed(VERTICAL, height_cm=61), 90 + 56 + 48 + 30, 64 + 40 + 24),
        (placed(VERTICAL, height_cm=101), 90 + 84 + 72 + 30, 64 + 60 + 36),
        (placed(VERTICAL, rails=2), 90 + 56 + 48 + 30, 64 + 40 + 24),
        # An oxer of 80 cm: two front rails and one behind.
        (placed(OXER, height_cm=80), 180 + 3 * 28 + 6 * 12 + 30, 128 + 60 + 36),
        (placed(CROSS, ground_line=TAKE_OFF), 90 + 84 + 24 + 30, 64 + 60 + 12),
        (placed(CROSS, ground_line=BOTH), 90 + 112 + 24 + 30, 64 + 80 + 12),
        (placed(CROSS, guides=True), 90 + 112 + 24 + 30, 64 + 80 + 12),
    ],
    ids=lambda value: str(value)[:40],
)
def test_building_and_stripping_an_element(one, build_s: int, strip_s: int) -> None:
    assert build_us(one, H) == build_s * 1_000_000
    assert strip_us(one, H) == strip_s * 1_000_000


@pytest.mark.parametrize(
    ("was", "now", "seconds"),
    [
        # Nothing differs.
        (placed(CROSS), placed(CROSS), 0),
        # Which way a plain cross faces does not show.
        (placed(CROSS), placed(CROSS, faces="down"), 0),
        # Moved a metre: 2 wings (12+2), 2 poles (8+1.6), cups nothing, measure 30.
        (placed(CROSS), placed(CROSS, 100), 2 * 14 + 2 * 9.6 + 30),
        # Another height: two cups at 16.
        (placed(CROSS), placed(CROSS, height_cm=50), 2 * 16),
        # Cross to vertical in place: a pole goes, two cups stay and change height.
        (placed(CROSS), placed(VERTICAL, height_cm=60), 20 + 2 * 16 + 30),
        # Vertical to oxer: 2 wings, 1 pole, 2 cups more at one height; measured.
        (
            placed(VERTICAL, height_cm=60),
            placed(OXER, height_cm=60),
            90 + 28 + 24 + 30,
        ),
        # A raised pole laid down: two blocks go; the kind changes.
        (placed(RAISED), placed(POLE), 2 * 12 + 30),
        # A pole raised: two blocks new; the kind changes; measured once.
        (placed(POLE), placed(RAISED), 2 * 18 + 30),
        # A ground line turned to the other side; guides turned.
        (
            placed(CROSS, ground_line=TAKE_OFF),
            placed(CROSS, ground_line=TAKE_OFF, faces="down"),
            8,
        ),
        (placed(CROSS, guides=True), placed(CROSS, guides=True, faces="down"), 8),
        # On both sides nothing is to be turned.
        (
            placed(CROSS, ground_line=BOTH),
            placed(CROSS, ground_line=BOTH, faces="down"),
            0,
        ),
        # An oxer of 40 cm has one front rail: 4 cups. Made ascending: 4 x 16.
        (placed(OXER), placed(OXER, ascending=True), 4 * 16),
        # Ascending and turned round: 4 x 16.
        (
            placed(OXER, ascending=True),
            placed(OXER, ascending=True, faces="down"),
            4 * 16,
        ),
        # Wider by 20 cm: 2 x (12 + 2.0 x 0.2), and measured.
        (placed(OXER), placed(OXER, spread_cm=100), 2 * (12 + 0.4) + 30),
        # Wider and moved: measured once only.
        (
            placed(OXER),
            placed(OXER, 100, spread_cm=100),
            2 * 12.4 + 4 * 14 + 2 * 9.6 + 30,
        ),
        # A ground line added: one pole fetched, nothing measured.
        (placed(CROSS), placed(CROSS, ground_line=TAKE_OFF), 28),
    ],
    ids=lambda value: str(value)[:60],
)
def test_making_one_element_of_another(was, now, seconds: float) -> None:
    moved = now.at_cm - was.at_cm

    assert pair_cost(was, now, H).at(moved) == round(seconds * 1_000_000)


def test_elements_are_alike_where_only_the_place_differs() -> None:
    assert alike(placed(CROSS), placed(CROSS, 400, faces="down"))
    assert not alike(
        placed(CROSS, guides=True), placed(CROSS, guides=True, faces="down")
    )
    assert not alike(placed(VERTICAL), placed(VERTICAL, rails=2))
