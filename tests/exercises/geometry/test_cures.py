"""What makes a row fit, with its price: brute force is the judge."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.cures import (
    built_for,
    built_like,
    changes_for,
    lowered,
    nearest_inside_cm,
    split_by_size,
    swaps_for,
    unshifted,
)
from exercises.geometry.fitting import fit_row
from exercises.geometry.spec import read_spec
from exercises.geometry.strides import GapTarget, HorseSize, Tradition
from tests.exercises.geometry.specs import data, oxer, pole, spec, vertical, x

S = Tradition.SCHOOLING
PONY, COB, HORSE = (
    HorseSize("Thimble", 118),
    HorseSize("Bracken", 155),
    HorseSize("Onyx", 168),
)
DOUBLE = spec(pole(), x("placing-trot"), vertical("one-stride"))

RIDES = st.lists(
    st.builds(
        HorseSize, st.text("abcdef", min_size=3, max_size=6), st.integers(110, 178)
    ),
    min_size=1,
    max_size=5,
    unique_by=lambda one: one.name,
)


@given(st.integers(100, 1500), st.sampled_from([15, 25]), st.integers(100, 1500))
def test_the_nearest_mark_inside_a_band_is_found(at: int, half: int, cm: int) -> None:
    target = GapTarget(at, at - half, at + half, "")
    built = cm // 5 * 5

    found = nearest_inside_cm(target, built)

    marks = [m for m in range(0, 2000, 5) if target.low_cm <= m <= target.high_cm]
    assert found == min(marks, key=lambda mark: abs(mark - built))


@given(RIDES)
def test_a_change_brings_its_horse_in_and_names_who_is_then_out(ride) -> None:
    row = fit_row(DOUBLE, ride, S)
    for horse in ride:
        changes = changes_for(row, horse.name)
        built = {one.before: one.built_cm for one in changes}
        after = fit_row(DOUBLE, ride, S, built=built)

        for gap in after.gaps:
            its = {one.horse.name: one for one in gap.horses}
            assert its[horse.name].inside
            said = [one for one in changes if one.before == gap.before]
            for change in said:
                assert {one.horse.name for one in change.outside} == {
                    name for name, one in its.items() if not one.inside
                }


def test_a_chosen_distance_tells_what_was_proposed() -> None:
    row = fit_row(DOUBLE, [HORSE], S)
    again = fit_row(DOUBLE, [HORSE], S, built={2: row.gaps[1].built_cm + 20})

    assert row.gaps[1].proposed_cm is None
    assert again.gaps[1].proposed_cm == row.gaps[1].built_cm
    assert again.gaps[1].horses[0].off_cm == row.gaps[1].horses[0].off_cm + 20


@given(RIDES)
def test_no_other_parting_of_the_ride_by_size_leaves_less(ride) -> None:
    split = split_by_size(DOUBLE, ride, S)
    if len(ride) < 2:
        assert split is None
        return

    ordered = sorted(ride, key=lambda one: one.height_cm)
    least = min(
        max(
            fit_row(DOUBLE, ordered[:n], S).worst, fit_row(DOUBLE, ordered[n:], S).worst
        )
        for n in range(1, len(ordered))
    )
    assert split.worst == pytest.approx(least)
    assert split.worst <= fit_row(DOUBLE, ride, S).worst
    assert {*split.short.horses, *split.long.horses} == set(ride)


def test_of_equal_partings_the_more_even_is_taken() -> None:
    ride = [HorseSize(name, 150) for name in "ABCD"]

    split = split_by_size(DOUBLE, ride, S)

    assert (len(split.short.horses), len(split.long.horses)) == (2, 2)


def test_a_row_of_measures_is_not_split() -> None:
    assert split_by_size(spec(x(), x("measure", gap_cm=600)), [PONY, HORSE], S) is None


def test_a_swap_offers_only_who_then_fits_the_best_first() -> None:
    swaps = swaps_for(
        DOUBLE, [PONY, HORSE], "Thimble", [HorseSize("Tiny", 120), COB, HORSE], S
    )

    assert [one.horse.name for one in swaps] == ["Onyx", "Bracken"]
    assert swaps[0].gone == "Thimble"
    assert swaps[0].row.worst <= swaps[1].row.worst <= 1


def test_lowered_nothing_is_higher_and_poles_stay_poles() -> None:
    one = lowered(
        spec(
            pole(),
            vertical("placing-trot", height_cm=90),
            oxer("one-stride"),
            end=[oxer(of=2, height_cm=100)],
        ),
        75,
    )

    assert [e.height_cm for e in one.elements] == [0, 75, 70]
    assert one.stages[0].changes[0].height_cm == 75


def test_built_for_a_horse_its_gaps_lie_in_its_bands_and_keep_their_meaning() -> None:
    row = fit_row(DOUBLE, [PONY, HORSE], S)

    built = fit_row(built_for(DOUBLE, row, "Thimble"), [PONY, HORSE], S)

    its = [one for gap in built.gaps for one in gap.horses if one.horse is PONY]
    assert all(one.inside for one in its)
    assert [gap.gap for gap in built.gaps] == [gap.gap for gap in row.gaps]
    assert [gap.proposed_cm for gap in built.gaps] == [g.built_cm for g in row.gaps]


@pytest.mark.parametrize("step_cm", [0, 15])
def test_built_like_a_part_of_the_ride_its_gaps_are_that_parts(step_cm: int) -> None:
    one = read_spec(
        data(pole(), x("placing-trot"), vertical("one-stride", by_cm=step_cm))
    )
    whole, part = (
        fit_row(unshifted(one), [PONY, HORSE], S),
        fit_row(unshifted(one), [PONY], S),
    )

    built = fit_row(built_like(one, whole, part), [PONY, HORSE], S)

    assert [g.built_cm for g in built.gaps] == [g.built_cm for g in part.gaps]
    assert [g.gap for g in built.gaps] == [g.gap for g in whole.gaps]


def test_a_distance_of_no_horse_is_changed_by_nothing() -> None:
    with pytest.raises(ValueError, match="by_cm changes a distance"):
        spec(x(), x("measure", gap_cm=600, by_cm=15))
