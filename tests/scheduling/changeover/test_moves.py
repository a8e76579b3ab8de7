"""The cheapest changeover, judged by trying every matching."""

from itertools import permutations

from hypothesis import given

from scheduling.changeover.costs import build_us, pair_cost, strip_us
from scheduling.changeover.effort import DEFAULT_HANDLING
from scheduling.changeover.moves import Do, changeover, strip_all
from tests.scheduling.changeover.builders import CROSS, POLE, VERTICAL, placed, setups

H = DEFAULT_HANDLING


def by_every_matching(standing, wanted) -> int:
    """Least cost over all partial matchings, the start included [µs]."""
    n, m = len(standing), len(wanted)
    best = None
    # Slots: a wanted element goes to a standing one, or to one of m builds.
    for slots in permutations(range(n + m), m):
        used = [s for s in slots if s < n]
        cost = sum(strip_us(standing[i], H) for i in range(n) if i not in used)
        for j, s in enumerate(slots):
            if s < n:
                moved = wanted[j].at_cm - standing[s].at_cm
                cost += pair_cost(standing[s], wanted[j], H).at(moved)
            else:
                cost += build_us(wanted[j], H)
        best = cost if best is None else min(best, cost)
    return best + H.start_us if best else 0


@given(setups(3), setups(3))
def test_no_matching_is_cheaper(standing, wanted) -> None:
    assert changeover(standing, wanted, H).cost_us == by_every_matching(
        standing, wanted
    )


@given(setups(6), setups(6))
def test_the_moves_lead_from_what_stands_to_what_is_wanted(standing, wanted) -> None:
    made = changeover(standing, wanted, H)

    was = [move.was for move in made.moves if move.was]
    now = [move.now for move in made.moves if move.now]
    key = repr
    assert sorted(was, key=key) == sorted(standing, key=key)
    assert sorted(now, key=key) == sorted(wanted, key=key)
    total = sum(move.cost_us for move in made.moves)
    assert made.cost_us == (total + H.start_us if total else 0)


@given(setups(6), setups(6))
def test_strips_come_first_and_each_walk_goes_from_the_datum(standing, wanted) -> None:
    moves = changeover(standing, wanted, H).moves

    kinds = [move.do is Do.STRIP for move in moves]
    assert kinds == sorted(kinds, reverse=True)
    strips = [move.was.at_cm for move in moves if move.do is Do.STRIP]
    others = [move.now.at_cm for move in moves if move.now]
    assert strips == sorted(strips)
    assert others == sorted(others)


@given(setups(6))
def test_what_stands_already_costs_nothing(setup) -> None:
    made = changeover(setup, setup, H)

    assert made.cost_us == 0
    assert {move.do for move in made.moves} <= {Do.KEEP}


def test_an_example_worked_on_paper() -> None:
    """A cross and a vertical stand; the cross goes on a metre, the vertical up.

    Shift the cross: 2 x (12 + 2) + 2 x (8 + 1.6) + 30 = 77.2 s. Raise the
    vertical from 50 to 60 cm: its two cups, 2 x 16 = 32 s. Start: 60 s.
    Together 169.2 s, rounded up to 170.
    """
    standing = (placed(CROSS, 700), placed(VERTICAL, 1300, height_cm=50))
    wanted = (placed(CROSS, 800), placed(VERTICAL, 1300, height_cm=60))

    made = changeover(standing, wanted, H)

    assert made.cost_us == 169_200_000
    assert made.seconds == 170
    assert [move.do for move in made.moves] == [Do.SHIFT, Do.CHANGE]


def test_clearing_a_line_takes_everything_away() -> None:
    made = strip_all((placed(POLE, 100), placed(CROSS, 400)), H)

    assert [move.do for move in made.moves] == [Do.STRIP, Do.STRIP]
    assert made.seconds == 60 + 20 + 116
