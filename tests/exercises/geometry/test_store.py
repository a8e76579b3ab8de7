"""What an arena has of its own, what it lacks, and from where that is fetched."""

from collections import Counter
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Element, Kind, Piece
from exercises.geometry.fit import Fit
from exercises.geometry.store import (
    Kept,
    Store,
    Use,
    is_of_store,
    lacks,
    most_needed,
    own_of,
    store_verdicts,
)

CUP = Piece.CUP
TWO, HALL = "Arena two", "Hall"


def cups(place: str, working: int, broken: int = 0, arena: str = "") -> Kept:
    return Kept(CUP, place, working, broken, arena)


def said(needed: int, *kept: Kept, arena: str = TWO) -> list[str]:
    return [one.says for one in lacks({CUP: needed}, Store(kept, arena))]


def test_what_an_arena_lacks_is_said_by_number_and_from_where() -> None:
    hall = cups("Hall", 20, arena=HALL)

    assert said(6, cups("Arena two", 4, arena=TWO), hall) == [
        "Arena two's cups: 4 work, this grid needs 6: fetch 2 from Hall."
    ]
    assert said(6, cups("Arena two", 4, 6, arena=TWO), hall) == [
        "Arena two's cups: 4 work (6 of 10 are broken), this grid needs 6: "
        "fetch 2 from Hall."
    ]
    assert said(4, cups("Arena two", 4, arena=TWO), hall) == []


def test_what_is_the_whole_yards_is_fetched_first_then_where_most_is() -> None:
    says = said(
        12,
        cups("Box", 1, 1, arena=TWO),
        cups("Pail", 30, arena=HALL),
        cups("Barn", 3),
        cups("Field", 2, arena="Field"),
    )

    assert says == [
        "Arena two's cups: 1 works (1 of 2 is broken), this grid needs 12: "
        "fetch 3 from Barn and 8 from Pail (Hall)."
    ]


def test_an_arena_without_any_is_served_by_the_whole_yard_without_a_word() -> None:
    assert said(6, cups("Barn", 10), cups("Hall", 10, arena=HALL)) == []
    assert said(6, cups("Hall", 10, arena=HALL)) == [
        "Arena two has no cups of its own: fetch 6 from Hall."
    ]
    assert said(6, cups("Barn", 4), cups("Hall", 10, arena=HALL)) == [
        "Barn's cups: 4 work, this grid needs 6: fetch 2 from Hall."
    ]


def test_only_what_the_whole_yard_lacks_does_not_fit() -> None:
    cross = Element(Kind.CROSS, 0, height_cm=50)
    stages = [[cross], [cross, Element(Kind.VERTICAL, 600, height_cm=80)]]

    (fetch,) = store_verdicts(
        stages, Store((cups("Two", 4, arena=TWO), cups("Hall", 2, arena=HALL)), TWO)
    )
    (short,) = store_verdicts(
        stages, Store((cups("Two", 4, 3, arena=TWO), cups("Hall", 1, arena=HALL)), TWO)
    )
    (anywhere,) = store_verdicts(stages, Store((cups("Two", 6, arena=TWO),)))

    # Two cups a pole in cups, two in all on a cross: widely taught.
    assert (fetch.fit, fetch.firm) == (Fit.LOOK, False)
    assert "this grid needs 6: fetch 2 from Hall" in fetch.says
    assert (short.fit, short.firm) == (Fit.DOES_NOT, True)
    assert "6 cups of 5 (3 of 8 are broken)" in short.says
    assert anywhere.fit is Fit.FITS
    assert all(is_of_store(one.subject) for one in (fetch, short, anywhere))
    assert not is_of_store("line length")


KEPT = st.lists(
    st.builds(
        Kept,
        st.just(CUP),
        st.sampled_from(["a", "b", "c", "d"]),
        st.integers(0, 9),
        st.integers(0, 3),
        st.sampled_from(["", TWO, HALL]),
    ),
    unique_by=lambda one: one.place,
)


@given(KEPT, st.integers(0, 30))
def test_exactly_what_is_short_is_fetched_and_from_where_it_is(kept, needed) -> None:
    found = lacks({CUP: needed}, Store(tuple(kept), TWO))
    own = own_of(kept, TWO, CUP)
    has = sum(one.working for one in own)
    yard = sum(one.working for one in kept)

    assert bool(found) == (has < needed <= yard)
    for lack in found:
        assert has + sum(count for _, count in lack.sources) == needed
        assert all(0 < count <= one.working for one, count in lack.sources)
        assert not {one for one, _ in lack.sources} & set(own)


def hour(at: int) -> datetime:
    return datetime(2027, 3, 6, at, tzinfo=UTC)


def use(begins: int, ends: int, count: int, arena: str = TWO) -> Use:
    return Use(arena, hour(begins), hour(ends), Counter({CUP: count}), f"at {begins}")


@pytest.mark.parametrize(
    ("uses", "count", "when"),
    [
        ([use(9, 10, 6), use(11, 12, 8)], 8, ["at 11"]),
        ([use(9, 10, 6), use(9, 11, 4, HALL), use(10, 11, 5)], 10, ["at 9", "at 9"]),
        ([use(9, 10, 6), use(10, 11, 6)], 6, ["at 9"]),
        ([], 0, []),
    ],
    ids=["the larger", "two arenas at once", "one after the other", "none"],
)
def test_the_most_that_is_needed_at_one_moment(uses, count, when) -> None:
    need = most_needed(uses, CUP)

    assert (need.count, [one.what for one in need.uses]) == (count, when)
