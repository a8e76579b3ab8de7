"""The evening strip: everything off, in time, one after another, never in the dark."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.changeover.effort import DEFAULT_HANDLING, handling_from
from scheduling.changeover.evening import Left, evening_strips, strip_seconds
from scheduling.dayplan.document import placed_from_data
from tests.scheduling.days import cross, oxer, vertical

MIDNIGHT = 24 * 60


def placed(*elements):
    return tuple(placed_from_data(one) for one in elements)


def left(line="line-1", free=1000, dark=MIDNIGHT, elements=None):
    stands = placed(cross(700)) if elements is None else elements
    return Left(line=line, free_min=free, dark_min=dark, elements=stands)


def strips(*lines, busy=(), crew=1):
    return evening_strips(lines, busy, crew, DEFAULT_HANDLING)


def test_a_cross_takes_what_the_days_contract_says():
    # 2 wings at 32 s, 2 poles at 20 s, 2 cups at 6 s to the store, and 60 s to begin:
    # the handling times of the day file's contract.
    assert strip_seconds(placed(cross(700)), DEFAULT_HANDLING) == 60 + 64 + 40 + 12


def test_a_vertical_ten_metres_off_takes_about_the_handbooks_time():
    # About 3 min alone to strip a vertical to an edge 10 m off: the project's
    # handbook, its own estimate. Here with two rails, as from 61 cm on.
    seconds = strip_seconds(placed(vertical(700, 80)), DEFAULT_HANDLING)

    assert seconds == pytest.approx(180, rel=0.1)


def test_a_schools_own_times_count():
    own = handling_from({"wing": {"return_s": 132}})
    usual = strip_seconds(placed(cross(700)), DEFAULT_HANDLING)

    assert strip_seconds(placed(cross(700)), own) == usual + 200


def test_it_begins_when_the_arena_is_free():
    (one,) = strips(left(free=1080))

    assert (one.from_min, one.to_min, one.seconds) == (1080, 1083, 176)


def test_a_bare_line_needs_none():
    assert strips(left(elements=())) == ()


def test_one_person_strips_one_line_after_the_other():
    first, second = strips(left("line-1"), left("line-2"))

    assert (first.line, first.from_min, first.to_min) == ("line-1", 1000, 1003)
    assert (second.line, second.from_min) == ("line-2", 1003)


def test_two_strip_at_once():
    first, second = strips(left("line-1"), left("line-2"), crew=2)

    assert first.from_min == second.from_min == 1000


def test_it_waits_for_who_is_at_other_work():
    (one,) = strips(left(), busy=[(990, 1020)])

    assert one.from_min == 1020


def test_it_fits_before_other_work_only_where_the_time_is_enough():
    (short,) = strips(left(), busy=[(1002, 1020)])
    (enough,) = strips(left(), busy=[(1003, 1020)])

    assert (short.from_min, enough.from_min) == (1020, 1000)


def test_in_the_dark_it_is_left_standing():
    assert strips(left(dark=1002)) == ()
    assert strips(left(dark=1003)) != ()


ELEMENTS = st.lists(
    st.sampled_from([cross(300), vertical(900, 80), oxer(1500)]),
    max_size=3,
    unique_by=str,
)
LEFT = st.builds(
    lambda free, dark, stands: (free, dark, placed(*stands)),
    st.integers(900, 1200),
    st.integers(900, 1440),
    ELEMENTS,
)
BUSY = st.lists(
    st.builds(lambda a, n: (a, a + n), st.integers(880, 1200), st.integers(1, 40)),
    max_size=5,
)


@given(st.lists(LEFT, max_size=5), BUSY, st.integers(1, 3))
def test_whatever_stands_nobody_is_at_two_places_nor_in_the_dark(rows, busy, crew):
    lines = [
        left(f"line-{n}", free, dark, stands)
        for n, (free, dark, stands) in enumerate(rows)
    ]
    # Work of the day never asks for more people than there are.
    busy = [one for n, one in enumerate(busy) if n < crew]

    found = strips(*lines, busy=busy, crew=crew)

    of = {one.line: one for one in lines}
    for one in found:
        assert of[one.line].free_min <= one.from_min
        assert one.to_min <= of[one.line].dark_min
        assert (one.to_min - one.from_min) * 60 >= one.seconds
        at_work = [(x.from_min, x.to_min) for x in found] + busy
        begun = sum(a <= one.from_min < b for a, b in at_work)
        assert begun <= crew
    assert len({one.line for one in found}) == len(found)
