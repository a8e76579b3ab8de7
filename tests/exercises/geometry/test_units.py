"""Units of a school: what is written reads back, and agrees with published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.lengths import InvalidLength
from exercises.geometry.units import METRIC, HeightUnit, HorseUnit, LengthUnit, Units

FEET = Units(LengthUnit.FEET, HeightUnit.FEET, HorseUnit.HANDS)
HOLES = Units(heights=HeightUnit.HOLES, first_hole_cm=20, hole_cm=5)
SCHOOLS = st.builds(
    Units,
    st.sampled_from(LengthUnit),
    st.sampled_from(HeightUnit),
    st.sampled_from(HorseUnit),
    st.integers(0, 60),
    st.integers(1, 15),
)
HALF_INCH_CM = 2
"""A whole inch is at most 1.27 cm off, and whole centimetres half a one more."""


@given(SCHOOLS, st.integers(0, 9999))
def test_a_distance_that_is_written_reads_back(units: Units, cm: int) -> None:
    for text in (units.length(cm), units.short_length(cm)):
        off = 0 if units.lengths is LengthUnit.METRES else HALF_INCH_CM
        assert abs(units.read_length(text) - cm) <= off


@given(SCHOOLS, st.integers(1, 200))
def test_a_height_that_is_written_reads_back(units: Units, cm: int) -> None:
    off = HALF_INCH_CM if units.heights is HeightUnit.FEET else 0
    assert abs(units.read_height(units.height(cm)) - cm) <= off


@given(SCHOOLS, st.integers(1, 250))
def test_a_width_that_is_written_reads_back(units: Units, cm: int) -> None:
    off = HALF_INCH_CM if units.lengths is LengthUnit.FEET else 0
    assert abs(units.read_short(units.short(cm)) - cm) <= off


@given(SCHOOLS, st.integers(60, 200))
def test_a_horse_that_is_written_reads_back(units: Units, cm: int) -> None:
    off = HALF_INCH_CM if units.horses is HorseUnit.HANDS else 0
    assert abs(units.read_horse(units.horse(cm)) - cm) <= off


@given(SCHOOLS, st.integers(1, 60))
def test_holes_are_counted_from_the_lowest(units: Units, hole: int) -> None:
    assert units.hole(units.first_hole_cm + (hole - 1) * units.hole_cm) == hole
    assert units.hole(units.first_hole_cm - 1) is None


@pytest.mark.parametrize(
    ("feet", "metres"),
    [
        ("1 ft", 0.3048),
        ("9 ft", 2.74),
        ("10 ft", 3.05),
        ("12 ft", 3.66),
        ("18 ft", 5.49),
        ("21 ft", 6.40),
        ("24 ft", 7.32),
        ("36 ft", 10.97),
        ("60 ft", 18.29),
        ("4 ft 6 in", 1.37),
    ],
)
def test_feet_agree_with_tables_that_print_both(feet: str, metres: float) -> None:
    """1 ft = 0.3048 m (NIST Handbook 44, appendix C; from memory); the rest as
    printed in feet and metres by the undated copy of the British Horse Society's
    figures "Distances For Jumps And Trotting Poles" and a UK instructor's notes
    (4 ft 6 in), both grade a."""
    assert abs(FEET.read_length(feet) - metres * 100) <= 1
    assert FEET.length(round(metres * 100)) == feet


@pytest.mark.parametrize(
    ("hh", "cm"),
    [("12.2", 127.0), ("13.2", 137.2), ("14.2", 147.3), ("15.2", 157.5), ("16", 162.6)],
)
def test_hands_are_four_inches(hh: str, cm: float) -> None:
    """1 hand = 4 in = 10.16 cm (enviroliteracy.org on the 148 cm pony, grade a);
    the others are arithmetic on it."""
    assert abs(FEET.read_horse(hh) - cm) <= 0.5
    assert FEET.horse(round(cm)).startswith(hh)


@pytest.mark.parametrize(
    ("units", "length", "short", "height", "drawn", "change", "horse"),
    [
        (METRIC, "6.20 m", "6.20", "80 cm", "80", "10 cm", "148 cm"),
        (FEET, "20 ft 4 in", "20'4\"", "2 ft 7 in", "2'7\"", "4 in", "14.2 hh"),
        (HOLES, "6.20 m", "6.20", "hole 13 (80 cm)", "hole 13", "2 holes", "148 cm"),
    ],
)
def test_each_unit_is_written_as_the_trade_does(
    units: Units, length, short, height, drawn, change, horse
) -> None:
    assert units.length(620) == length
    assert units.short_length(620) == short
    assert units.height(80) == height
    assert units.short_height(80) == drawn
    assert units.height_change(-10) == change
    assert units.horse(148) == horse


def test_between_the_holes_a_height_stays_in_centimetres() -> None:
    assert HOLES.height(83) == "83 cm"
    assert HOLES.short_height(83) == "83"
    assert HOLES.height_change(5) == "one hole"
    assert HOLES.height_change(3) == "3 cm"
    assert (HOLES.step_cm, METRIC.step_cm) == (5, 5)
    assert FEET.short_length(305) == "10'"


@pytest.mark.parametrize(
    ("units", "text", "cm"),
    [
        (METRIC, "80", 80),
        (METRIC, "0.8 m", 80),
        (FEET, "3", 91),
        (HOLES, "13", 80),
        (HOLES, "hole 13", 80),
        (HOLES, "80 cm", 80),
    ],
)
def test_a_height_is_read_as_people_write_it(units: Units, text: str, cm: int) -> None:
    assert units.read_height(text) == cm


@pytest.mark.parametrize("text", ["148", "148 cm", "14.2", "14.2 hh"])
def test_a_horse_is_read_in_either_unit(text: str) -> None:
    assert abs(METRIC.read_horse(text) - 148) <= 1


@pytest.mark.parametrize(
    ("units", "text", "says"),
    [
        (METRIC, "high", r"write 80 cm"),
        (HOLES, "high", r"write hole 13 \(80 cm\)"),
        (HOLES, "0", "holes are counted from 1"),
    ],
)
def test_what_is_no_height_says_what_would_be_one(units, text: str, says: str) -> None:
    with pytest.raises(InvalidLength, match=says):
        units.read_height(text)


def test_a_width_alone_is_in_the_schools_unit() -> None:
    assert METRIC.read_short("90") == 90
    assert FEET.read_short("3") == 91
    assert FEET.read_length("18") == 549
