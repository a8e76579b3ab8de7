import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.lengths import (
    InvalidLength,
    feet_and_inches,
    hands,
    metres,
    read_hands_cm,
    read_length_cm,
)


@pytest.mark.parametrize(
    ("text", "cm"),
    [
        ("6.2", 620),
        ("6,20 m", 620),
        ("620 cm", 620),
        ("20 ft", 610),
        ("20 ft 4 in", 620),
        ("9ft", 274),
        ("20'4\"", 620),
        ("4 in", 10),
    ],
)
def test_lengths_are_read_as_people_write_them(text: str, cm: int) -> None:
    assert read_length_cm(text) == cm


@pytest.mark.parametrize("text", ["", "six", "-3", "6.2.1", "99999", "ft"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(InvalidLength, match=r"write 6\.20 m"):
        read_length_cm(text)


@pytest.mark.parametrize(
    ("hh", "cm"),
    [
        ("12.2", 127),
        ("13.2", 137),
        ("14.2", 147),
        ("15.2", 157),
        ("16", 163),
        ("16.2 hh", 168),
    ],
)
def test_hands_are_four_inches_and_the_point_means_inches(hh: str, cm: int) -> None:
    """12.2 hh = 127.0 cm ... 16.2 hh = 167.6 cm: arithmetic on 10.16 cm a hand."""
    assert read_hands_cm(hh) == cm
    assert read_hands_cm(hands(cm).replace(".0", "")) == cm


@pytest.mark.parametrize("text", ["14.5", "hand", "147 cm"])
def test_what_is_no_height_in_hands_is_refused(text: str) -> None:
    with pytest.raises(InvalidLength, match=r"write 14\.2"):
        read_hands_cm(text)


@given(st.integers(1, 9000))
def test_what_is_written_reads_back(cm: int) -> None:
    assert read_length_cm(metres(cm)) == cm
    assert abs(read_length_cm(feet_and_inches(cm)) - cm) <= 2
