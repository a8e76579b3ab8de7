"""Each stage as a row of its own: read, held against the horses, turned round."""

import pytest

from exercises.geometry.fitting import fit_row
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import ExerciseSpec, Gap
from exercises.geometry.standing import StageFit, fit_stages, turn_last_stage
from exercises.geometry.strides import HorseSize, Tradition
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x

S = Tradition.SCHOOLING
HORSE = HorseSize("Onyx", 165)


def stages(exercise: ExerciseSpec, *horses: HorseSize) -> tuple[StageFit, ...]:
    horses = horses or (HORSE,)
    return fit_stages(exercise, fit_row(exercise, horses, S), horses, S)


def stage(*changes: dict, **more) -> dict:
    return {"says": "Next", "changes": list(changes)} | more


def meanings(fit: StageFit) -> list[Gap]:
    return [gap.gap for gap in fit.row.gaps]


def test_each_stage_lies_where_the_row_lies() -> None:
    row = spec(
        x(),
        vertical("one-stride"),
        stages=[stage(oxer("bounce", after=1)), stage(out=[0])],
    )

    fits = stages(row)

    assert [one.number for one in fits] == [1, 2, 3]
    for one in fits:
        first = one.stage.elements[0].at_cm
        assert [e.at_cm - first for e in one.stage.elements] == [
            e.at_cm for e in one.row.start
        ]


def test_a_gap_between_its_own_two_keeps_its_meaning() -> None:
    fits = stages(
        spec(
            pole(),
            x("placing-trot"),
            vertical("one-stride"),
            stages=[stage(x("bounce", after=2))],
        )
    )

    assert meanings(fits[1]) == [Gap.PLACING_TROT, Gap.ONE_STRIDE, Gap.BOUNCE]


def test_a_gap_left_by_what_is_taken_out_is_read_as_what_it_is_nearest_to() -> None:
    fits = stages(
        spec(x(), x("bounce"), x("bounce"), approach="canter", stages=[stage(out=[1])])
    )

    assert meanings(fits[1]) == [Gap.ONE_STRIDE]


def test_a_measure_between_fences_is_read_too_and_one_to_a_pole_is_not() -> None:
    fits = stages(
        spec(
            pole(),
            x("measure", gap_cm=270),
            vertical("measure", gap_cm=1000),
            approach="canter",
        )
    )

    assert meanings(fits[0]) == [Gap.MEASURE, Gap.TWO_STRIDES]


def test_what_lies_between_the_marks_of_the_tape_stays_a_measure() -> None:
    fits = stages(spec(x(), vertical("measure", gap_cm=617)))

    assert meanings(fits[0]) == [Gap.MEASURE]
    assert fits[0].row.gaps[0].built_cm == 617


def test_the_half_of_a_stride_has_its_meaning_while_the_other_half_stands() -> None:
    row = spec(
        x(),
        {"kind": "plank", "gap": "mid-stride-landing"},
        vertical("mid-stride-take-off"),
        approach="canter",
        stages=[stage(out=[2]), stage(vertical("measure", gap_cm=300, after=1))],
    )
    other = spec(
        x(),
        {"kind": "plank", "gap": "mid-stride-landing"},
        vertical("mid-stride-take-off"),
        x("one-stride"),
        stages=[stage(out=[0])],
    )

    fits = stages(row)

    assert meanings(fits[0]) == [Gap.MID_STRIDE_LANDING, Gap.MID_STRIDE_TAKE_OFF]
    assert meanings(fits[1]) == [Gap.MEASURE]
    assert meanings(fits[2]) == [Gap.MEASURE, Gap.MEASURE]
    assert meanings(stages(other)[1]) == [Gap.MEASURE, Gap.ONE_STRIDE]


def test_a_fence_raised_far_asks_for_more_room_than_it_has() -> None:
    row = spec(
        x(),
        vertical("one-stride", height_cm=40),
        approach="canter",
        stages=[stage(vertical(of=1, height_cm=80))],
    )

    low, high = stages(row)

    assert low.outside == ()
    ((gap, one),) = high.outside
    assert (gap.before, one.horse.name) == (1, "Onyx")
    assert one.off_cm < -25


def test_poles_are_not_held_against_the_distances_of_fences() -> None:
    first, _ = stages(spec(pole(), pole("one-stride"), stages=[stage(vertical(of=1))]))

    assert first.outside == ()


def test_an_element_added_counts_the_fences_that_stand_before_it() -> None:
    """Trotted into, each gap opens: first, second and third are not the same."""
    row = spec(
        pole(),
        x("placing-trot"),
        stages=[
            stage(x("one-stride", after=1)),
            stage(x("one-stride", after=2)),
            stage(x("one-stride", after=3)),
        ],
    )
    whole = spec(pole(), x("placing-trot"), *[x("one-stride")] * 3)

    assert fit_row(row, [HORSE], S).end == fit_row(whole, [HORSE], S).start


def test_the_last_stage_turned_round_rides_short_and_long_where_it_opened() -> None:
    """Common practice, no source: ridden in reverse the short distance comes last."""
    row = spec(
        vertical(),
        vertical("one-stride"),
        stages=[stage(vertical("one-stride", after=1))],
    )

    turned = turn_last_stage(stages(row)[-1], [HORSE], S)

    first, last = (gap.horses[0] for gap in turned.row.gaps)
    assert first.off_cm > 25
    assert last.off_cm < -25


@pytest.mark.parametrize(
    ("last", "says"),
    [
        (oxer(of=1, ascending=True), "set it square first"),
        (vertical(of=1, height_cm=70, ground_line="take-off"), "both sides"),
    ],
)
def test_what_cannot_be_turned_as_it_stands_says_what_to_do(
    last: dict, says: str
) -> None:
    row = spec(x(), vertical("one-stride"), stages=[stage(last)])

    with pytest.raises(UnableToReverse, match=says):
        turn_last_stage(stages(row)[-1], [HORSE], S)
