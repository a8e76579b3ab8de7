"""Rows fitted to horses: the least largest deviation, and what is said of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Piece
from exercises.geometry.fit import Fit, Verdict
from exercises.geometry.fitting import (
    HorseGap,
    UnableToFit,
    compromise_cm,
    fit_row,
    largest_deviation,
)
from exercises.geometry.lines import Room, fit_lines
from exercises.geometry.reverse import turn_row
from exercises.geometry.rows import UnableToReverse
from exercises.geometry.spec import (
    ExerciseSpec,
    Gap,
    InvalidExercise,
    read_spec,
    spec_as_data,
)
from exercises.geometry.store import Kept, Store
from exercises.geometry.strides import GapTarget, HorseSize, Tradition
from exercises.geometry.verdicts import Limit, judge_fit
from tests.exercises.geometry.specs import data, oxer, pole, spec, vertical, x


def stage(*changes: dict, **more) -> dict:
    return {"says": "Next", "changes": list(changes)} | more


def holding(**working: int) -> Store:
    """Return the store of a whole yard, by piece."""
    return Store(tuple(Kept(Piece(k), "barn", n) for k, n in working.items()))


S = Tradition.SCHOOLING
PONY, HORSE = HorseSize("Thimble", 118), HorseSize("Onyx", 168)


TARGETS = st.builds(
    lambda at, half: GapTarget(at, at - half, at + half, ""),
    st.integers(100, 1500),
    st.sampled_from([15, 25]),
)


@given(st.lists(TARGETS, min_size=1, max_size=5))
def test_no_other_tape_mark_deviates_less(targets: list[GapTarget]) -> None:
    built = compromise_cm(targets)

    least = min(largest_deviation(cm, targets) for cm in range(0, 2000, 5))
    equal = [
        cm
        for cm in range(0, 2000, 5)
        if largest_deviation(cm, targets) == pytest.approx(least)
    ]
    assert built == max(equal)
    assert largest_deviation(built, targets) == pytest.approx(least)


def test_of_equal_distances_the_longer_is_built() -> None:
    """UK training sheet: better too long than too short, a."""
    assert (
        compromise_cm([GapTarget(612, 587, 637, ""), GapTarget(613, 588, 638, "")])
        == 615
    )


def test_a_row_is_built_of_its_gaps_and_ends_in_place() -> None:
    row = fit_row(
        spec(
            {"kind": "pole"},
            x("placing-trot"),
            {"kind": "oxer", "height_cm": 60, "spread_cm": 70, "gap": "one-stride"},
            x("measure", gap_cm=620),
            end=[
                {"kind": "pole", "of": 0},
                x(of=1, height_cm=50),
                {"kind": "oxer", "height_cm": 60, "spread_cm": 70, "of": 2},
                x(of=3),
                {"kind": "pole", "after": 3, "gap": "landing"},
                {"kind": "pole", "after": 1, "gap": "measure", "gap_cm": 200},
            ],
        ),
        [HORSE],
        S,
    )

    starts = [one.at_cm for one in row.start]
    assert starts[1:] == [
        row.gaps[0].built_cm,
        starts[1] + row.gaps[1].built_cm,
        starts[2] + 70 + 620,
    ]
    assert row.length_cm == starts[3]
    assert [one.at_cm for one in row.end] == [
        *starts[:2],
        starts[1] + 200,
        *starts[2:],
        starts[3] + 335,
    ]
    assert row.gaps[2].horses == ()


def test_an_end_left_out_is_the_start() -> None:
    row = fit_row(spec(x(), x("bounce")), [HORSE], S)

    assert row.end == row.start


def test_a_plank_in_mid_stride_is_measured_by_both_fences() -> None:
    row = fit_row(
        spec(
            x(),
            {"kind": "plank", "gap": "mid-stride-landing"},
            {"kind": "vertical", "height_cm": 60, "gap": "mid-stride-take-off"},
        ),
        [HORSE],
        S,
    )
    whole = fit_row(
        spec(
            x(),
            {"kind": "vertical", "height_cm": 60, "gap": "one-stride"},
            approach="canter",
        ),
        [HORSE],
        S,
    )

    total = row.gaps[0].built_cm + row.gaps[1].built_cm
    assert row.gaps[0].built_cm > row.gaps[1].built_cm
    assert total < whole.gaps[0].built_cm


def test_without_a_horse_there_is_nothing_to_fit() -> None:
    with pytest.raises(UnableToFit, match="their horses first"):
        fit_row(spec(x()), [], S)


@pytest.mark.parametrize(
    ("built", "says"),
    [
        ({3: 600}, "there is no gap 3 in Sample row"),
        ({0: 600}, "there is no gap 0"),
        ({1: 603}, "gap 1 can't be 6.03 m: choose a multiple of 5 cm"),
        ({1: 0}, "gap 1 can't be 0.00 m"),
        ({1: 4000}, "from 0.50 m to 35.00 m"),
    ],
)
def test_a_chosen_distance_that_is_none_is_refused(built: dict, says: str) -> None:
    with pytest.raises(UnableToFit, match=says):
        fit_row(spec(x(), x("bounce"), x("bounce")), [HORSE], S, built=built)


def test_a_chosen_measure_is_built() -> None:
    row = fit_row(spec(x(), x("measure", gap_cm=600)), [HORSE], S, built={1: 615})

    assert (row.gaps[0].built_cm, row.worst) == (615, 0)


def judged(exercise: ExerciseSpec, horses=(HORSE,), **more) -> dict[str, Verdict]:
    row = fit_row(exercise, horses, S)
    return {one.subject: one for one in judge_fit(exercise, row, **more)}


DOUBLE = spec({"kind": "pole"}, x("placing-trot"), x("one-stride"))


def test_a_horse_outside_its_band_is_named_with_how_much() -> None:
    both = judged(DOUBLE, (PONY, HORSE))

    for name, way in (("Thimble", "long"), ("Onyx", "short")):
        one = both[f"distances for {name}"]
        assert one.fit is Fit.DOES_NOT
        assert way in one.says
        assert "cm" in one.figure
        assert "Build gap 1 at" in one.cure
        assert "split the ride by size" in one.cure


def test_one_gap_out_is_to_be_looked_at() -> None:
    one = judged(spec(x(), x("bounce")), (HorseSize("A", 140), HorseSize("B", 165)))

    assert one["distances for A"].fit is Fit.LOOK


def test_a_horse_in_its_band_fits() -> None:
    assert judged(DOUBLE)["distances for Onyx"].fit is Fit.FITS


@pytest.mark.parametrize(
    ("line_cm", "fit"),
    [(2000, Fit.DOES_NOT), (2700, Fit.LOOK), (5500, Fit.FITS)],
)
def test_the_line_must_hold_row_approach_and_run_out(line_cm: int, fit: Fit) -> None:
    one = judged(DOUBLE, rooms=[Room("Short", 1000), Room("Long", line_cm)])[
        "line length"
    ]

    assert one.fit is fit
    assert "Long" in one.figure
    assert one.firm is (fit is Fit.DOES_NOT)


def test_each_line_is_told_by_itself_the_roomiest_first() -> None:
    """Dutch leaflets: 15 m to pull up in are usual, 7 m the least, a."""
    row = fit_row(DOUBLE, [HORSE], S)
    lines = [Room("Short", 2000), Room("Long", 4000), Room("Middle", 2600)]

    fits = fit_lines(DOUBLE, row, lines)

    assert [(one.room.name, one.fit) for one in fits] == [
        ("Long", Fit.FITS),
        ("Middle", Fit.LOOK),
        ("Short", Fit.DOES_NOT),
    ]
    assert fits[0].left_cm == 4000 - row.length_cm - 700
    verdict = judged(DOUBLE, rooms=lines)["line length"]
    assert verdict.says.endswith("It is too long for Short.")


def test_an_approach_below_seven_metres_is_to_be_looked_at() -> None:
    """Dutch exercises: at least 7 m straight before a small jump, a."""
    short = spec(x(), x("bounce"), approach_cm=500)

    one = judged(short, rooms=[Room("Long", 5500)])["line length"]

    assert one.fit is Fit.LOOK
    assert "approach is only 5.00 m" in one.says
    assert (
        fit_lines(short, fit_row(short, [HORSE], S), [Room("L", 5500)])[0].fit
        is Fit.LOOK
    )


def test_without_lines_nothing_is_said_of_length() -> None:
    assert "line length" not in judged(DOUBLE)


def test_the_store_must_have_every_piece_of_start_and_end() -> None:
    poor = judged(DOUBLE, store=holding(wing=2, pole=50))["store"]
    rich = judged(DOUBLE, store=holding(wing=4))["store"]

    assert (poor.fit, poor.firm) == (Fit.DOES_NOT, True)
    assert "4 wings of 2" in poor.says
    assert rich.fit is Fit.FITS


@pytest.mark.parametrize(
    ("elements", "cure"),
    [
        ([x(), oxer("one-stride")], "Make an oxer a vertical"),
        ([x(), vertical("one-stride", height_cm=80)], "Take a rail out"),
        ([x(), x("one-stride")], "Leave an element out, or mend"),
    ],
)
def test_a_short_store_is_cured_by_what_this_row_can_spare(elements, cure) -> None:
    one = judged(spec(*elements), store=holding(wing=1))["store"]

    assert one.cure.startswith(cure)


def test_heights_and_levels_are_held_against_each() -> None:
    verdicts = judged(
        DOUBLE, limits=[Limit("Mira", 30, "novice"), Limit("Onyx", 100, "advanced")]
    )

    assert verdicts["height for Mira"].fit is Fit.DOES_NOT
    assert "up to 30 cm" in verdicts["height for Mira"].says
    assert verdicts["level of Mira"].fit is Fit.LOOK
    assert "height for Onyx" not in verdicts


def test_suited_levels_are_said_too() -> None:
    verdicts = judged(DOUBLE, limits=[Limit("Ines", 100)])

    assert verdicts["levels and heights"].fit is Fit.FITS


def test_more_than_eight_fences_are_to_be_looked_at() -> None:
    """How-to page: more than eight fences in a row is too much, a."""
    long = spec(x(), *(x("bounce") for _ in range(8)))

    assert judged(long)["number of fences"].fit is Fit.LOOK


@pytest.mark.parametrize(
    ("elements", "limit", "subject"),
    [
        ([x(), pole("landing")], Limit("Mira", 70, "novice"), "landing pole for Mira"),
        ([x(), x("bounce")], Limit("Mira", 50, "novice"), "bounce for Mira"),
        ([x(), oxer("one-stride")], Limit("Mira", 50, "novice"), "oxer for Mira"),
        (
            [x(), *[x("one-stride")] * 2],
            Limit("Mira", 50, "novice"),
            "number of fences for Mira",
        ),
        (
            [x(), *[x("one-stride")] * 4],
            Limit("Mira", 70, "novice"),
            "number of fences for Mira",
        ),
    ],
)
def test_what_is_beyond_a_level_is_pointed_out(elements, limit, subject) -> None:
    """A landing pole is not for a novice (UK training sheet, a); others own."""
    assert judged(spec(*elements), limits=[limit])[subject].fit is Fit.LOOK
    able = Limit("Mira", 90, "intermediate")
    assert subject not in judged(spec(*elements), limits=[able])


def test_a_pole_behind_a_fence_must_not_roll() -> None:
    """Dutch leaflets: a plank, never a rolling pole, on the landing side, a."""
    loose = judged(spec(x(), pole("landing")))["poles behind fences"]
    plank = judged(spec(x(), {"kind": "plank", "gap": "landing"}))

    assert (loose.fit, loose.figure) == (Fit.LOOK, "element 2")
    assert "poles behind fences" not in plank


def test_ridden_in_reverse_it_is_measured_anew() -> None:
    grown = spec(x(guides=True), x("one-stride"), x("one-stride"))
    row = fit_row(grown, [HORSE], S)
    even = spec(x(), x("one-stride"), approach="canter")

    off = judged(grown, turned=turn_row(grown, row, [HORSE], S))["ridden in reverse"]
    good = judged(even, turned=turn_row(even, fit_row(even, [HORSE], S), [HORSE], S))[
        "ridden in reverse"
    ]
    never = judged(grown, turned=UnableToReverse("the oxer"))["ridden in reverse"]

    assert off.fit is Fit.LOOK
    assert "gap 1" in off.says
    assert "short for Onyx" in off.says
    assert "guide rails" in off.cure
    assert good.fit is Fit.FITS
    assert (never.fit, never.firm) == (Fit.DOES_NOT, True)


def test_the_worst_comes_first() -> None:
    row = fit_row(DOUBLE, [HORSE], S)
    verdicts = judge_fit(DOUBLE, row, limits=[Limit("Mira", 30)])

    assert verdicts[0].fit is Fit.DOES_NOT


def test_an_exercise_reads_back_as_it_was_written() -> None:
    one = spec(
        x(),
        x("measure", gap_cm=620),
        end=[x(of=0), x("bounce", after=1)],
        faults=["flat"],
        both_ways=True,
    )

    assert read_spec(spec_as_data(one)) == one
    assert one.highest_cm == 40
    assert one.fences == 2


@pytest.mark.parametrize(
    ("broken", "place", "says"),
    [
        (
            data(x(), x("measure", gap_cm=0)),
            "elements[1].gap_cm",
            "greater than or equal to 50",
        ),
        (
            data(x(), x("measure", gap_cm=4000)),
            "elements[1].gap_cm",
            "less than or equal to 3500",
        ),
        (data(x(height_cm=180)), "elements[0].height_cm", "less than or equal to 160"),
        (data(*[x()] + [x("bounce")] * 14), "elements", "at most 14"),
        (data(x(kind="wall")), "elements[0].kind", "should be"),
        (data(x(height_cm="high")), "elements[0].height_cm", "valid integer"),
        (data(x(kind="pole")), "elements[0]", "a pole lies flat"),
        (data(x(), x("measure")), "elements[1]", "gap_cm goes with"),
        (data(x("bounce")), "", "elements[0].gap: the first element has no gap"),
        (data(x(), x()), "", "elements[1].gap: is missing"),
        (
            data(x(), {"kind": "plank", "gap": "mid-stride-landing"}),
            "",
            "needs a fence after it",
        ),
        (
            data(x(), x("mid-stride-take-off")),
            "",
            "needs a mid-stride element before it",
        ),
        (data(x(), end=[x(of=3)]), "", "there is no element 3"),
        (data(x(), end=[x()]), "stages[0].changes[0]", "give `of`"),
        (data(x(), end=[x(after=0)]), "stages[0].changes[0]", "needs a gap"),
        (data(x(), end="x"), "end", "not permitted"),
        (data(x(), stages=[stage()]), "stages[0]", "changes something"),
        (data(x(), stages=[stage(out=[2])]), "", "element 2 does not stand"),
        (data(x(), stages=[stage(out=[0])]), "", "nothing would stand"),
        (
            data(x(), stages=[stage(x(of=1, height_cm=50))]),
            "",
            "stages[0].changes[0]: there is no element 1",
        ),
        (data(x(), colour="red"), "colour", "not permitted"),
        (data(x(), slug="No Slug"), "slug", "match pattern"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_an_exercise_that_is_none_names_the_place(
    broken: dict, place: str, says: str
) -> None:
    with pytest.raises(InvalidExercise) as caught:
        read_spec(broken)

    assert caught.value.place == place
    assert says in caught.value.says


@pytest.mark.parametrize(
    ("off_cm", "words"), [(-20, "20 cm short"), (5, "5 cm long"), (0, "to the mark")]
)
def test_how_far_off_is_said_in_words(off_cm: int, words: str) -> None:
    assert HorseGap(HORSE, GapTarget(600, 575, 625, ""), off_cm).words() == words


def test_a_measure_between_fences_is_said_to_ride_as_what_it_lies_nearest_to() -> None:
    """3.5 m is a bounce and 6.2 m one stride (common practice, no source)."""
    row = fit_row(
        spec(x(), x("measure", gap_cm=350), vertical("measure", gap_cm=620)), [HORSE], S
    )

    assert [gap.rides_as for gap in row.gaps] == [Gap.BOUNCE, Gap.ONE_STRIDE]
    assert all(gap.horses == () for gap in row.gaps)


def test_a_measure_beside_a_pole_rides_as_nothing() -> None:
    row = fit_row(spec(pole(), x("measure", gap_cm=270)), [HORSE], S)

    assert (row.gaps[0].rides_as, row.gaps[0].seen) == (None, ())


@pytest.mark.parametrize(("cm", "fit"), [(310, Fit.FITS), (470, Fit.LOOK)])
def test_a_measure_that_suits_no_horse_is_to_be_looked_at(cm: int, fit: Fit) -> None:
    exercise = spec(x(), x("measure", gap_cm=cm))
    verdict = judged(exercise)["measure in gap 1"]

    assert verdict.fit is fit
    assert f"{cm / 100:.2f} m, nearest to" in verdict.says
    assert bool(verdict.cure) is (fit is Fit.LOOK)
