"""Single edits: what they do, what they say, and what they refuse in words."""

import pytest

from exercises.geometry.editing.apply import apply, apply_all
from exercises.geometry.editing.edits import (
    AddElement,
    MoveElement,
    RemoveElement,
    SetApproach,
    SetAscending,
    SetBothWays,
    SetGap,
    SetGroundLine,
    SetGroundLineOut,
    SetGuides,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetLeaning,
    SetLevel,
    SetName,
    SetPasses,
    SetRails,
    SetSpread,
    SetVPoles,
    ShiftGap,
    TurnRound,
    UnableToEdit,
    edit_from_data,
)
from exercises.geometry.editing.words import describe
from exercises.geometry.elements import GroundLine, Kind, Side
from exercises.geometry.fit import Fit
from exercises.geometry.fitting import fit_row
from exercises.geometry.spec import Gait, Gap
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.units import HeightUnit, LengthUnit, Units
from exercises.geometry.verdicts import Limit, judge_fit
from tests.exercises.geometry.editing.rows import (
    CROSS,
    OXER,
    POLE,
    ROW,
    VERTICAL,
    exercise,
    gaps,
    stage,
)


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (SetHeight(2, 60), "Second fence up 10 cm"),
        (SetHeight(1, 35), "First fence down 5 cm"),
        (SetKind(2, Kind.OXER), "Second fence is now an oxer"),
        (SetGroundLine(2, GroundLine.BOTH), "Second fence with a ground line on both"),
        (SetGroundLine(2, GroundLine.TAKE_OFF), "Second fence with a ground line in"),
        (SetGroundLineOut(1, 35), "First fence with its ground line 35 cm away"),
        (SetGuidesApart(1, 140), "First fence with guide rails 140 cm apart"),
        (SetVPoles(1, 200), "First fence with V-poles 200 cm apart"),
        (SetVPoles(1, 0), "First fence without V-poles"),
        (SetLeaning(1, Side.LEFT), "First fence with a pole leaning on the left"),
        (SetLeaning(1, None), "First fence without a leaning pole"),
        (ShiftGap(1, -15), "Gap before the second element 15 cm shorter than its fit"),
        (ShiftGap(1, 15), "Gap before the second element 15 cm longer than its fit"),
        (ShiftGap(1, 0), "Gap before the second element as it is fitted"),
        (SetGuides(1, True), "First fence with guide rails"),
        (SetGuides(1, False), "First fence without guide rails"),
        (SetRails(2, 2), "Second fence with 2 rails"),
        (SetRails(2, 1), "Second fence with 1 rail"),
        (SetRails(2, None), "Second fence with the usual rails"),
        (SetGap(2, Gap.BOUNCE), "Gap before the third element meant as a bounce"),
        (SetGap(2, Gap.MEASURE, 620), "Gap before the third element is 6.20 m"),
        (AddElement(2, Kind.OXER), "An oxer added before the second fence"),
        (AddElement(3, Kind.RAISED_POLE), "A raised pole added at the end of the row"),
        (RemoveElement(0), "Pole taken out"),
        (MoveElement(2, 1), "Second fence moved earlier, now second in the row"),
        (MoveElement(0, 2), "Pole moved later, now third in the row"),
        (TurnRound(), "Row turned round: ridden from the other end"),
        (SetApproach(Gait.CANTER), "Ridden into in canter"),
        (SetBothWays(True), "Ridden both ways"),
        (SetBothWays(False), "Ridden one way"),
        (SetLevel("advanced"), "Now for advanced riders"),
        (SetName(" New name ", "An aim"), "Called New name"),
        (SetHeight(2, 70, stage=1), "Second fence up 20 cm, as a new stage"),
        (SetPasses(0, 1), "The row as built ridden once"),
    ],
)
def test_an_edit_is_made_and_said_in_plain_words(edit, says: str) -> None:
    assert describe(ROW, edit).startswith(says)
    assert apply(ROW, edit) is not None


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (SetSpread(1, 90), "Fence 20 cm wider"),
        (SetSpread(1, 60), "Fence 10 cm narrower"),
        (SetAscending(1, True), "Fence ascending"),
        (SetAscending(1, False), "Fence level, front as high as back"),
    ],
)
def test_an_oxer_is_made_wider_or_ascending(edit, says: str) -> None:
    row = exercise(POLE, OXER | {"gap": "placing-trot"})

    assert describe(row, edit) == says
    assert apply(row, edit).stages == ()


@pytest.mark.parametrize(
    ("edit", "code", "says"),
    [
        (SetGap(2, Gap.MEASURE, 0), "gap-too-short", "0.00 m is too short"),
        (SetGap(2, Gap.MEASURE, 4000), "gap-too-long", "40.00 m is too long"),
        (SetGap(2, Gap.MEASURE), "no-measure", "Write how long the gap before"),
        (SetGap(0, Gap.BOUNCE), "no-gap", "has no gap before it"),
        (SetGap(2, Gap.TROT_POLES), "gap-unsuited", "Between a cross and a vertical"),
        (SetGap(1, Gap.MID_STRIDE_TAKE_OFF), "gap-unsuited", "between two fences"),
        (SetHeight(2, 180), "too-high", "180 cm is too high for the second fence"),
        (SetHeight(2, 0), "too-low", "make it a pole"),
        (SetHeight(0, 20), "other-kind", "The pole is a pole: only a raised pole"),
        (SetSpread(2, 90), "other-kind", "only an oxer can be given a width"),
        (SetAscending(2, True), "other-kind", "only an oxer can be ascending"),
        (SetRails(1, 2), "other-kind", "is a cross: only a vertical or an oxer"),
        (SetRails(2, 9), "rails", "from 1 to 6 rails"),
        (SetName("x", "An aim"), "name", "3 to 120 letters"),
        (SetName("A name", ""), "aim", "what the grid is for"),
        (RemoveElement(7), "no-element", "There is no element 8: the row has 3"),
        (AddElement(9, Kind.POLE), "no-element", "There is no element 10"),
        (AddElement(3, Kind.OXER, 180), "too-high", "180 cm is too high for the new"),
        (AddElement(3, Kind.OXER, spread_cm=900), "spread", "900 cm is no width"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(edit, code: str, says: str) -> None:
    with pytest.raises(UnableToEdit) as caught:
        apply(ROW, edit)

    assert caught.value.code == code
    assert says in caught.value.says


def test_a_row_takes_fourteen_elements_and_no_more() -> None:
    full = apply_all(ROW, [AddElement(3, Kind.VERTICAL)] * 11)

    with pytest.raises(UnableToEdit, match="take one out first, or make two grids"):
        apply(full, AddElement(0, Kind.POLE))
    assert len(full.elements) == 14


def test_fourteen_fences_are_flagged_by_the_verdicts() -> None:
    full = apply_all(
        exercise(VERTICAL | {"gap": None}), [AddElement(1, Kind.CROSS)] * 13
    )
    row = fit_row(full, [HorseSize("Onyx", 160)], Tradition.SCHOOLING)

    (number,) = [
        one for one in judge_fit(full, row) if one.subject == "number of fences"
    ]
    assert (number.fit, number.figure) == (Fit.LOOK, "14 against 8")


def test_a_high_oxer_for_a_young_rider_is_flagged_by_the_verdicts() -> None:
    high = apply(exercise(OXER | {"gap": None}), SetHeight(0, 160))
    row = fit_row(high, [HorseSize("Onyx", 160)], Tradition.SCHOOLING)

    worst = judge_fit(high, row, limits=[Limit("Mira", 60, "novice")])[0]

    assert worst.fit is Fit.DOES_NOT
    assert worst.cure == "Lower it to 60 cm."


def test_the_last_element_stays() -> None:
    with pytest.raises(UnableToEdit, match="add another first"):
        apply(exercise(POLE), RemoveElement(0))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (
            exercise(POLE, OXER | {"gap": "placing-trot", "ascending": True}),
            "set it square",
        ),
        (
            exercise(POLE, CROSS | {"ground_line": "take-off"}),
            "lay one on both sides",
        ),
        (
            exercise(POLE, CROSS, end=[{"kind": "pole", "gap": "landing", "after": 1}]),
            "put it into the row from the start",
        ),
        (
            exercise(
                POLE,
                CROSS,
                stages=[
                    stage(
                        {"kind": "oxer", "height_cm": 50, "spread_cm": 60}
                        | {"ascending": True, "of": 1}
                    )
                ],
            ),
            "set it square first",
        ),
    ],
)
def test_a_row_that_cannot_be_turned_says_what_to_set_first(row, says: str) -> None:
    with pytest.raises(UnableToEdit, match=says):
        apply(row, TurnRound())


def test_a_row_turned_round_keeps_its_distances_and_swaps_its_poles() -> None:
    row = exercise(
        POLE, CROSS, VERTICAL | {"gap": "measure", "gap_cm": 620},
        POLE | {"gap": "landing"},
    )  # fmt: skip

    turned = apply(row, TurnRound())

    assert [one.kind.value for one in turned.elements] == [
        "pole", "vertical", "cross", "pole",
    ]  # fmt: skip
    assert gaps(turned) == ["placing-trot", "measure", "landing"]
    assert turned.elements[2].gap_cm == 620


def test_a_plank_put_into_one_stride_lies_in_the_middle_of_it() -> None:
    """A plank in the middle of one stride, landing side with more room (Dutch
    leaflets on the horse that rushes)."""
    there = apply(ROW, AddElement(2, Kind.PLANK))

    assert gaps(there) == ["placing-trot", "mid-stride-landing", "mid-stride-take-off"]
    assert apply(there, RemoveElement(2)) == ROW
    assert gaps(apply(there, SetGap(2, Gap.LANDING))) == [
        "placing-trot", "landing", "placing-canter",
    ]  # fmt: skip
    plain = apply(there, SetGap(2, Gap.LANDING))
    assert gaps(apply(plain, SetGap(3, Gap.MID_STRIDE_TAKE_OFF))) == gaps(there)


def test_the_middle_of_two_bounces_taken_out_leaves_one_stride() -> None:
    """Two bounces, then the middle cross out and one stride is left (Dutch leaflets,
    part 1, exercise 16)."""
    bounces = exercise(
        POLE, CROSS, CROSS | {"gap": "bounce"}, CROSS | {"gap": "bounce"}
    )

    assert gaps(apply(bounces, RemoveElement(2))) == ["placing-trot", "one-stride"]


def test_a_fence_out_of_a_long_row_leaves_the_others_where_they_are() -> None:
    row = exercise(
        VERTICAL | {"gap": None}, VERTICAL | {"gap": "five-strides"},
        VERTICAL | {"gap": "five-strides"},
    )  # fmt: skip
    measured = apply_all(
        row, [SetGap(1, Gap.MEASURE, 620), SetGap(2, Gap.MEASURE, 700)]
    )
    long = apply(measured, SetGap(1, Gap.MEASURE, 3000))

    assert gaps(apply(row, RemoveElement(1))) == ["five-strides"]
    assert apply(measured, RemoveElement(1)).elements[1].gap_cm == 1320
    assert gaps(apply(long, RemoveElement(1))) == ["one-stride"]


def test_what_is_added_between_keeps_the_meaning_of_the_gap_behind_it() -> None:
    row = exercise(POLE, POLE | {"gap": "trot-poles"}, CROSS, VERTICAL)

    assert gaps(apply(row, AddElement(1, Kind.POLE)))[:2] == ["trot-poles"] * 2
    assert gaps(apply(row, AddElement(3, Kind.VERTICAL)))[-2:] == ["one-stride"] * 2
    given = AddElement(3, Kind.POLE, gap=Gap.MEASURE, gap_cm=300, then=Gap.MEASURE,
                       then_cm=305)  # fmt: skip
    assert [one.gap_cm for one in apply(row, given).elements[3:]] == [300, 305]


def test_poles_follow_the_gait_the_row_is_ridden_into() -> None:
    row = exercise(POLE, POLE | {"gap": "trot-poles"}, CROSS, POLE | {"gap": "landing"})

    canter = apply(row, SetApproach(Gait.CANTER))

    assert gaps(canter) == ["canter-poles", "placing-canter", "landing"]
    assert gaps(apply(canter, SetApproach(Gait.TROT))) == gaps(row)


def test_poles_that_grow_into_fences_keep_the_meaning_of_their_gaps() -> None:
    row = exercise(
        POLE, POLE | {"gap": "bounce"}, POLE | {"gap": "bounce"},
        stages=[
            stage(*({"kind": "cross", "height_cm": 40, "of": n} for n in range(3)))
        ],
    )  # fmt: skip

    assert gaps(apply(row, SetGuides(0, True))) == ["bounce", "bounce"]
    assert gaps(apply(row, RemoveElement(1))) == ["one-stride"]


def test_a_pole_raised_takes_the_usual_height_and_a_fence_that_of_its_neighbour():
    raised = apply(ROW, SetKind(0, Kind.RAISED_POLE))
    fence = apply(ROW, AddElement(3, Kind.OXER))
    first = apply(exercise(POLE), AddElement(1, Kind.OXER))

    assert raised.elements[0].height_cm == 15
    assert (fence.elements[3].height_cm, fence.elements[3].spread_cm) == (50, 50)
    assert (first.elements[1].height_cm, first.elements[1].spread_cm) == (40, 40)


def test_words_follow_the_schools_units() -> None:
    holes = Units(heights=HeightUnit.HOLES, first_hole_cm=20, hole_cm=5)
    feet = Units(lengths=LengthUnit.FEET, heights=HeightUnit.FEET)

    assert describe(ROW, SetHeight(2, 60), holes) == "Second fence up 2 holes"
    assert describe(ROW, SetHeight(2, 60), feet) == "Second fence up 4 in"
    assert describe(ROW, SetGap(2, Gap.MEASURE, 549), feet).endswith("is 18 ft")


def test_data_that_is_no_edit_is_refused() -> None:
    with pytest.raises(UnableToEdit, match="load the page again"):
        edit_from_data({"do": "fly"})


def test_what_the_data_form_forbids_is_refused_as_that() -> None:
    broken = ROW.model_copy(update={"approach_cm": -1})

    with pytest.raises(UnableToEdit, match="That can't be built: approach_cm"):
        apply(broken, SetBothWays(True))


@pytest.mark.parametrize(
    ("edit", "says"),
    [(ShiftGap(0, 15), "no gap before it"), (ShiftGap(1, 15), "is a measure")],
)
def test_a_gap_without_a_fit_is_not_shifted(edit: ShiftGap, says: str) -> None:
    one = exercise(POLE, {"kind": "pole", "gap": "measure", "gap_cm": 600})

    with pytest.raises(UnableToEdit, match=says):
        apply(one, edit)


def test_no_width_for_what_has_none_changes_nothing() -> None:
    row = exercise(POLE, OXER | {"gap": "placing-trot"})

    assert apply(row, SetSpread(0, 0)) == row
