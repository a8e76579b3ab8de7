"""The walk of a changeover: held against trying every walk, and replayed."""

from collections import Counter
from itertools import pairwise, permutations, product
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exercises.geometry.elements import Kind, Piece, pieces
from scheduling.changeover import routes
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.loads import Crew, Ground, freight_of, shift_walks
from scheduling.changeover.moves import changeover
from scheduling.changeover.routes import Load, carry_all, shift_all
from scheduling.changeover.walking import Phase, phase_of, walk
from tests.scheduling.changeover.builders import (
    CROSS,
    OXER,
    POLE,
    RAISED,
    TAKE_OFF,
    VERTICAL,
    placed,
    setups,
)

ALONE, PAIR = Crew(), Crew(people=2)
GROUND = Ground()

grounds = st.builds(
    Ground,
    store_at_cm=st.sampled_from([0, 1500, 3000]),
    store_aside_cm=st.sampled_from([300, 1000]),
)
crews = st.builds(
    Crew,
    people=st.sampled_from([1, 2]),
    weights_g=st.sampled_from(
        [
            {Piece.WING: 12_000, Piece.POLE: 12_000},
            {Piece.WING: 8_000, Piece.POLE: 6_000},
            {Piece.WING: 22_000, Piece.POLE: 9_000},
        ]
    ),
)


def steps_of(standing, wanted):
    moves = changeover(standing, wanted, DEFAULT_HANDLING).moves
    return tuple((one.was, one.now) for one in moves)


def least_carrying(loads, most_g, way, end=None):
    """The least way by trying every order of picking up and putting down."""

    def go(at, up, down, walked, best):
        if walked >= best:
            return best
        if all(d == len(load.weights_g) for d, load in zip(down, loads, strict=True)):
            return min(best, walked + (way(at, end) if end is not None else 0))
        hand = sum(
            sum(load.weights_g[d:u]) for load, u, d in zip(loads, up, down, strict=True)
        )
        for n, load in enumerate(loads):
            if up[n] < len(load.weights_g) and hand + load.weights_g[up[n]] <= most_g:
                more = (*up[:n], up[n] + 1, *up[n + 1 :])
                there = walked + way(at, load.origin)
                best = go(load.origin, more, down, there, best)
            if up[n] > down[n]:
                less = (*down[:n], down[n] + 1, *down[n + 1 :])
                best = go(load.to, up, less, walked + way(at, load.to), best)
        return best

    zero = (0,) * len(loads)
    return go(None, zero, zero, 0.0, float("inf"))


spots = st.sampled_from([None, 400, 1000, 2300])


@st.composite
def few_loads(draw):
    found = []
    left = draw(st.integers(1, 4))
    while left:
        origin, to = draw(spots), draw(spots)
        if origin == to:
            to = 3000
        size = draw(st.integers(1, min(2, left)))
        left -= size
        weights = draw(
            st.lists(st.sampled_from([4, 8, 16]), min_size=size, max_size=size)
        )
        found.append(Load(origin, to, tuple(weights)))
    return found


@settings(max_examples=60, deadline=None)
@given(few_loads(), grounds)
def test_no_walk_carries_the_loads_on_a_shorter_way(loads, ground) -> None:
    found = min(one.way_cm for one in carry_all(loads, 16, ground.way).values())

    assert found == pytest.approx(least_carrying(loads, 16, ground.way))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=1, max_size=4),
    grounds,
)
def test_no_order_of_shifts_is_shorter(shifts, ground) -> None:
    begin = {None: 0.0, 20: 15.0}

    found = shift_all(shifts, ground.way, begin)

    for end in {to for _, to in shifts}:
        least = min(
            begin[start]
            + ground.way(start, order[0][0])
            + sum(ground.way(a[1], b[0]) for a, b in pairwise(order))
            for start in begin
            for order in permutations(shifts)
            if order[-1][1] == end
        )
        start, one = found[end]
        assert begin[start] + one.way_cm == pytest.approx(least)


def least_walk(steps, ground, crew) -> float:
    """The whole way by trying every order of everything, told by the rules anew."""

    def way(a, b):
        if a is None or b is None:
            on = b if a is None else a
            aside = ground.store_aside_cm
            return 0.0 if on is None else hypot(on - ground.store_at_cm, aside)
        return abs(a - b)

    freight = freight_of(steps, ground, crew)
    loads = [
        Load(f.origin, f.to, tuple(a.weight_g for a in f.armfuls)) for f in freight
    ]
    shifted = [(was, now) for was, now in steps if phase_of((was, now)) is Phase.SHIFT]
    arcs = [(was.at_cm, now.at_cm) for was, now in shifted]
    full, best = walk(steps, ground, crew), float("inf")
    tape = [0, *sorted(full.measures)] if full.measures else []
    for carried_to in {load.to for load in loads} or {None}:
        # To end elsewhere is longer by the way there, and loses.
        first = least_carrying_to(loads, crew.most_g, way, carried_to)
        for order, builds, heights in product(
            permutations(arcs), permutations(full.builds), permutations(full.heights)
        ):
            cm, at = first, carried_to
            for origin, to in order:
                cm, at = cm + way(at, origin), to
            for spot in [*builds, *tape, *heights, None]:
                cm, at = cm + way(at, spot), spot
            best = min(best, cm)
    # Within a shift: there and back for each armful but the last.
    return best + sum(
        (2 * shift_walks(was, now, crew) - 1) * abs(was.at_cm - now.at_cm)
        for was, now in shifted
    )


def least_carrying_to(loads, most_g, way, end):
    if not loads:
        return 0.0
    if end is None:
        # The store is a spot like any other at which the walk may end.
        def ends_home(a, b):
            return way(None if a == "home" else a, None if b == "home" else b)

        return least_carrying(loads, most_g, ends_home, end="home")
    return least_carrying(loads, most_g, way, end=end)


@settings(max_examples=40, deadline=None)
@given(setups(most=2), setups(most=2), grounds, crews)
def test_the_whole_walk_is_the_shortest_under_its_rules(
    standing, wanted, ground, crew
) -> None:
    steps = steps_of(standing, wanted)
    if sum(len(one.armfuls) for one in freight_of(steps, ground, crew)) > 5:
        return

    found = walk(steps, ground, crew)

    assert found.exact
    assert found.way_cm == pytest.approx(least_walk(steps, ground, crew), abs=1)


def replay(steps, ground, crew, found):
    """Walk it piece by piece; say what lies where in the end."""
    lies: Counter = Counter()
    for was, now in steps:
        before = Counter() if was is None else pieces(was.element)
        after = Counter() if now is None else pieces(now.element)
        for piece, n in (before - after).items():
            lies[was.at_cm, piece] += n
    hand: Counter = Counter()
    for stop in found.carrying.stops:
        for load, k in stop.leaves:
            one = found.freight[load]
            for piece, n in one.armfuls[k].pieces:
                hand[load, k, piece] -= n
                lies[one.to, piece] += n
        for load, k in stop.takes:
            one = found.freight[load]
            assert stop.at == one.origin
            for piece, n in one.armfuls[k].pieces:
                hand[load, k, piece] += n
                if one.origin is not None:
                    assert lies[one.origin, piece] >= n
                    lies[one.origin, piece] -= n
        weight = sum(
            found.freight[load].armfuls[k].weight_g
            for load, k in {(a, b) for (a, b, _), n in hand.items() if n}
        )
        assert weight <= crew.most_g
    assert not any(hand.values())
    return lies


@settings(max_examples=60, deadline=None)
@given(setups(), setups(), grounds, crews)
def test_replayed_nothing_is_left_and_everything_wanted_is_there(
    standing, wanted, ground, crew
) -> None:
    steps = steps_of(standing, wanted)
    found = walk(steps, ground, crew)

    lies = replay(steps, ground, crew, found)

    for was, now in steps:
        before = Counter() if was is None else pieces(was.element)
        after = Counter() if now is None else pieces(now.element)
        for piece, n in (after - before).items():
            lies[now.at_cm, piece] -= n
    assert not {key: n for key, n in lies.items() if n and key[0] is not None}


@settings(max_examples=60, deadline=None)
@given(setups(), setups(), grounds, crews)
def test_the_walk_is_never_longer_than_fence_by_fence(
    standing, wanted, ground, crew
) -> None:
    found = walk(steps_of(standing, wanted), ground, crew)

    assert found.way_cm <= found.naive_cm + 1


@settings(max_examples=60, deadline=None)
@given(setups(), setups(), grounds, crews)
def test_every_step_is_made_once_strips_first_and_what_stays_last(
    standing, wanted, ground, crew
) -> None:
    steps = steps_of(standing, wanted)

    found = walk(steps, ground, crew)

    assert sorted(found.order) == list(range(len(steps)))
    ranks = [list(Phase).index(found.phases[n]) for n in found.order]
    assert ranks == sorted(ranks)


@settings(max_examples=60, deadline=None)
@given(setups(), setups(), grounds, crews)
def test_no_cup_stays_on_a_wing_whose_poles_are_gone(
    standing, wanted, ground, crew
) -> None:
    # Common practice, no source: take a cup off with its pole, and bring it with it.
    for one in freight_of(steps_of(standing, wanted), ground, crew):
        cups = [n for n, a in enumerate(one.armfuls) if dict(a.pieces).get(Piece.CUP)]
        poles = [n for n, a in enumerate(one.armfuls) if dict(a.pieces).get(Piece.POLE)]
        if cups and poles and one.origin is not None:
            assert max(cups) <= min(poles)
        if cups and poles and one.origin is None:
            assert min(cups) >= max(poles)


def test_a_wing_that_is_freed_goes_straight_to_where_it_is_wanted() -> None:
    steps = ((placed(VERTICAL, 2000), None), (None, placed(CROSS, 1800)))

    freight = freight_of(steps, GROUND, ALONE)

    straight = next(one for one in freight if one.to == 1800 and one.origin == 2000)
    assert straight.pieces == {Piece.WING: 2, Piece.POLE: 1, Piece.CUP: 2}
    assert {one.origin for one in freight} == {2000, None}


def test_by_the_store_nothing_goes_straight() -> None:
    steps = ((placed(POLE, 2000), None), (None, placed(POLE, 1800)))

    freight = freight_of(steps, GROUND, ALONE, by_store=True)

    assert [(one.origin, one.to) for one in freight] == [(2000, None), (None, 1800)]


def test_on_the_way_out_what_is_to_be_built_is_carried_along() -> None:
    """Beside the trade's rule that the way back is walked loaded (no source)."""
    steps = ((placed(POLE, 2000), None), (None, placed(RAISED, 1800)))
    light = Crew(weights_g={Piece.POLE: 12_000, Piece.BLOCK: 12_000})

    found = walk(steps, GROUND, light)

    # Two blocks out and nothing back by the store: the pole goes from fence to fence.
    assert found.way_cm < found.naive_cm


@pytest.mark.parametrize(
    ("grams", "expected"), [(5_000, 1), (12_000, 2), (16_000, 2), (16_001, 3)]
)
def test_a_piece_is_for_one_hand_for_one_person_or_for_two(grams, expected) -> None:
    assert Crew(weights_g={Piece.WING: grams}).weight_class(Piece.WING) == expected


def test_two_carry_a_heavy_wing_and_nothing_else_with_it() -> None:
    # "Two people a wing": common practice, no source.
    heavy = Crew(people=2, weights_g={Piece.WING: 24_000})

    (one,) = freight_of(((None, placed(CROSS, 500)),), GROUND, heavy)

    assert [dict(a.pieces) for a in one.armfuls][:2] == [{Piece.WING: 1}] * 2
    assert all(a.weight_g <= heavy.most_g for a in one.armfuls)


@pytest.mark.parametrize(
    ("was", "now", "phase"),
    [
        (None, placed(POLE), Phase.BUILD),
        (placed(POLE), None, Phase.STRIP),
        (placed(POLE), placed(POLE, 5), Phase.SHIFT),
        (placed(OXER), placed(OXER, spread_cm=90), Phase.SHIFT),
        (placed(CROSS), placed(VERTICAL), Phase.BUILD),
        (placed(VERTICAL), placed(VERTICAL, height_cm=50), Phase.HEIGHT),
        (placed(VERTICAL), placed(VERTICAL, height_cm=80), Phase.BUILD),
        (placed(POLE), placed(POLE), Phase.KEEP),
    ],
)
def test_each_step_stands_under_its_heading(was, now, phase) -> None:
    assert phase_of((was, now)) is phase


def test_the_tape_is_read_up_the_line_and_heights_come_after() -> None:
    steps = tuple((None, placed(VERTICAL, at)) for at in (500, 1100, 1700))

    found = walk(steps, GROUND, PAIR)

    assert found.measures == (500, 1100, 1700)
    assert found.heights == (1700, 1100, 500)


def test_turning_an_ascending_oxer_sets_its_heights() -> None:
    was = placed(OXER, 500, "up", ascending=True)
    now = placed(OXER, 500, "down", ascending=True)

    assert walk(((was, now),), GROUND, ALONE).heights == (500,)


def test_a_line_left_as_it_is_is_not_walked() -> None:
    one = placed(CROSS, 500)

    found = walk(((one, one),), GROUND, ALONE)

    assert (found.way_cm, found.naive_cm) == (0, 0)


def test_a_long_list_is_walked_well_if_not_exactly(monkeypatch) -> None:
    monkeypatch.setattr(routes, "MOST_STATES", 3)
    monkeypatch.setattr(routes, "MOST_SHIFTS", 1)
    shifted = tuple(
        (placed(POLE, at), placed(POLE, at + 10)) for at in (2000, 2500, 2900)
    )
    steps = (
        (placed(VERTICAL, 500), None),
        (placed(OXER, 900), None),
        *shifted,
        (None, placed(RAISED, 3300)),
    )
    ground = Ground(store_at_cm=17)

    found = walk(steps, ground, ALONE)

    assert not found.exact
    replay(steps, ground, ALONE, found)
    assert set(found.order[:2]) == {0, 1}


def test_a_plank_in_the_place_of_a_pole_keeps_no_piece() -> None:
    step = (placed(POLE, 500), placed(Kind.PLANK, 600))

    found = walk((step,), GROUND, ALONE)

    assert found.shifts == (0,)
    assert {(one.origin, one.to) for one in found.freight} == {(500, None), (None, 600)}


def test_a_fence_without_a_side_stays_though_it_is_ridden_the_other_way() -> None:
    plain = (placed(VERTICAL, 770, "up"), placed(VERTICAL, 770, "down"))
    sided = tuple(
        placed(VERTICAL, 770, faces, ground_line=TAKE_OFF) for faces in ("up", "down")
    )

    assert phase_of(plain) is Phase.KEEP
    assert phase_of(sided) is Phase.HEIGHT
    assert walk((plain,), GROUND, ALONE).heights == ()
