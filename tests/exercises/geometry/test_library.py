"""The library's files: read whole, cover what a school teaches, break no rule."""

from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from exercises.geometry.elements import FENCES, FLAT, Kind, Piece, pieces
from exercises.geometry.fit import Fit
from exercises.geometry.fitting import FittedRow, fit_row
from exercises.geometry.library import read_library
from exercises.geometry.lines import Room
from exercises.geometry.spec import STRIDES, ExerciseSpec, Gait, Gap, InvalidExercise
from exercises.geometry.standing import fit_stages, turn_last_stage
from exercises.geometry.strides import HorseSize, Tradition
from exercises.geometry.verdicts import MOST_FENCES, judge_fit
from exercises.services import LIBRARY

SPECS = read_library(LIBRARY)
EACH = pytest.mark.parametrize("spec", SPECS, ids=lambda spec: spec.slug)
SIZES = (HorseSize("Pony", 128), HorseSize("Horse", 165))
S = Tradition.SCHOOLING
STRIDED = set(STRIDES)

FAULTS = {
    "rushing", "drifting left", "drifting right", "slow in front", "uneven in front",
    "flat", "too close", "too far off", "knocks in front", "knocks behind",
    "refusing", "rider ahead", "rider left behind", "lost rhythm",
}  # fmt: skip


def gaps(spec: ExerciseSpec) -> list[Gap | None]:
    added = [one for stage in spec.stages for one in stage.changes if one.gap]
    return [one.gap for one in (*spec.elements, *added)]


def kinds(spec: ExerciseSpec) -> set[Kind]:
    return {one.kind for one in spec.every_element}


def only_poles(spec: ExerciseSpec) -> bool:
    return not spec.fences


def grows_from_poles_to_an_oxer(spec: ExerciseSpec) -> bool:
    first, last = spec.played[0], spec.played[-1]
    return {one.kind for one in first.values()} == {Kind.POLE} and any(
        one.kind is Kind.OXER for one in last.values()
    )


FAMILIES: dict[str, tuple[int, Callable[[ExerciseSpec], bool]]] = {
    "poles at trot": (2, lambda s: only_poles(s) and Gap.TROT_POLES in gaps(s)),
    "poles at canter": (4, lambda s: only_poles(s) and s.approach is Gait.CANTER),
    "raised poles": (3, lambda s: Kind.RAISED_POLE in kinds(s)),
    "placing poles": (
        6,
        lambda s: bool({Gap.PLACING_TROT, Gap.PLACING_CANTER} & set(gaps(s))),
    ),
    "bounce series": (5, lambda s: gaps(s).count(Gap.BOUNCE) > 1),
    "one stride": (8, lambda s: Gap.ONE_STRIDE in gaps(s)),
    "two strides": (3, lambda s: Gap.TWO_STRIDES in gaps(s)),
    "related distances": (
        4,
        lambda s: bool(
            {Gap.THREE_STRIDES, Gap.FOUR_STRIDES, Gap.FIVE_STRIDES} & set(gaps(s))
        ),
    ),
    "straightness by guides": (3, lambda s: any(e.guides for e in s.every_element)),
    "straightness by a higher cross": (
        2,
        lambda s: any(
            e.kind is Kind.CROSS and e.height_cm >= 60 for e in s.every_element
        ),
    ),
    "both ways": (3, lambda s: s.both_ways and s.fences > 1),
    "from poles to an oxer": (1, grows_from_poles_to_an_oxer),
    "the school's own": (2, lambda s: s.grade == "own"),
}


def test_there_are_enough_and_each_has_its_own_slug_and_name() -> None:
    assert len(SPECS) >= 40
    assert len({one.slug for one in SPECS}) == len(SPECS)
    assert len({one.name for one in SPECS}) == len(SPECS)


@pytest.mark.parametrize("family", FAMILIES)
def test_each_family_of_grids_is_there(family: str) -> None:
    least, belongs = FAMILIES[family]

    assert sum(belongs(spec) for spec in SPECS) >= least


@pytest.mark.parametrize("level", ["novice", "intermediate", "advanced"])
def test_each_level_of_rider_and_horse_has_grids(level: str) -> None:
    assert sum(spec.level == level for spec in SPECS) >= 6
    assert sum(spec.horse_level == level for spec in SPECS) >= 4


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_each_fault_has_grids_that_help(fault: str) -> None:
    assert sum(fault in spec.faults for spec in SPECS) >= 2


@EACH
def test_each_says_all_that_an_instructor_needs(spec: ExerciseSpec) -> None:
    assert spec.aim
    assert spec.faults
    assert set(spec.faults) <= FAULTS
    assert spec.horse_level
    assert spec.stages
    assert spec.start.says != "As built"
    assert any("the coach decides" in caution for caution in spec.cautions)
    assert spec.source
    if spec.grade == "own":
        assert "the school's own" in spec.source
    if spec.grade == "b":
        assert spec.source == "common practice, no source"


@EACH
def test_each_stage_changes_one_thing_or_says_why_several(spec: ExerciseSpec) -> None:
    row = fit_row(spec, [SIZES[1]], S)

    assert [
        stage.says for stage in row.stages if stage.things > 1 and not stage.together
    ] == []
    assert all(stage.things for stage in row.stages[1:])
    assert [
        stage.says for stage in row.stages if stage.things <= 1 and stage.together
    ] == []


@EACH
@pytest.mark.parametrize("horse", SIZES, ids=lambda horse: horse.name)
@pytest.mark.parametrize("tradition", Tradition)
def test_each_fits_a_pony_and_a_horse_by_each_tradition(
    spec: ExerciseSpec, horse: HorseSize, tradition: Tradition
) -> None:
    row = fit_row(spec, [horse], tradition)

    verdicts = judge_fit(spec, row, rooms=[Room("Long", 5500)])

    assert [one.says for one in verdicts if one.fit is Fit.DOES_NOT] == []


PRINTED = {
    "three-bounces-middle-out": "the leaflets leave 5.8 to 6.4 m with the middle out",
}
"""Rows whose source prints what the model reads as short or long, with why."""


@pytest.mark.parametrize(
    "spec",
    # What is typed in as a measure suits by itself or not.
    [spec for spec in SPECS if Gap.MEASURE not in gaps(spec)],
    ids=lambda spec: spec.slug,
)
@pytest.mark.parametrize("horse", SIZES, ids=lambda horse: horse.name)
def test_no_stage_grows_out_of_its_distances(
    spec: ExerciseSpec, horse: HorseSize
) -> None:
    row = fit_row(spec, [horse], S)

    outside = [
        (stage.stage.says, gap.before, one.words)
        for stage in fit_stages(spec, row, [horse], S)
        for gap, one in stage.outside
    ]

    assert bool(outside) is (spec.slug in PRINTED)


@pytest.mark.parametrize(
    "spec", [one for one in SPECS if one.both_ways], ids=lambda spec: spec.slug
)
@pytest.mark.parametrize("horse", SIZES, ids=lambda horse: horse.name)
def test_a_row_for_both_ways_suits_from_its_other_end(
    spec: ExerciseSpec, horse: HorseSize
) -> None:
    row = fit_row(spec, [horse], S)
    last = fit_stages(spec, row, [horse], S)[-1]

    turned = turn_last_stage(last, [horse], S)

    assert [one.words for gap in turned.row.gaps for one in gap.horses
            if not one.inside] == []  # fmt: skip


def of_each_stage(spec: ExerciseSpec) -> list[tuple]:
    row = fit_row(spec, [SIZES[1]], S)
    return [stage.elements for stage in row.stages]


@EACH
def test_what_lies_after_a_fence_is_a_plank_and_never_a_rolling_pole(spec) -> None:
    """Dutch leaflets: a plank, never a rolling pole, on the landing side; a."""
    loose = [
        (n, elements[m].kind)
        for n, elements in enumerate(of_each_stage(spec))
        for m in range(1, len(elements))
        if elements[m].kind is Kind.POLE
        and any(one.kind in FENCES for one in elements[:m])
    ]

    assert loose == []


@EACH
def test_heights_bounces_and_oxers_suit_the_level(spec: ExerciseSpec) -> None:
    """Riders' bands up to 0.50, 0.70 and 0.90 m, and bounces not over 0.76 m."""
    highest = {"novice": 70, "intermediate": 80, "advanced": 90}[spec.level]
    assert spec.highest_cm <= highest
    assert spec.fences <= MOST_FENCES
    if spec.level == "novice":
        assert Kind.OXER not in kinds(spec)
        assert Gap.BOUNCE not in gaps(spec)
        assert not {Gap.LANDING, Gap.MID_STRIDE_LANDING} & set(gaps(spec))
    if Gap.BOUNCE in gaps(spec):
        assert all(
            one.height_cm <= 76
            for elements in of_each_stage(spec)
            for one, other in pairwise(elements)
            if other.at_cm - one.landing_cm < 400 and {one.kind, other.kind} <= FENCES
        )


@EACH
def test_oxers_rise_or_are_level_and_are_not_much_wider_than_high(spec) -> None:
    """Dutch pony rules: spread at most height + 0.10 m; a."""
    for one in spec.every_element:
        if one.kind is Kind.OXER:
            assert one.spread_cm <= one.height_cm + 10
            assert any("safety cups" in words for words in spec.cautions)


@EACH
def test_bounces_and_guides_bring_their_cautions(spec: ExerciseSpec) -> None:
    words = " ".join(spec.cautions)

    assert (Gap.BOUNCE in gaps(spec)) <= ("Bounces are hard work" in words)
    assert any(e.guides for e in spec.every_element) <= ("guide rails" in words)


@EACH
def test_no_stage_needs_a_piece_that_neither_start_nor_end_has(spec) -> None:
    """The planner keeps the pieces of start and end at hand, and no others."""
    row = fit_row(spec, [SIZES[1]], S)
    kept = pieces_of(row, 0) | pieces_of(row, -1)

    assert [
        stage.says for n, stage in enumerate(row.stages) if pieces_of(row, n) - kept
    ] == []


def pieces_of(row: FittedRow, number: int) -> Counter[Piece]:
    total: Counter[Piece] = Counter()
    for one in row.stages[number].elements:
        total += pieces(one)
    return total


def test_the_practice_row_is_typed_in_as_it_is_ridden() -> None:
    """Common practice, no source: 6.20 m and 3.50 m."""
    (spec,) = [one for one in SPECS if one.slug == "short-stride-and-bounce"]

    row = fit_row(spec, SIZES, S)

    assert [gap.built_cm for gap in row.gaps] == [620, 350]
    assert (spec.source, spec.grade) == ("common practice, no source", "b")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("slug = ", "row.toml: is no TOML"),
        ('slug = "x"', "row.toml: slug: string should match"),
        (None, "row.toml: slug: must be the file's name"),
    ],
    ids=["broken", "short", "other-name"],
)
def test_a_broken_file_is_named(tmp_path: Path, content: str | None, says: str) -> None:
    text = content or (LIBRARY / "bounce-pair.toml").read_text()
    (tmp_path / "row.toml").write_text(text)

    with pytest.raises(InvalidExercise) as caught:
        read_library(tmp_path)

    assert str(caught.value).startswith(says)


@pytest.mark.parametrize(
    ("was", "broken", "says"),
    [
        ('gap = "bounce"', 'gap = "hop"', r"elements\[1\]\.gap: .*bounce"),
        (', gap = "bounce" }', " }", r"elements\[1\]\.gap: is missing"),
        ('kind = "cross"', 'kind = "wall"', r"elements\[0\]\.kind: .*cross"),
        ("height_cm = 40", 'height_cm = "4O"', r"elements\[0\]\.height_cm: .*integer"),
        ("height_cm = 40", "height_cm = 4000", r"elements\[0\]\.height_cm: .*160"),
        ("passes = 3", "passes = 0", r"start\.passes: .*greater than or equal to 1"),
        ("of = 0", "of = 7", r"stages\[0\]\.changes\[0\]: there is no element 7"),
        ('grade = "a"', 'grade = "z"', r"grade: .*'a', 'b', 'c' or 'own'"),
    ],
)
def test_what_is_unknown_or_no_number_is_named_by_file_and_place(
    tmp_path: Path, was: str, broken: str, says: str
) -> None:
    text = (LIBRARY / "bounce-pair.toml").read_text()
    assert was in text
    (tmp_path / "bounce-pair.toml").write_text(text.replace(was, broken))

    with pytest.raises(InvalidExercise, match=rf"^bounce-pair\.toml: {says}"):
        read_library(tmp_path)


def test_flat_kinds_have_no_height_in_any_file() -> None:
    assert all(
        not one.height_cm
        for spec in SPECS
        for one in spec.every_element
        if one.kind in FLAT
    )
