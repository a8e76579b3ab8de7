"""A row ridden from its other end: measured for that way, or refused with why."""

from pathlib import Path

import pytest

from exercises.geometry.fitting import fit_row
from exercises.geometry.library import read_library
from exercises.geometry.reverse import make_reversible, turn_row, turn_spec
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import Gap, read_spec, spec_as_data
from exercises.geometry.strides import HorseSize, Tradition
from exercises.services import LIBRARY
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x

S = Tradition.SCHOOLING
HORSE = HorseSize("Onyx", 165)
SPECS = read_library(Path(LIBRARY))


def test_a_placing_pole_is_met_as_a_landing_pole_from_the_other_end() -> None:
    turned = turn_spec(spec(pole(), x("placing-trot"), x("one-stride")))

    assert [one.gap for one in turned.elements] == [None, Gap.ONE_STRIDE, Gap.LANDING]


def test_a_row_for_both_ways_keeps_its_placing_poles() -> None:
    turned = turn_spec(spec(pole(), x("placing-trot"), both_ways=True))

    assert turned.elements[1].gap is Gap.PLACING_TROT


@pytest.mark.parametrize(
    ("approach", "gap"),
    [("trot", Gap.PLACING_TROT), ("canter", Gap.PLACING_CANTER)],
)
def test_a_landing_pole_places_the_horse_from_the_other_end(
    approach: str, gap: Gap
) -> None:
    turned = turn_spec(spec(x(), pole("landing"), approach=approach))

    assert turned.elements[1].gap is gap


def test_a_landing_pole_within_the_row_places_in_canter() -> None:
    turned = turn_spec(spec(x(), pole("landing"), x("one-stride")))

    assert turned.elements[2].gap is Gap.PLACING_CANTER


def test_the_halves_of_a_stride_change_places() -> None:
    row = spec(
        x(),
        {"kind": "plank", "gap": "mid-stride-landing"},
        vertical("mid-stride-take-off"),
    )

    turned = turn_spec(row)

    assert [one.gap for one in turned.elements[1:]] == [
        Gap.MID_STRIDE_LANDING,
        Gap.MID_STRIDE_TAKE_OFF,
    ]


def test_the_ground_stays_as_it_lies_and_each_gap_keeps_its_number() -> None:
    one = spec(x(), vertical("one-stride"), x("bounce"), x("measure", gap_cm=617))
    row = fit_row(one, [HORSE], S)

    turned = turn_row(one, row, [HORSE], S)

    assert [gap.built_cm for gap in turned.gaps] == [gap.built_cm for gap in row.gaps]
    assert [gap.before for gap in turned.gaps] == [1, 2, 3]
    assert turned.row.gaps[0].built_cm == 617


def test_a_row_that_grows_for_the_trot_rides_short_at_its_end_from_the_other() -> None:
    """Common practice, no source: the first gap is the shorter when trotted into."""
    one = spec(*[vertical(), *[vertical("one-stride")] * 2])
    row = fit_row(one, [HORSE], S)

    turned = turn_row(one, row, [HORSE], S)

    first, last = turned.gaps[0].horses[0], turned.gaps[1].horses[0]
    assert first.off_cm < 0 < last.off_cm
    assert not first.inside
    assert not last.inside


@pytest.mark.parametrize("one", SPECS, ids=lambda one: one.slug)
def test_every_row_of_the_library_turns_twice_into_itself_or_says_why(one) -> None:
    able = make_reversible(one)
    turned = turn_spec(able)

    assert read_spec(spec_as_data(turned)) == turned
    assert [e.kind for e in turn_spec(turned).elements] == [
        e.kind for e in one.elements
    ]
    if able.elements != one.elements:
        with pytest.raises(UnableToReverse):
            turn_spec(one)


def test_made_reversible_an_oxer_is_square_and_lines_lie_on_both_sides() -> None:
    one = spec(
        vertical(ground_line="take-off"),
        oxer("one-stride", ascending=True),
        end=[
            vertical(of=0, ground_line="take-off", height_cm=70),
            oxer(of=1, height_cm=80, ascending=True),
        ],
    )

    able = make_reversible(one)

    for elements in (able.elements, able.stages[0].changes):
        assert elements[0].ground_line == "both"
        assert not elements[1].ascending
        assert elements[1].ground_line == "none"
