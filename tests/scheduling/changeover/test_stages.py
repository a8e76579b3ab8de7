"""What it takes to build a row up: the kernel's own moves, stage by stage."""

from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, Kind
from exercises.geometry.fitting import fit_row
from exercises.geometry.library import read_library
from exercises.geometry.strides import HorseSize, Tradition
from exercises.services import LIBRARY
from scheduling.changeover.effort import DEFAULT_HANDLING, US_PER_S
from scheduling.changeover.moves import Do
from scheduling.changeover.setups import Place
from scheduling.changeover.stages import stage_changeovers

SPECS = read_library(LIBRARY)
HERE = Place(0, False)


def test_each_stage_costs_what_the_contract_says_for_its_one_change() -> None:
    poles = (Element(Kind.POLE), Element(Kind.POLE, 265))
    cross = (poles[0], Element(Kind.CROSS, 265, 40))
    higher = (poles[0], Element(Kind.CROSS, 265, 50))

    first, second = stage_changeovers([poles, cross, higher], 265, HERE,
                                      DEFAULT_HANDLING)  # fmt: skip

    # Two wings, one pole and two cups more, measured anew, and the start.
    assert first.cost_us == (2 * 45 + 28 + 2 * 12 + 30 + 60) * US_PER_S
    # Two cups to another height, and the start.
    assert second.cost_us == (2 * 16 + 60) * US_PER_S
    assert [move.do for move in first.moves] == [Do.KEEP, Do.CHANGE]


@given(st.sampled_from(SPECS), st.integers(0, 3000))
def test_where_a_row_stands_does_not_change_what_its_stages_cost(
    spec, offset_cm: int
) -> None:
    row = fit_row(spec, [HorseSize("Onyx", 165)], Tradition.SCHOOLING)
    stages = [stage.elements for stage in row.stages]

    here = stage_changeovers(stages, row.length_cm, HERE, DEFAULT_HANDLING)
    there = stage_changeovers(
        stages, row.length_cm, Place(offset_cm, False), DEFAULT_HANDLING
    )

    assert [one.cost_us for one in here] == [one.cost_us for one in there]
    assert len(here) == len(row.stages) - 1
