"""Stages: what stands in each, and how many things change from one to the next."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, GroundLine, Kind
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.spec import ExerciseSpec, read_spec, spec_as_data
from exercises.geometry.stages import (
    added_slots,
    respects_of,
    standing_at,
    steps_between,
)
from exercises.geometry.strides import HorseSize, Tradition

HORSE = HorseSize("Onyx", 165)

POLE, X, V, V6 = (
    {"kind": "pole"},
    {"kind": "cross", "height_cm": 40},
    {"kind": "vertical", "height_cm": 50},
    {"kind": "vertical", "height_cm": 60},
)
OX = {"kind": "oxer", "height_cm": 60, "spread_cm": 70}


def grown(*stages: dict, elements: list[dict] | None = None) -> ExerciseSpec:
    return read_spec(
        {
            "slug": "grown-row",
            "name": "Grown row",
            "aim": "To see it grow",
            "level": "novice",
            "approach": "trot",
            "elements": elements or [POLE, POLE | {"gap": "placing-trot"}],
            "stages": [{"says": f"Stage {n}"} | one for n, one in enumerate(stages, 2)],
            "source": "the school's own",
            "grade": "own",
        }
    )


def fitted(spec: ExerciseSpec) -> FittedRow:
    return fit_row(spec, [HORSE], Tradition.SCHOOLING)


GROWN = grown(
    {"changes": [X | {"of": 1}]},
    {"changes": [V | {"after": 1, "gap": "one-stride"}], "passes": 2},
    {"changes": [OX | {"of": 2}], "together": "Built over at once"},
    {"out": [0]},
)


def test_each_stage_changes_what_it_names_and_keeps_the_rest() -> None:
    row = fitted(GROWN)

    assert [[one.kind.value for one in stage.elements] for stage in row.stages] == [
        ["pole", "pole"],
        ["pole", "cross"],
        ["pole", "cross", "vertical"],
        ["pole", "cross", "oxer"],
        ["cross", "oxer"],
    ]
    assert [stage.passes for stage in row.stages] == [3, 3, 2, 3, 3]
    assert row.stages[3].together == "Built over at once"
    assert (row.start, row.end) == (row.stages[0].elements, row.stages[-1].elements)


def test_an_element_stays_at_its_take_off_foot() -> None:
    row = fitted(GROWN)

    feet = [one.at_cm for one in row.stages[2].elements]
    assert [one.at_cm for one in row.stages[3].elements] == feet
    assert [one.at_cm for one in row.end] == feet[1:]


def test_poles_that_become_fences_lie_where_the_fences_are_meant() -> None:
    """The tape is read once: the gap is the one for the fences, not for poles."""
    ends = {"kind": "cross", "height_cm": 40}
    poles = grown(
        {"changes": [ends | {"of": 0}]},
        {"changes": [ends | {"of": 1}]},
        elements=[POLE, POLE | {"gap": "one-stride"}],
    )
    crosses = grown(
        {"changes": [{"kind": "cross", "height_cm": 50, "of": 0}]},
        elements=[X, X | {"gap": "one-stride"}],
    )

    assert fitted(poles).gaps[0].built_cm == fitted(crosses).gaps[0].built_cm


def test_an_element_added_after_an_oxer_is_measured_from_its_landing_foot() -> None:
    spec = grown(
        {"changes": [OX | {"of": 1}]},
        {"changes": [V | {"after": 1, "gap": "measure", "gap_cm": 600}]},
        {"changes": [V6 | {"after": 2, "gap": "measure", "gap_cm": 300}]},
    )

    row = fitted(spec)

    oxer, first, second = row.end[1:]
    assert first.at_cm - oxer.landing_cm == 600
    assert second.at_cm - first.at_cm == 300


def test_the_last_form_counts_for_what_is_measured_after_an_element_taken_out() -> None:
    spec = grown(
        {"changes": [OX | {"of": 1}]},
        {
            "out": [1],
            "changes": [V | {"after": 1, "gap": "measure", "gap_cm": 600}],
        },
    )

    assert added_slots(spec)[0][:2] == (2, 1)
    assert standing_at(spec, 2, 1).spread_cm == 70
    with pytest.raises(KeyError):
        standing_at(spec, 9, 1)


def test_highest_and_most_fences_are_those_of_any_stage() -> None:
    spec = grown(
        {"changes": [V6 | {"of": 1}]},
        {"changes": [X | {"of": 0}]},
        {"out": [1]},
    )

    assert (spec.highest_cm, spec.fences) == (60, 2)


def element(data: dict, **more) -> Element:
    return Element(kind=Kind(data["kind"]), **{
        key: value for key, value in data.items() if key != "kind"
    } | more)  # fmt: skip


@pytest.mark.parametrize(
    ("was", "now", "respects"),
    [
        (None, None, ()),
        (None, element(X), ("added",)),
        (element(X), None, ("taken out",)),
        (element(X), element(X), ()),
        (element(X), element(X, height_cm=50), ("height",)),
        # A new kind may come with its ground line, its spread, and one hole more.
        (
            element(X),
            element(V, ground_line=GroundLine.TAKE_OFF),
            ("kind",),
        ),
        (element(V), element(OX), ("kind",)),
        (element(X), element(OX), ("kind", "height")),
        (element(POLE), element(OX), ("kind",)),
        (element(POLE), element(X, guides=True), ("kind", "guides")),
        (element(X, guides=True), element(V), ("kind", "guides")),
        (element(X, guides=True), element(V, guides=True), ("kind",)),
        (
            element(OX),
            element(OX, height_cm=70, spread_cm=80, ascending=True),
            ("height", "spread", "ascending"),
        ),
        (element(V), element(V, ground_line=GroundLine.BOTH), ("ground line",)),
        (element(V), element(V, guides=True), ("guides",)),
        (element(V), element(V, rails=2), ("rails",)),
        (element(V), element(V, height_cm=70), ("height",)),
    ],
)
def test_things_that_differ_are_counted(was, now, respects: tuple[str, ...]) -> None:
    assert respects_of(was, now) == respects


def test_a_stage_says_how_many_things_it_changes() -> None:
    one, two = fitted(GROWN), fitted(grown({"changes": [X | {"of": 0}, X | {"of": 1}]}))

    assert [stage.things for stage in one.stages] == [0, 1, 1, 1, 1]
    assert [stage.things for stage in two.stages] == [0, 2]


FORMS = st.sampled_from([None, element(POLE), element(X), element(V), element(OX)])


@given(st.dictionaries(st.integers(0, 5), FORMS), st.integers(0, 5), FORMS)
def test_one_slot_changed_is_one_step_of_that_slot(slots, slot: int, form) -> None:
    before = {n: one for n, one in slots.items() if one is not None}
    after = {n: one for n, one in before.items() if n != slot}
    if form is not None:
        after[slot] = form

    steps = steps_between(before, after)

    assert steps_between(before, before) == ()
    assert [one.slot for one in steps] == (
        [slot] if before.get(slot) != after.get(slot) else []
    )


def test_rows_that_were_kept_with_an_end_read_as_one_stage() -> None:
    data = spec_as_data(grown(elements=[POLE, X | {"gap": "one-stride"}, POLE | {
        "gap": "landing"}]))  # fmt: skip

    spec = read_spec(data | {"end": [POLE | {"of": 0}, V | {"of": 1}]})
    same = read_spec(data | {"end": [
        POLE | {"of": 0}, X | {"of": 1}, POLE | {"of": 2}]})  # fmt: skip

    (stage,) = spec.stages
    assert [one.of for one in stage.changes] == [1]
    assert stage.out == (2,)
    assert same.stages == ()
    assert read_spec(data | {"end": []}).stages == ()
