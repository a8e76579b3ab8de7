"""Horses to riders at one time: as many points as trying every way."""

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from scheduling.finding.horses import assign

ROW = st.lists(st.one_of(st.none(), st.integers(0, 9)), min_size=4, max_size=4)


def total(rows, way) -> int | None:
    points = [row[n] for row, n in zip(rows, way, strict=True)]
    return None if None in points else sum(points)


@given(st.lists(ROW, min_size=1, max_size=4))
def test_nobody_finds_fewer_points(rows: list) -> None:
    ways = [total(rows, way) for way in permutations(range(4), len(rows))]
    able = [one for one in ways if one is not None]

    found = assign(rows)

    assert (None if found is None else total(rows, found)) == min(able, default=None)


def test_more_riders_than_horses_find_none() -> None:
    assert assign([[1], [2]]) is None


def test_nobody_needs_no_horse() -> None:
    assert assign([]) == ()
