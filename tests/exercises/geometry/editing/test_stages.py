"""Stages under the edits of a row: changed, added, left out, counted anew."""

import pytest

from exercises.geometry.editing.apply import apply
from exercises.geometry.editing.edits import (
    AddElement,
    RemoveElement,
    RemoveStage,
    SetGuides,
    SetHeight,
    SetKind,
    SetPasses,
    UnableToEdit,
)
from exercises.geometry.editing.words import describe
from exercises.geometry.elements import Kind
from tests.exercises.geometry.editing.rows import (
    CROSS,
    POLE,
    ROW,
    VERTICAL,
    exercise,
    stage,
)

GROWING = exercise(
    POLE,
    CROSS,
    VERTICAL,
    stages=[
        stage({"kind": "cross", "height_cm": 50, "of": 1}),
        stage({"kind": "oxer", "height_cm": 60, "spread_cm": 60, "of": 2}),
    ],
)


def last(spec) -> dict:
    return spec.played[-1]


def test_what_a_stage_had_in_common_with_the_one_before_follows_it() -> None:
    guided = apply(GROWING, SetGuides(1, True))
    raised = apply(GROWING, SetHeight(1, 60))
    lowered = apply(GROWING, SetHeight(1, 30))
    wider = apply(GROWING, SetKind(1, Kind.VERTICAL))
    high = apply(GROWING, SetHeight(2, 80))
    flat = apply(GROWING, SetKind(1, Kind.POLE))

    assert last(guided)[1].guides
    assert last(raised)[1].height_cm == 60
    assert last(lowered)[1].height_cm == 50
    assert (last(wider)[1].kind, last(wider)[1].height_cm) == (Kind.VERTICAL, 50)
    assert (last(high)[2].kind, last(high)[2].height_cm) == (Kind.OXER, 80)
    assert (last(flat)[1].kind, last(flat)[1].height_cm) == (Kind.POLE, 0)


def test_a_stage_that_changes_nothing_any_more_is_left_out() -> None:
    assert [one.says for one in GROWING.stages] == ["One step on", "One step on"]
    assert len(apply(GROWING, SetHeight(1, 60)).stages) == 1


def test_an_equal_stage_follows_a_lower_start() -> None:
    same = apply(ROW, SetGuides(2, True, stage=1))

    assert last(apply(same, SetHeight(2, 40)))[2].height_cm == 40


def test_a_change_beyond_the_last_stage_makes_a_new_one_that_says_itself() -> None:
    once = apply(ROW, SetHeight(2, 80, stage=1))
    twice = apply(once, SetHeight(2, 90, stage=2))

    assert [one.height_cm for one in once.elements] == [0, 40, 50]
    assert last(once)[2].height_cm == 80
    assert [one.says for one in twice.stages] == [
        "Second fence up 30 cm", "Second fence up 10 cm",
    ]  # fmt: skip


def test_a_stage_is_changed_where_it_is() -> None:
    more = apply(GROWING, SetHeight(1, 45, stage=1))
    other = apply(GROWING, SetGuides(2, True, stage=1))

    assert more.stages[0].changes[0].height_cm == 45
    assert [one.of for one in other.stages[0].changes] == [1, 2]
    assert describe(GROWING, SetHeight(1, 45, stage=1)) == (
        "First fence down 5 cm, from stage 1 on"
    )


ADDING = exercise(
    POLE,
    CROSS,
    stages=[
        stage({"kind": "pole", "gap": "landing", "after": 1}),
        stage({"kind": "raised-pole", "height_cm": 15, "of": 2}),
        stage(VERTICAL | {"after": 2}),
        stage({"kind": "vertical", "height_cm": 60, "of": 3}),
        {"says": "Pole away", "out": [0]},
    ],
)


def test_stages_are_counted_anew_when_the_row_changes() -> None:
    more = apply(ADDING, AddElement(0, Kind.POLE))
    standing = ADDING.model_copy(update={"stages": ADDING.stages[:4]})
    without = apply(standing, RemoveElement(1))
    pole_out = apply(ADDING, RemoveElement(0))

    assert [one.after for stage in more.stages for one in stage.changes] == [
        2, None, 3, None,
    ]  # fmt: skip
    assert last(more)[4].height_cm == 60
    assert more.stages[-1].out == (1,)
    assert without.stages == ()
    assert [stage.out for stage in pole_out.stages] == [()] * 4


def test_an_added_element_is_changed_in_the_stage_that_has_it() -> None:
    taller = apply(ADDING, SetHeight(3, 55, stage=3))
    later = apply(ADDING, SetGuides(2, True, stage=4))

    assert taller.stages[2].changes[0].height_cm == 55
    assert later.stages[3].changes[1].of == 2
    with pytest.raises(UnableToEdit, match="The fourth element does not stand in"):
        apply(ADDING, SetHeight(3, 55, stage=1))
    with pytest.raises(UnableToEdit, match="There is no element 8"):
        apply(ADDING, SetHeight(7, 55, stage=1))
    with pytest.raises(UnableToEdit, match="There is no stage 9"):
        apply(ADDING, SetHeight(3, 55, stage=9))


def test_a_stage_is_left_out_with_what_it_added() -> None:
    early = apply(ADDING, RemoveStage(1))
    late = apply(ADDING, RemoveStage(4))

    assert early.stages == ADDING.stages[4:]
    assert late.stages == (*ADDING.stages[:3], ADDING.stages[4])
    assert describe(ADDING, RemoveStage(1)) == "Stage 1 left out"
    with pytest.raises(UnableToEdit, match="There is no stage 6"):
        apply(ADDING, RemoveStage(6))


def test_a_row_is_not_left_without_anything_standing() -> None:
    with pytest.raises(UnableToEdit, match="nothing would stand"):
        apply(
            exercise(POLE, CROSS, stages=[{"says": "Pole away", "out": [0]}]),
            RemoveElement(1),
        )


def test_how_often_a_stage_is_ridden() -> None:
    once = apply(apply(GROWING, SetPasses(0, 2)), SetPasses(2, 4))

    assert (once.start.passes, once.stages[1].passes) == (2, 4)
    assert describe(GROWING, SetPasses(2, 4)) == "Stage 2 ridden 4 times"
    with pytest.raises(UnableToEdit, match="from once to 6 times"):
        apply(GROWING, SetPasses(0, 9))


def test_a_grid_takes_fourteen_stages_and_no_more() -> None:
    spec = ROW
    for n in range(14):
        spec = apply(spec, SetHeight(2, 51 + n, stage=n + 1))

    with pytest.raises(UnableToEdit, match="14 stages"):
        apply(spec, SetHeight(2, 90, stage=15))
