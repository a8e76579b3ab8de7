"""Handling times learned from ticks, judged by yards whose times are known.

The yards are drawn at random; nothing outside the project tells how a yard's times
scatter, so the spreads are those the estimate itself starts from.
"""

from functools import cache

import numpy as np
import pytest
from hypothesis import given

from scheduling.changeover.effort import DEFAULT_HANDLING, handling_from
from scheduling.changeover.learning import Learned, UnableToLearn, learn
from scheduling.changeover.moves import changeover
from scheduling.changeover.stopwatch import IN_ONE_GO_S, Stretch, Tick, stretches
from scheduling.changeover.work import KEYS, Amounts, amounts_of, times_of
from tests.scheduling.changeover.builders import (
    CROSS,
    OXER,
    POLE,
    VERTICAL,
    placed,
    setups,
)
from tests.scheduling.changeover.yards import Yard

SEEDS = range(6)


def steps_of(standing, wanted):
    moves = changeover(standing, wanted, DEFAULT_HANDLING).moves
    return [(move.was, move.now) for move in moves]


def amount(amounts: Amounts, key: str) -> float:
    return float(amounts[KEYS.index(key)])


class TestWork:
    @given(setups(5), setups(5))
    def test_amounts_times_times_are_the_cost(self, standing, wanted) -> None:
        cost = changeover(standing, wanted, DEFAULT_HANDLING).cost_us / 1e6
        start = 60 if cost else 0

        total = amounts_of(steps_of(standing, wanted)) @ times_of(DEFAULT_HANDLING)

        assert total + start == pytest.approx(cost)

    def test_a_cross_taken_away_is_two_of_each_piece_returned(self) -> None:
        gone = amounts_of([(placed(CROSS), None)])

        assert amount(gone, "wing.return_s") == 2
        assert amount(gone, "pole.return_s") == 2
        assert amount(gone, "cup.return_s") == 2
        assert gone.sum() == 6

    def test_a_pole_carried_two_metres_is_two_piece_metres(self) -> None:
        moved = amounts_of([(placed(POLE, 0), placed(POLE, 200))])

        assert amount(moved, "pole.per_m_s") == 2
        assert amount(moved, "pole.lift_s") == 1
        assert amount(moved, "measure_s") == 1

    def test_nothing_to_do_is_nothing(self) -> None:
        assert not amounts_of([(None, None)]).any()


class TestStretches:
    WING = (None, placed(CROSS))
    STAYS = (placed(POLE), placed(POLE))

    def test_each_tick_ends_a_stretch_and_the_last_ends_when_done(self) -> None:
        seen = stretches([Tick(self.WING, 100), Tick(self.WING, 250)], 270, "Ana")

        assert [one.seconds for one in seen] == [100, 170]
        assert [amount(one.amounts, "start_s") for one in seen] == [1, 0]
        assert {one.person for one in seen} == {"Ana"}

    def test_ticks_in_one_go_make_one_stretch(self) -> None:
        seen = stretches([Tick(self.WING, 300 + n) for n in range(4)], 310)

        assert [one.seconds for one in seen] == [310]
        assert amount(seen[0].amounts, "wing.fetch_s") == 8

    def test_ticks_out_of_order_are_put_in_order(self) -> None:
        seen = stretches([Tick(self.WING, 250), Tick(self.WING, 100)], 270)

        assert [one.seconds for one in seen] == [100, 170]

    def test_a_step_that_costs_nothing_counts_with_the_next(self) -> None:
        seen = stretches([Tick(self.STAYS, 50), Tick(self.WING, 200)], 210)

        assert [one.seconds for one in seen] == [210]

    def test_a_changeover_in_which_nothing_is_done_tells_nothing(self) -> None:
        assert stretches([Tick(self.STAYS, 50)], 60) == ()

    def test_a_changeover_done_at_once_tells_nothing(self) -> None:
        assert stretches([Tick(self.WING, 1)], IN_ONE_GO_S - 1) == ()

    def test_no_ticks_tell_nothing(self) -> None:
        assert stretches([], 600) == ()


@cache
def worked(seed: int, changeovers: int) -> tuple[Yard, list[Stretch], Learned]:
    yard = Yard.any(seed)
    seen = yard.work(changeovers)
    return yard, seen, learn(seen, changeovers)


def by_key(learned: Learned) -> dict[str, float]:
    return {one.key: one.seconds for one in learned.times}


def minutes_off(yard: Yard, seen: list[Stretch], learned: Learned) -> float:
    """How far the minutes of an average changeover are off, as a share."""
    usual = np.mean([one.amounts for one in seen], axis=0)
    known = by_key(learned)
    told = usual @ np.array([known.get(key, 0.0) for key in KEYS])
    return abs(float(told / (usual @ yard.usual_times(seen))) - 1)


class TestLearning:
    @pytest.mark.parametrize("seed", SEEDS)
    @pytest.mark.parametrize(
        ("changeovers", "within"), [(10, 0.25), (30, 0.25), (200, 0.10)]
    )
    def test_a_yards_minutes_are_found_through_breaks_and_forgotten_telephones(
        self, seed: int, changeovers: int, within: float
    ) -> None:
        assert minutes_off(*worked(seed, changeovers)) <= within

    @pytest.mark.parametrize(("changeovers", "within"), [(30, 0.25), (200, 0.10)])
    def test_the_times_that_make_up_the_work_are_found(
        self, changeovers: int, within: float
    ) -> None:
        """Of the times that are a twentieth of the work or more, the middle miss."""
        misses = []
        for seed in SEEDS:
            yard, seen, learned = worked(seed, changeovers)
            true = yard.usual_times(seen)
            work = np.sum([one.amounts for one in seen], axis=0) * true
            known = by_key(learned)
            misses += [
                abs(known[key] / true[n] - 1)
                for n, key in enumerate(KEYS)
                if work[n] >= work.sum() / 20
            ]

        assert len(misses) > 20
        assert np.median(misses) <= within

    def test_the_interval_holds_the_truth_about_nine_times_in_ten(self) -> None:
        held = []
        for seed in range(12):
            yard, seen, learned = worked(seed, 30)
            true = dict(zip(KEYS, yard.usual_times(seen), strict=True))
            held += [one.low_s <= true[one.key] <= one.high_s for one in learned.times]

        assert 0.8 <= np.mean(held) <= 0.99

    def test_a_slow_person_is_told_from_a_quick_one(self) -> None:
        yard = Yard.any(3)
        yard.paces = {"Ana": 0.8, "Ben": 1.25}
        persons = learn(yard.work(60), 60).persons

        ratio = persons["Ben"].value / persons["Ana"].value
        assert ratio == pytest.approx(1.25 / 0.8, rel=0.12)
        assert persons["Ana"].high < 1 < persons["Ben"].low

    def test_what_two_need_together_is_found(self) -> None:
        yard = Yard.any(4)
        yard.pair = 0.62
        pair = learn(yard.work(100), 100).pair

        assert pair is not None
        assert pair.low <= 0.62 <= pair.high
        assert pair.value == pytest.approx(0.62, rel=0.1)

    def test_without_pairs_nothing_is_said_of_them(self) -> None:
        seen = [one for one in Yard.any(5).work(20) if not one.pair]

        assert learn(seen, 20).pair is None

    def test_breaks_are_set_aside_and_counted(self) -> None:
        yard = Yard.any(6)
        yard.forgot = yard.breaks = 0.0
        calm = learn(yard.work(40), 40)
        yard.breaks = 0.2
        broken = learn(yard.work(40), 40)

        assert broken.set_aside > calm.set_aside

    def test_what_was_never_seen_follows_the_yards_pace(self) -> None:
        yard = Yard.any(7)
        yard.times = times_of(DEFAULT_HANDLING) * 2
        seen = [one for one in yard.work(60) if not amount(one.amounts, "turn_s")]
        told = {one.key: one for one in learn(seen, 60).times}

        assert told["turn_s"].seen == 0
        assert told["turn_s"].seconds == pytest.approx(16, rel=0.25)
        assert told["turn_s"].high_s - told["turn_s"].low_s > 5

    def test_it_is_a_handling_that_the_day_file_takes(self) -> None:
        learned = learn(Yard.any(8).work(15), 15)
        handling = handling_from(learned.handling())

        assert times_of(handling) == pytest.approx(
            [by_key(learned).get(key, 0.0) for key in KEYS], abs=0.051
        )

    @pytest.mark.parametrize("changeovers", [0, 9])
    def test_too_few_changeovers_tell_nothing_yet(self, changeovers: int) -> None:
        seen = Yard.any(9).work(changeovers)

        with pytest.raises(UnableToLearn, match=f"{changeovers} of at least 10"):
            learn(seen, changeovers)

    def test_the_order_of_the_changeovers_does_not_matter(self) -> None:
        seen = Yard.any(10).work(12)

        assert by_key(learn(seen[::-1], 12)) == pytest.approx(
            by_key(learn(seen, 12)), rel=1e-4
        )


def test_an_oxer_is_four_wings_in_the_amounts() -> None:
    """Piece counts are those of the day file's table."""
    built = amounts_of([(None, placed(OXER, height_cm=50))])

    assert amount(built, "wing.fetch_s") == 4
    assert amount(built, "pole.fetch_s") == 2
    assert amount(built, "cup.fetch_s") == 4


def test_a_height_set_anew_counts_its_cups() -> None:
    changed = amounts_of(
        [(placed(VERTICAL, height_cm=40), placed(VERTICAL, height_cm=50))]
    )

    assert amount(changed, "cup_height_s") == 2
    assert changed.sum() == 2
