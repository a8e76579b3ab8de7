"""Whatever is edited, an exercise stays one, or the edit is refused in words."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from exercises.geometry.editing.apply import apply, apply_all
from exercises.geometry.editing.edits import (
    AddElement,
    RemoveElement,
    TurnRound,
    UnableToEdit,
    edit_as_data,
    edit_from_data,
)
from exercises.geometry.editing.gaps import suits
from exercises.geometry.editing.history import MOST_STEPS, History, Step
from exercises.geometry.editing.stages import FIELDS
from exercises.geometry.editing.words import describe
from exercises.geometry.elements import Kind
from exercises.geometry.fitting import fit_row
from exercises.geometry.rows import Row
from exercises.geometry.spec import read_spec, spec_as_data
from exercises.geometry.strides import HorseSize, Tradition
from tests.exercises.geometry.editing.strategies import EDITS, SPECS

HORSES = (HorseSize("pony", 128), HorseSize("horse", 168))


def run(spec, edits):
    """Make what can be made of some edits; return every state on the way."""
    states, refusals = [spec], []
    for edit in edits:
        try:
            states.append(apply(states[-1], edit))
        except UnableToEdit as refusal:
            refusals.append(refusal)
        else:
            says = describe(states[-2], edit)
            assert says[0] == says[0].upper()
    assert [one for one in refusals if not one.code or one.says[-1] != "."] == []
    return states


@settings(max_examples=150)
@given(SPECS, st.lists(EDITS, max_size=8))
def test_every_edit_keeps_an_exercise_that_can_be_fitted_or_refuses(spec, edits):
    last = run(spec, edits)[-1]

    row = fit_row(last, HORSES, Tradition.SCHOOLING)
    assert read_spec(spec_as_data(last)) == last
    assert Row(row.start).length_cm >= 0
    assert row.end


@settings(max_examples=150)
@given(SPECS, st.lists(EDITS, max_size=8))
def test_every_gap_has_a_meaning_that_suits_its_two_elements(spec, edits):
    last = run(spec, edits)[-1]

    kinds = [one.kind for one in last.meant]
    gaps = [one.gap for one in last.elements]
    assert [
        n for n in range(1, len(gaps)) if not suits(gaps[n], kinds[n - 1], kinds[n])
    ] == []


@settings(max_examples=150)
@given(SPECS, st.lists(EDITS, max_size=8))
def test_every_stage_still_changes_something(spec, edits):
    last = run(spec, edits)[-1]
    played = last.played

    assert len(played) == len(last.stages) + 1
    assert [
        n
        for n, (before, after) in enumerate(pairwise(played))
        if [_bare(before[slot]) if slot in before else None for slot in after]
        == [_bare(after[slot]) for slot in after]
        and len(before) == len(after)
    ] == []


def _bare(one):
    return {name: getattr(one, name) for name in FIELDS}


@given(SPECS, st.lists(EDITS, max_size=8), st.data())
def test_undo_brings_the_exercise_back_as_it_was_before(spec, edits, data):
    states = run(spec, edits)
    history = History((Step(spec, "as it was"),))
    for state in states[1:]:
        history = history.did(state, "a change")

    back = data.draw(st.integers(0, len(states)))
    undone = history
    for _ in range(back):
        undone = undone.undone()
    redone = undone
    for _ in range(back):
        redone = redone.redone()

    assert history.spec == states[-1]
    assert undone.spec == states[max(len(states) - 1 - back, 0)]
    assert redone == history


@given(SPECS, EDITS)
def test_an_edit_is_kept_as_data(spec, edit):
    assert edit_from_data(edit_as_data(edit)) == edit


@given(SPECS, st.lists(EDITS, max_size=5))
def test_a_row_turned_twice_stands_as_it_stood(spec, edits):
    before = run(spec, edits)[-1]
    try:
        twice = apply_all(before, [TurnRound(), TurnRound()])
    except UnableToEdit as refusal:
        assert refusal.code == "not-both-ways"  # noqa: PT017 -- one of two outcomes
        return
    bare = {"gap": None, "gap_cm": None}
    assert [one.model_copy(update=bare) for one in twice.elements] == [
        one.model_copy(update=bare) for one in before.elements
    ]


@given(SPECS, st.data())
def test_a_pole_added_and_taken_out_leaves_the_fences(spec, data):
    at = data.draw(st.integers(0, len(spec.elements)))
    there = apply(spec, AddElement(at, Kind.PLANK))

    back = apply(there, RemoveElement(at))

    assert [one.kind for one in back.elements] == [one.kind for one in spec.elements]
    assert back.stages == spec.stages


def test_only_the_last_hundred_steps_can_be_undone():
    spec = read_spec(
        {
            "slug": "one-pole", "name": "One pole", "aim": "begin", "level": "novice",
            "approach": "trot", "elements": [{"kind": "pole"}], "source": "own one",
            "grade": "own",
        }
    )  # fmt: skip
    history = History((Step(spec, ""),))
    for n in range(MOST_STEPS + 5):
        history = history.did(spec, str(n))

    assert len(history.steps) == MOST_STEPS
    assert (history.undoes, history.redoes) == (str(MOST_STEPS + 4), "")
    assert history.undone().redoes == str(MOST_STEPS + 4)
