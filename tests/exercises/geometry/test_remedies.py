"""Remedies of each fault: in the trade's order, for this row, or why not.

Checked against the table of faults of the handbook (training pages, graded there);
the order and the limits are named beside each check.
"""

from functools import cache
from pathlib import Path

import pytest

from exercises.geometry.editing.apply import apply_all
from exercises.geometry.editing.edits import (
    AddElement,
    RemoveElement,
    SetAscending,
    SetGap,
    SetGroundLine,
    SetGroundLineOut,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetLeaning,
    SetSpread,
    SetVPoles,
    ShiftGap,
    UnableToEdit,
)
from exercises.geometry.elements import GroundLine, Kind, Side
from exercises.geometry.faults import InvalidFaults, read_faults
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.holding import apply_held
from exercises.geometry.library import read_library
from exercises.geometry.remedies import CHANGES, Offer, offers_for
from exercises.geometry.remedying.distances import STEP_CM
from exercises.geometry.spec import ExerciseSpec, Gait, Gap, read_spec, spec_as_data
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.units import Units
from exercises.services import FAULTS, LIBRARY
from tests.exercises.geometry.specs import oxer, plank, pole, spec, vertical, x

ALL = read_faults(FAULTS, CHANGES)
SPECS = read_library(Path(LIBRARY))
RIDE = [HorseSize("Onyx", 168), HorseSize("Thimble", 148)]

ORDER = {
    "rushing": ["", "trot-in", "placing-pole", "mid-plank", "shorter"],
    "drifting-left": [
        "", "guides-wide", "guides-narrower", "leaning-pole", "higher-cross", "v-poles",
    ],
    "drifting-right": [
        "", "guides-wide", "guides-narrower", "leaning-pole", "higher-cross", "v-poles",
    ],
    "slow-in-front": ["line-closer", "line-out", "shorter", "square", "v-poles"],
    "flat": ["line-out", "placing-pole", "higher-cross", "wider"],
    "too-close": ["canter-poles-in", "line-out", "longer"],
    "too-far-off": ["placing-pole", "shorter", "lower"],
    "stride-out-or-in": ["lower", "mid-plank", "shorter", "longer", "to-pole"],
    "knocks-in-front": ["line-out", "lower", "ascending", "longer"],
    "knocks-behind": ["lower", "wider", "pole-raised", "guides-wide", "v-poles"],
    "refusing": ["", "plank-out", "to-cross", "guides-wide", "one-out", "to-pole"],
    "rider-ahead": ["", "canter-poles-in", "all-lower", "all-crosses", "all-poles"],
    "rider-behind": ["", "all-lower"],
    "lost-rhythm": ["", "trot-in", "planks-in-all", "one-out", "two-back"],
    "tired": [""],
}  # fmt: skip


LIBRARY_ROW = next(one for one in SPECS if len(one.stages) >= 3)
"""A row that is built up in three steps or more."""

TEN = Units(hole_cm=10)
"""Stands with a hole every 10 cm."""


def offer(fault: str, do: str, row, at: int = 1, **more) -> Offer:
    offers = offers_for(row, ALL.by_slug(fault), at, **{"units": TEN} | more)
    return next(one for one in offers if one.remedy.do == do)


def test_each_fault_has_its_remedies_in_the_trades_order() -> None:
    assert {
        one.slug: [remedy.do for remedy in one.remedies] for one in ALL.faults
    } == ORDER


def test_before_any_remedy_stand_pain_tack_and_the_measured_distance() -> None:
    """Horse Journal and Your Horse, a: pain and tack first."""
    for word in ("pain", "tack", "distance"):
        assert word in ALL.first.says


def test_each_remedy_says_who_says_so_and_how_sure_that_is() -> None:
    for fault in ALL.faults:
        for one in fault.remedies:
            assert one.who
            assert one.grade in {"a", "b", "c", "own"}


def test_where_the_trade_disagrees_both_stand_side_by_side() -> None:
    """Dutch leaflets move the ground line closer, a; others roll it out, b."""
    against = [one for one in ALL.by_slug("slow-in-front").remedies if one.against]

    assert [one.do for one in against] == ["line-closer", "line-out"]
    assert against[0].who != against[1].who


@cache
def fit(one: ExerciseSpec) -> FittedRow:
    return fit_row(one, RIDE, Tradition.SCHOOLING)


@pytest.mark.parametrize("fault", ALL.faults, ids=lambda one: one.slug)
@pytest.mark.parametrize("row", SPECS, ids=lambda one: one.slug)
def test_every_remedy_leaves_every_library_row_whole_or_says_why_not(
    row, fault
) -> None:
    before = fit(row)
    for stage in {0, len(row.stages)}:
        for at in row.played[stage]:
            for one in offers_for(row, fault, at, stage=stage):
                assert not (one.edits and one.why_not)
                if one.edits:
                    held = apply_held(row, before, one.edits, fit)
                    assert held.spec != row
                    assert read_spec(spec_as_data(held.spec)) == held.spec
                    assert one.amount
                else:
                    assert one.why_not or not one.remedy.do


@pytest.mark.parametrize("do", ["shorter", "longer"])
def test_a_distance_is_changed_by_one_step_and_never_by_more_than_two(do: str) -> None:
    """One step 0.15 m, 6 in (a page on trot poles, a); two at most, own."""
    fault = {"shorter": "rushing", "longer": "too-close"}[do]
    row = spec(x(), vertical("one-stride"), vertical("one-stride"))
    steps = 0
    while (one := offer(fault, do, row, 2)).edits:
        steps += 1
        row = apply_all(row, one.edits)

    assert steps == 2
    assert abs(row.elements[2].by_cm) == 2 * STEP_CM
    assert "never more than 2 steps" in one.why_not
    other = {"shorter": "longer", "longer": "shorter"}[do]
    back = {"shorter": "rushing", "longer": "too-close"}[other]
    assert offer(back, other, row, 2).edits


def test_a_measure_is_shortened_as_a_measure() -> None:
    row = spec(x(), x("measure", gap_cm=620))

    assert offer("rushing", "shorter", row).edits == (SetGap(1, Gap.MEASURE, 605),)


def test_at_the_first_element_the_gap_after_it_is_meant() -> None:
    assert offer("rushing", "shorter", spec(x(), x("bounce")), 0).edits == (
        ShiftGap(1, -15),
    )
    assert "no gap" in offer("rushing", "shorter", spec(x()), 0).why_not


@pytest.mark.parametrize(
    ("approach", "gap", "figure"),
    [("trot", Gap.PLACING_TROT, "2.70"), ("canter", Gap.PLACING_CANTER, "3.00")],
)
def test_a_placing_pole_lies_by_the_gait(approach: str, gap: Gap, figure: str) -> None:
    """About 2.7 m from trot (a South African page, a), 3.0 from canter (FEI, a)."""
    row = spec(x(), x("one-stride"), approach=approach)

    one = offer("rushing", "placing-pole", row)

    assert one.edits == (AddElement(0, Kind.POLE, then=gap),)
    assert figure in one.amount


def test_a_hole_is_the_schools_own() -> None:
    row = spec(x(), vertical("one-stride", height_cm=60))

    assert offer("knocks-in-front", "lower", row).edits == (SetHeight(1, 50),)
    assert offer("knocks-in-front", "lower", row, units=Units(hole_cm=5)).edits == (
        SetHeight(1, 55),
    )


def test_a_remedy_acts_on_the_stage_that_stands() -> None:
    row = spec(x(), vertical("one-stride"), end=[x(of=0), vertical(of=1, height_cm=80)])

    lower = offer("knocks-in-front", "lower", row, 1, stage=1)

    assert lower.edits == (SetHeight(1, 70, 1),)
    changed = apply_all(row, lower.edits)
    assert [stage[1].height_cm for stage in changed.played] == [60, 70]


FENCE = vertical("one-stride", ground_line="take-off")


@pytest.mark.parametrize(
    ("fault", "do", "element", "edits"),
    [
        ("flat", "line-out", vertical("one-stride"),
         (SetGroundLine(1, GroundLine.TAKE_OFF),)),
        ("flat", "line-out", FENCE, (SetGroundLineOut(1, 35),)),
        ("slow-in-front", "line-closer", FENCE, (SetGroundLineOut(1, 15),)),
        ("slow-in-front", "square", oxer("one-stride", ascending=True),
         (SetAscending(1, False),)),
        ("knocks-in-front", "ascending", oxer("one-stride"), (SetAscending(1, True),)),
        ("flat", "wider", oxer("one-stride"), (SetSpread(1, 90),)),
        ("flat", "higher-cross", x("one-stride"), (SetHeight(1, 50),)),
        ("drifting-left", "higher-cross", FENCE, (SetKind(1, Kind.CROSS),)),
        ("drifting-left", "leaning-pole", FENCE, (SetLeaning(1, Side.LEFT),)),
        ("drifting-right", "leaning-pole", FENCE, (SetLeaning(1, Side.RIGHT),)),
        ("drifting-left", "guides-narrower", vertical("one-stride", guides=True),
         (SetGuidesApart(1, 140),)),
        ("knocks-behind", "v-poles", FENCE,
         (SetVPoles(1, 200), SetGroundLineOut(1, 40))),
        ("knocks-behind", "v-poles", vertical("one-stride", v_poles_cm=200),
         (SetVPoles(1, 180),)),
        ("refusing", "to-pole", FENCE, (SetKind(1, Kind.POLE),)),
        ("refusing", "to-cross", FENCE, (SetKind(1, Kind.CROSS), SetHeight(1, 40))),
    ],
)  # fmt: skip
def test_a_remedy_names_the_element_and_the_amount(fault, do, element, edits) -> None:
    one = offer(fault, do, spec(x(), element))

    assert one.edits == edits
    assert one.amount.startswith("element 2 (")


@pytest.mark.parametrize(
    ("fault", "do", "row", "says"),
    [
        ("rushing", "trot-in", spec(x(), x("bounce")), "trotted into already"),
        ("rushing", "placing-pole", spec(pole(), x("placing-trot")), "already"),
        ("rushing", "placing-pole", spec(pole(), pole("trot-poles")), "no fence"),
        ("rushing", "mid-plank", spec(x(), x("bounce")), "No single stride"),
        ("lost-rhythm", "planks-in-all", spec(x(), x("bounce")), "no single stride"),
        ("flat", "line-out", spec(x(), pole("landing")), "is no fence"),
        ("flat", "wider", spec(x(), x("bounce")), "is no oxer"),
        ("flat", "wider", spec(x(), oxer("one-stride", spread_cm=90)), "90 cm wide"),
        ("flat", "line-out",
         spec(x(), vertical("one-stride", ground_line="both", ground_line_cm=45)),
         "50 cm is the most"),
        ("slow-in-front", "line-closer", spec(x(), x("bounce")), "no ground line"),
        ("slow-in-front", "line-closer",
         spec(x(), vertical("one-stride", ground_line="both", ground_line_cm=15)),
         "15 cm out already"),
        ("drifting-left", "guides-wide", spec(x(), x("bounce", guides=True)),
         "guide rails already"),
        ("drifting-left", "guides-narrower", spec(x(), x("bounce")), "set them wide"),
        ("drifting-left", "guides-narrower",
         spec(x(), x("bounce", guides=True, guides_cm=100)), "as narrow"),
        ("drifting-left", "leaning-pole", spec(x(), x("bounce", leaning="left")),
         "leans on that side"),
        ("drifting-left", "v-poles",
         spec(x(), vertical("bounce", v_poles_cm=100)), "as narrow"),
        ("slow-in-front", "square", spec(x(), oxer("bounce")), "level already"),
        ("knocks-in-front", "ascending", spec(x(), oxer("bounce", ascending=True)),
         "lower already"),
        ("knocks-in-front", "ascending", spec(x(), oxer("bounce"), both_ways=True),
         "both ways"),
        ("too-far-off", "lower", spec(x(), x("bounce", height_cm=25)), "is a pole"),
        ("refusing", "one-out", spec(x(), end=[x(of=0), x("bounce", after=0)]),
         "A later stage adds"),
        ("rider-ahead", "all-lower", spec(x(height_cm=25), pole("landing")),
         "made easier"),
        ("rider-ahead", "all-crosses", spec(x(), x("bounce")), "so already"),
        ("refusing", "one-out", spec(x()), "A grid needs an element"),
        ("too-close", "canter-poles-in", spec(x(), x("bounce")), "trotted into"),
        ("too-close", "canter-poles-in",
         spec(pole(), x("one-stride"), approach="canter"), "begins with a pole"),
        ("knocks-behind", "pole-raised", spec(x()), "No pole lies"),
        ("knocks-behind", "pole-raised", spec(x(), x("bounce")), "No pole lies"),
        ("refusing", "plank-out", spec(x()), "No plank lies"),
        ("refusing", "plank-out",
         spec(x(), end=[x(of=0), plank("one-stride", after=0)]),
         "A later stage adds that plank"),
        ("lost-rhythm", "two-back", spec(x()), "as it is first built"),
    ],
)  # fmt: skip
def test_a_remedy_that_is_none_for_the_row_says_why(fault, do, row, says) -> None:
    stage = len(row.stages)
    one = offer(fault, do, row, max(row.played[stage]), stage=stage)

    assert one.edits == ()
    assert says in one.why_not


def test_a_plank_lies_in_the_stride_after_the_element_where_none_lies_before() -> None:
    row = spec(x(), x("bounce"), x("one-stride"))

    one = offer("rushing", "mid-plank", row, 1)

    assert one.edits[0].at == 2
    assert offer("lost-rhythm", "planks-in-all", row).edits == one.edits


def test_every_fence_is_lowered_or_made_a_cross() -> None:
    row = spec(pole(), x("placing-trot", height_cm=25), vertical("one-stride"))

    lower = offer("rider-behind", "all-lower", row)
    crosses = apply_all(row, offer("rider-ahead", "all-crosses", row).edits)

    assert lower.edits == (SetHeight(2, 50),)
    assert [e.kind for e in crosses.elements] == [Kind.POLE, Kind.CROSS, Kind.CROSS]
    assert max(e.height_cm for e in crosses.elements) == 40


def test_canter_poles_lead_to_a_row_in_canter() -> None:
    row = spec(x(), x("bounce"), approach="canter")

    made = apply_all(row, offer("too-close", "canter-poles-in", row).edits)

    assert [one.kind for one in made.elements] == [Kind.POLE] * 3 + [Kind.CROSS] * 2
    assert [one.gap for one in made.elements[1:4]] == [
        Gap.CANTER_POLES,
        Gap.CANTER_POLES,
        Gap.ONE_STRIDE,
    ]


def test_the_pole_before_a_fence_is_raised_on_blocks() -> None:
    row = spec(pole(), x("placing-trot"))

    assert offer("knocks-behind", "pole-raised", row).edits == (
        SetKind(0, Kind.RAISED_POLE),
    )


def test_a_plank_is_taken_out_before_the_fence_is_made_lower() -> None:
    row = spec(x(), plank("mid-stride-landing"), x("mid-stride-take-off"))

    assert offer("refusing", "plank-out", row, 2).edits == (RemoveElement(1),)
    assert offer("refusing", "plank-out", row, 1).edits == (RemoveElement(1),)


def test_two_steps_back_leave_the_row_of_two_stages_before() -> None:
    row = LIBRARY_ROW
    stages = len(row.stages)

    made = apply_all(
        row,
        offer("lost-rhythm", "two-back", row, max(row.played[-1]), stage=stages).edits,
    )

    assert len(made.stages) == stages - 2
    assert made.played[-1] == row.played[stages - 2]


def test_poles_only_lays_every_fence_on_the_ground() -> None:
    row = spec(x(), vertical("one-stride"))

    made = apply_all(row, offer("rider-ahead", "all-poles", row).edits)

    assert {one.kind for one in made.elements} == {Kind.POLE}


def test_a_row_in_canter_is_trotted_into() -> None:
    row = spec(x(), x("bounce"), approach="canter")

    assert apply_all(row, offer("rushing", "trot-in", row).edits).approach is Gait.TROT


@pytest.mark.parametrize(("at", "stage"), [(5, 0), (0, 3), (0, -1)])
def test_an_element_that_does_not_stand_is_refused(at: int, stage: int) -> None:
    with pytest.raises(UnableToEdit, match="stands in that stage"):
        offers_for(spec(x()), ALL.by_slug("flat"), at, stage=stage)


def test_an_unknown_fault_is_none() -> None:
    assert ALL.by_slug("hiccups") is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[fault", "faults.toml"),
        ("", "first"),
        ('first = {says="s", who="w", grade="a"}\n[[fault]]\nslug="x"\nname="X"\n'
         '[[fault.remedy]]\ndo="paint it"\nsays="s"\nwho="w"\ngrade="a"',
         "x: no change 'paint it'"),
        ('first = {says="s", who="w", grade="a"}\n[[fault]]\nslug="x"\nname="X"\n'
         'same_as="y"', "y"),
        ('first = {says="s", who="w", grade="a", more="m"}\n', "more"),
    ],
)  # fmt: skip
def test_a_broken_file_of_faults_is_refused_with_its_name(
    tmp_path: Path, text: str, says: str
) -> None:
    path = tmp_path / "faults.toml"
    path.write_text(text)

    with pytest.raises(InvalidFaults, match=r"faults\.toml") as caught:
        read_faults(path, CHANGES)

    assert says in str(caught.value)
