"""What one pair costs, against the figures it is drawn from."""

import pytest

from scheduling.matching.problem import Held, Liking, Weights
from scheduling.matching.weighing import carried_share, ruled_out, terms
from tests.scheduling.matching.builders import HOUR, mount, seat

W = Weights()


def points(rider, horse) -> dict[str, int]:
    return {one.name: one.points for one in terms(rider, horse, W)}


@pytest.mark.parametrize(
    ("kg", "allowed"),
    # 20 % of the horse's weight: the limit of a show that enforces it (Great
    # Yorkshire Show, 2018) and the band called a welfare issue by the survey in
    # J. Vet. Behavior 2013; both from the handbook, not read again here.
    [(92, True), (93, False)],
)
def test_a_fifth_of_the_horse_is_the_most_it_carries(kg: int, allowed: bool) -> None:
    assert (ruled_out(seat(weight_kg=kg), mount(weight_kg=500), W) == "") == allowed


def test_the_share_is_rounded_against_the_rider() -> None:
    assert carried_share(seat(weight_kg=60), mount(weight_kg=551), W) == 124


def test_jumping_is_watched_from_an_eighth() -> None:
    rider, horse = {"weight_kg": 62}, mount(weight_kg=500)

    assert points(seat(**rider), horse)["weight"] == 40
    assert points(seat(**rider, jumping=True), horse)["weight"] == 40 + 2 * 15
    assert "over 12.5 %" in terms(seat(**rider, jumping=True), horse, W)[0].says


@pytest.mark.parametrize(
    ("horse", "rider", "cost"),
    [(0, 1, 40), (0, 2, 80), (1, 1, 0), (1, 0, 0), (2, 0, 20)],
)
def test_levels_go_together(horse: int, rider: int, cost: int) -> None:
    assert points(seat(level=rider), mount(level=horse))["level"] == cost


def test_a_horse_should_jump_what_its_rider_does() -> None:
    rider = seat(jumping=True, highest_fence_cm=85)

    assert points(rider, mount(highest_fence_cm=70))["fences"] == 20
    assert "fences" not in points(seat(), mount())


def test_leg_and_barrel_go_together() -> None:
    assert points(seat(height_cm=180), mount(height_cm=145))["height"] == 20
    assert "height" not in points(seat(), mount())


@pytest.mark.parametrize(("rode", "cost"), [(None, 32), (False, 0), (True, 30)])
def test_a_timid_rider_wants_a_horse_they_know(rode: bool | None, cost: int) -> None:
    horse = mount()
    known = {} if rode is None else {horse.key: rode}

    assert points(seat(confidence=1, rode=known), horse)["confidence"] == cost


def test_yesterdays_work_counts() -> None:
    tired = mount(yesterday_min=120, jumped_yesterday=True)

    assert points(seat(), tired)["yesterday"] == 12
    assert points(seat(jumping=True), tired)["yesterday"] == 32


def test_wishes_count_and_never_again_rules_out() -> None:
    a, b, c, d = (mount() for _ in range(4))
    rider = seat(
        likes={a.key: Liking.WISH, b.key: Liking.RATHER_NOT, c.key: Liking.NEVER}
    )

    assert [points(rider, one)["wish"] for one in (a, b, d)] == [0, 40, 25]
    assert ruled_out(rider, c, W).startswith("never again")


def test_another_horse_than_so_far_costs_a_little() -> None:
    a, b = mount(), mount()

    assert points(seat(now=a.key), b)["change"] == 6
    assert "change" not in points(seat(now=a.key), a)


@pytest.mark.parametrize(
    ("rider", "horse", "says"),
    [
        ({"jumping": True, "fence_cm": 90}, {"highest_fence_cm": 80}, "fences: "),
        ({"jumping": True, "grid_level": 2}, {"level": 1}, "level: "),
        ({}, {"held": (Held(9 * HOUR, 10 * HOUR, "in Early"),)}, "in Early"),
        ({}, {"held": (Held(8 * HOUR, 9 * HOUR, "in Early"),)}, "rest: in Early"),
        ({}, {"held": (Held(0, 9 * HOUR, "lame", work=False),)}, ""),
        ({}, {"held": (Held(0, HOUR, "in X"),), "max_lessons": 1}, "limit: has 1"),
        ({}, {"held": (Held(0, HOUR, "in X"),), "max_s": HOUR}, "limit: more than 60"),
        ({"fence_cm": 90}, {"highest_fence_cm": 80}, ""),
    ],
)
def test_what_rules_a_pair_out_is_said(rider: dict, horse: dict, says: str) -> None:
    why = ruled_out(seat(**rider), mount(**horse), W)

    assert why.startswith(says)
    assert bool(why) == bool(says)


def test_a_rule_kept_elsewhere_rules_a_pair_out() -> None:
    horse = mount()

    assert ruled_out(seat(barred={horse.key: "six days running"}), horse, W) == (
        "six days running"
    )
