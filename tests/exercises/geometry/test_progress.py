"""Next time's stage: by the coaches' rules, and never by more than one step."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.progress import (
    Ridden,
    Step,
    Suggestion,
    Went,
    suggest_stage,
    together,
)

RIDDEN = st.builds(
    Ridden,
    stage=st.integers(0, 6),
    passes=st.integers(0, 8),
    went=st.sampled_from(Went),
    knocks=st.integers(0, 4),
    stops=st.integers(0, 3),
    crooked=st.booleans(),
    days_ago=st.integers(0, 100),
)
RIDES = st.lists(RIDDEN, max_size=3)
STAGES = st.integers(1, 6)
GOOD = Ridden(stage=2, passes=3, went=Went.GOOD)


def altered(one: Ridden, **changes) -> Ridden:
    fields = {name: getattr(one, name) for name in Ridden.__slots__}
    return Ridden(**(fields | changes))


@pytest.mark.parametrize(
    ("changes", "step", "stage", "says"),
    [
        ({}, Step.ON, 3, "3 good passes at stage 2: one stage on."),
        ({"passes": 2}, Step.ON, 3, "2 good passes"),
        ({"passes": 1}, Step.SAME, 2, "Fewer than 2 good passes"),
        ({"knocks": 1}, Step.ON, 3, "one stage on"),
        ({"knocks": 1, "passes": 2}, Step.SAME, 2, "Fewer than 2 good passes"),
        ({"knocks": 2}, Step.BACK, 1, "2 knocks at stage 2: one stage back."),
        ({"knocks": 1, "stops": 1}, Step.BACK, 1, "1 knock and 1 stop at stage 2"),
        ({"stops": 2}, Step.BACK, 1, "2 stops"),
        ({"stops": 1}, Step.SAME, 2, "1 stop: the same stage again."),
        ({"crooked": True}, Step.SAME, 2, "Not yet calm and straight"),
        ({"went": Went.MIXED}, Step.SAME, 2, "It went mixed last time"),
        ({"went": Went.TOO_MUCH}, Step.BACK, 1, "too much last time"),
        ({"days_ago": 42}, Step.ON, 3, "one stage on"),
        ({"days_ago": 43}, Step.SAME, 2, "43 days ago"),
        ({"stage": 4}, Step.SAME, 4, "the row is done"),
        ({"stage": 1, "knocks": 3}, Step.BACK, 1, "3 knocks"),
    ],
)
def test_the_rules_of_the_trade(changes, step, stage, says) -> None:
    found = suggest_stage([altered(GOOD, **changes)], stages=4)

    assert (found.step, found.stage) == (step, stage)
    assert says in found.reason


def test_only_the_last_time_counts_and_a_time_not_ridden_does_not() -> None:
    sat_out = Ridden(stage=2, passes=0, went=Went.NOT_RIDDEN)
    earlier = altered(GOOD, stage=4, went=Went.TOO_MUCH)

    assert suggest_stage([sat_out, GOOD, earlier], stages=4).stage == 3


def test_nobody_who_knows_it_begins_at_the_first_stage() -> None:
    found = suggest_stage([], stages=4)

    assert (found.step, found.stage) == (Step.BEGIN, 1)


@pytest.mark.parametrize(
    ("horse", "rider", "stage"), [(3, 2, 2), (3, None, 1), (None, 2, 1), (3, 9, 3)]
)
def test_a_new_pair_goes_no_further_than_the_less_experienced(
    horse, rider, stage
) -> None:
    found = suggest_stage(
        [],
        stages=4,
        horse=[altered(GOOD, stage=horse)] if horse else [],
        rider=[altered(GOOD, stage=rider)] if rider else [],
    )

    assert (found.step, found.stage) == (Step.SAME, stage)
    assert f"stage {stage}" in found.reason


@given(RIDES, RIDES, RIDES, STAGES)
def test_never_beyond_the_row_nor_more_than_one_step(
    pair, horse, rider, stages
) -> None:
    found = suggest_stage(pair, stages=stages, horse=horse, rider=rider)

    last = next((one.stage for one in pair if one.jumped), None)
    assert 1 <= found.stage <= stages
    assert found.reason.endswith(".")
    if last is not None:
        assert abs(found.stage - min(last, stages)) <= 1
        assert (found.step is Step.ON) == (found.stage > min(last, stages))
    else:
        assert found.step in {Step.BEGIN, Step.SAME}


@given(RIDDEN, STAGES)
def test_a_worse_ride_never_goes_further(ridden, stages) -> None:
    before = suggest_stage([ridden], stages=stages).stage

    for worse in (
        altered(ridden, knocks=ridden.knocks + 1),
        altered(ridden, stops=ridden.stops + 1),
        altered(ridden, crooked=True),
        altered(ridden, days_ago=ridden.days_ago + 50),
        altered(ridden, passes=max(0, ridden.passes - 1)),
    ):
        assert suggest_stage([worse], stages=stages).stage <= before


@given(RIDDEN, STAGES)
def test_nobody_goes_on_after_a_stop(ridden, stages) -> None:
    stopped = altered(ridden, stops=ridden.stops + 1)

    assert suggest_stage([stopped], stages=stages).step is not Step.ON


@given(st.lists(st.integers(1, 9), max_size=5))
def test_a_ride_together_aims_at_the_least_of_its_stages(stages) -> None:
    every = [Suggestion(Step.SAME, stage, "Why.") for stage in stages]

    assert together(every) == min([*stages, 9 if stages else 1])
