"""The difference of two states of an exercise, and its words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.drawing.difference_words import difference_words
from exercises.geometry.differences import difference
from exercises.geometry.library import read_library
from exercises.geometry.spec import ExerciseSpec, read_spec, spec_as_data
from exercises.services import LIBRARY
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x

SPECS = read_library(LIBRARY)


def words(was: ExerciseSpec, now: ExerciseSpec) -> tuple[str, ...]:
    return difference_words(difference(was, now), "the library's", "ours")


ROW = spec(pole(), x("placing-trot"), vertical("one-stride"), cautions=["Look out."])


@pytest.mark.parametrize(
    ("now", "says"),
    [
        (ROW.model_copy(update={"name": "Other row"}), (
            "Name: “Sample row” in the library's, “Other row” in ours.",)),
        (ROW.model_copy(update={"both_ways": True}), (
            "Both ways: no in the library's, yes in ours.",)),
        (ROW.model_copy(update={"approach_cm": 900}), (
            "Room before it: 7.00 m in the library's, 9.00 m in ours.",)),
        (ROW.model_copy(update={"horse_level": "novice"}), (
            "Level of the horses: as the riders' in the library's, novice in ours.",)),
        (ROW.model_copy(update={"cautions": ("Mind the wall.",)}), (
            "Cautions, only in the library's: Look out.",
            "Cautions, only in ours: Mind the wall.")),
        (ROW.model_copy(update={"cautions": ("Look out.", "Mind the wall.")}), (
            "Cautions, only in ours: Mind the wall.",)),
        (ROW.model_copy(update={"faults": ("flat",), "cautions": ()}), (
            "Helps with, only in ours: flat.",
            "Cautions, only in the library's: Look out.")),
    ],
)  # fmt: skip
def test_a_field_that_differs_is_said_with_both_values(now, says) -> None:
    assert words(ROW, now) == says


def test_an_element_that_differs_is_said_with_its_gap() -> None:
    now = spec(
        pole(), x("placing-trot"), vertical("measure", gap_cm=620),
        cautions=["Look out."],
    )  # fmt: skip

    assert words(ROW, now) == (
        "Element 3: vertical 60 cm after one stride in the library's, vertical 60 cm "
        "after 6.20 m in ours.",
    )


def test_what_only_one_has_is_said_once() -> None:
    more = spec(
        pole(), x("placing-trot"), vertical("one-stride"), oxer("two-strides"),
        cautions=["Look out."],
    )  # fmt: skip
    less = spec(x(), vertical("one-stride"), cautions=["Look out."])

    assert words(ROW, more) == (
        "Only in ours: element 4, oxer 70 cm, 80 cm wide after two strides.",
    )
    assert words(ROW, less) == (
        "Element 1: pole in the library's, cross 40 cm in ours.",
        "Only in the library's: element 2, cross 40 cm after a placing pole from trot.",
    )


def test_stages_that_differ_are_named() -> None:
    grown = spec(
        pole(), x("placing-trot"), vertical("one-stride"), cautions=["Look out."],
        stages=[{"says": "One up", "changes": [vertical(of=2, height_cm=70)]}],
    )  # fmt: skip

    (says,) = words(ROW, grown)
    assert says == (
        "Stages: 1 in the library's (As built), 2 in ours (As built; One up)."
    )


@given(st.sampled_from(SPECS), st.sampled_from(SPECS))
def test_only_equal_states_have_no_difference(was, now) -> None:
    found = difference(was, now)
    other = was.model_copy(update={"slug": now.slug})

    assert bool(found) is (other != now)
    assert bool(difference_words(found, "a", "b")) is bool(found)
    assert not difference(was, read_spec(spec_as_data(was)))
