from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, GroundLine, Kind, Piece
from exercises.geometry.units import HeightUnit, LengthUnit, Units
from scheduling.changeover.effort import handling_from
from scheduling.changeover.loads import Crew, Ground
from scheduling.changeover.moves import changeover
from scheduling.changeover.setups import Place, place_elements
from scheduling.changeover.walking import walk
from scheduling.dayplan.plan import move_as_data
from scheduling.wording import (
    alone_words,
    changeover_carry,
    changeover_words,
    duration_words,
    from_words,
    height_words,
    move_carry,
    move_words,
    pass_words,
    piece_words,
    to_words,
)
from tests.scheduling.changeover.builders import placed
from tests.scheduling.days import cross, oxer, pole, vertical

GATE = "the gate end"


def move(do, was=None, now=None):
    return {"do": do, "was": was, "now": now, "seconds": 0}


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (
            move("shift", cross(1240), cross(1305)),
            "Shift the cross from 12.40 m to 13.05 m from the gate end.",
        ),
        (
            move("build", None, vertical(1240, 70, ground_line="take-off")),
            "Build a vertical (70 cm high, 2 rails, ground line on the side nearer "
            "the gate end) at 12.40 m from the gate end.",
        ),
        (
            move("build", None, oxer(1000, ascending=True, faces="down")),
            "Build an oxer (80 cm high, 80 cm spread, 2 rails, lower on the side "
            "away from the gate end) at 10.00 m and 10.80 m from the gate end.",
        ),
        (
            move("strip", pole(205)),
            "Take away the pole at 2.05 m from the gate end.",
        ),
        (
            move("keep", cross(1240), cross(1240)),
            "Leave the cross at 12.40 m from the gate end.",
        ),
        (
            move("change", cross(1240), vertical(1240, 60)),
            "Change the cross at 12.40 m from the gate end into a vertical "
            "(60 cm high).",
        ),
        (
            move("change", cross(1240), cross(1300, height_cm=50)),
            "Change the cross at 12.40 m from the gate end to 50 cm high; "
            "its place is 13.00 m.",
        ),
        (
            move(
                "change",
                vertical(900, 70, ground_line="take-off", guides=True),
                vertical(900, 60),
            ),
            "Change the vertical at 9.00 m from the gate end to 60 cm high, "
            "no ground line, no guide rails, one rail.",
        ),
        (
            move("change", oxer(900, ascending=True), oxer(900)),
            "Change the oxer at 9.00 m from the gate end to both rails level.",
        ),
        (
            move(
                "change", vertical(900, ground_line="both"), vertical(900, guides=True)
            ),
            "Change the vertical at 9.00 m from the gate end to guide rails on the "
            "side nearer the gate end, no ground line.",
        ),
    ],
    ids=[
        "shift",
        "build",
        "oxer",
        "strip",
        "keep",
        "kind",
        "height",
        "less",
        "level",
        "guides",
    ],
)
def test_a_move_is_said_in_one_sentence(one, words):
    assert move_words(one, GATE) == words


def test_a_ground_line_on_both_sides_is_said_so():
    words = move_words(move("build", None, vertical(0, ground_line="both")))

    assert "ground line on both sides" in words


def test_a_move_counts_what_to_bring_and_what_to_take_back():
    carry = move_carry(move("change", cross(0), vertical(0, 60)))

    assert carry.words() == "take back 1 pole"


def test_a_changeover_uses_for_one_fence_what_another_frees():
    moves = [move("strip", cross(0)), move("build", None, vertical(500, 70))]

    assert changeover_carry(moves).words() == "bring 2 cups"


def test_a_changeover_that_only_shifts_has_nothing_to_carry():
    moves = [move("shift", cross(0), cross(50))]

    assert changeover_words(moves, GATE)[0] == "Nothing to carry."


def test_pieces_are_counted_in_words():
    assert piece_words({Piece.POLE: 1, Piece.WING: 2}) == "2 wings, 1 pole"


def test_a_started_minute_counts_whole():
    assert duration_words(601) == "11 min"


elements = st.builds(
    Element,
    kind=st.just(Kind.VERTICAL),
    at_cm=st.integers(0, 400).map(lambda n: 5 * n),
    height_cm=st.integers(20, 110),
    ground_line=st.sampled_from(GroundLine),
    guides=st.booleans(),
) | st.builds(
    Element,
    kind=st.just(Kind.OXER),
    at_cm=st.integers(0, 400).map(lambda n: 5 * n),
    height_cm=st.integers(20, 110),
    spread_cm=st.integers(30, 120),
    ascending=st.booleans(),
)
setups = st.tuples(st.lists(elements, max_size=3), st.booleans()).map(
    lambda pair: place_elements(pair[0], 2200, Place(0, pair[1]))
)


@given(setups, setups)
def test_every_move_of_a_changeover_says_something_to_do(standing, wanted):
    moves = changeover(standing, wanted, handling_from({})).moves

    for one in moves:
        words = move_words(move_as_data(one), GATE)
        assert words.endswith(".")
        assert "as listed" not in words


def test_a_move_is_said_in_the_schools_units() -> None:
    feet = Units(lengths=LengthUnit.FEET, heights=HeightUnit.FEET)

    words = move_words(move("build", None, oxer(610)), GATE, feet)

    assert words == (
        f"Build an oxer (2 ft 7 in high, 2 ft 7 in spread, 2 rails) at 20 ft and "
        f"22 ft 8 in from {GATE}."
    )


def test_a_pass_says_each_place_with_the_gap_before_it() -> None:
    moves = [
        {"do": "keep", "was": cross(500), "now": cross(500)},
        {"do": "build", "was": None, "now": oxer(1100)},
        {"do": "build", "was": None, "now": vertical(1820)},
    ]

    # From the oxer's landing foot at 11.80 m, not from its take-off.
    assert pass_words([1100, 1820], moves) == (
        "11.00 m (gap 6.00 m); 18.20 m (gap 6.40 m)"
    )
    assert pass_words([500], moves) == "5.00 m"
    assert height_words([1820], moves) == "18.20 m: 60 cm"


def test_two_who_carry_are_not_warned() -> None:
    heavy = {Piece.WING: 24_000}

    assert alone_words(Counter({Piece.WING: 2}), Crew(2, weights_g=heavy)) == ""
    assert alone_words(Counter({Piece.WING: 2}), Crew(1, weights_g=heavy)) != ""


def test_pieces_say_from_which_fence_they_come_and_where_they_go() -> None:
    was, now = placed(Kind.VERTICAL, 2000), placed(Kind.RAISED_POLE, 1800)
    found = walk(((was, None), (None, now)), Ground(), Crew())

    assert from_words(found, 1800) == (
        "1 pole from what stood at 20.00 m; 2 blocks from the store"
    )
    assert to_words(found, 2000) == "2 wings, 2 cups to the store; 1 pole to 18.00 m"
