"""The smallest set that can't go together: judged by trying every set."""

from itertools import chain, combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.dayplan import impossible as module
from scheduling.dayplan.impossible import (
    Cure,
    only,
    smallest_conflict,
    with_second_lines,
)
from tests.scheduling.days import (
    arena,
    cross,
    day,
    grid,
    lesson,
    loose,
    ordered,
    vertical,
)
from tests.scheduling.random_days import random_day


def by_every_set(document: dict) -> int | None:
    """Size of the smallest set of lessons of which no day is possible."""
    names = [one["id"] for one in document["lessons"]]
    every = chain.from_iterable(combinations(names, n) for n in range(len(names) + 1))
    never = {
        frozenset(its)
        for its in every
        if ordered(only(document, its))["status"] == "impossible"
    }
    everyone = frozenset(names)
    if everyone not in never:
        return None
    causes = [
        its
        for its in never
        if all(
            its | frozenset(more) in never
            for n in range(len(names) + 1)
            for more in combinations(everyone - its, n)
        )
    ]
    return min(map(len, causes))


def crowded(seed: int) -> dict:
    """A small day with a single arena, at narrow times."""
    document = random_day(seed, lessons=4, lines=1)
    document |= {"place_every_cm": 500, "start_every_min": 60, "crew_from": "09:00"}
    document["arenas"] = document["arenas"][:1]
    for one in document["lessons"]:
        one |= {"arenas": ["a0"], "not_before": "09:00", "not_after": "10:00"}
        one["booked"] = {"start": "09:00", "arena": "a0"}
    return document


@given(st.integers(0, 100_000))
def test_no_smaller_set_is_a_cause(seed: int) -> None:
    document = crowded(seed)

    found = smallest_conflict(document)

    least = by_every_set(document)
    assert (None if found is None else len(found.lessons)) == least
    if found is not None:
        cause = only(document, found.lessons)
        assert ordered(cause)["status"] == "impossible"


def test_a_possible_day_has_no_conflict() -> None:
    assert (
        smallest_conflict(day(lesson("one", "09:00"), lesson("two", "10:00"))) is None
    )


def test_the_two_that_clash_are_named_and_what_frees_them() -> None:
    document = day(
        lesson("one", "09:00", people=["anna"]),
        lesson("two", "09:00", people=["anna"], arenas=["ring"])
        | {"booked": {"start": "09:00", "arena": "ring"}},
        lesson("three", "12:00"),
        arenas=[arena(), arena("ring")],
    )

    found = smallest_conflict(document)

    assert found is not None
    assert found.lessons == ("one", "two")
    assert set(found.cures) == {
        Cure("cancel", "one"),
        Cure("cancel", "two"),
        Cure("window", "one"),
        Cure("window", "two"),
        Cure("people", "one"),
        Cure("people", "two"),
    }


def test_a_row_longer_than_every_line_is_a_conflict_by_itself() -> None:
    document = day(
        lesson("one", "09:00", grid=grid(cross(), vertical(9000))),
        lesson("two", "12:00"),
    )

    found = smallest_conflict(document)

    assert found is not None
    assert found.lessons == ("one",)
    assert found.cures == (Cure("cancel", "one"),)


def test_two_grids_without_a_gap_are_freed_by_a_second_line() -> None:
    document = day(
        lesson("one", "09:00", grid=grid(cross(), vertical(600))),
        lesson("two", "10:00", grid=grid(vertical(0, 90), vertical(1050, 100))),
    )

    found = smallest_conflict(document)

    assert found is not None
    assert Cure("line") in found.cures
    assert Cure("window", "two") in found.cures
    assert Cure("crew") not in found.cures


@pytest.mark.parametrize(
    "limit", [{"max_lessons": 1}, {"max_minutes": 90}, {"max_lessons": 2}]
)
def test_a_horse_with_more_than_its_day_allows(limit: dict) -> None:
    document = day(
        lesson("one", "09:00", horses=["fox"]),
        lesson("two", "12:00", horses=["fox"]),
        horses=[{"id": "fox"} | limit],
    )

    found = smallest_conflict(document)

    if limit == {"max_lessons": 2}:
        assert found is None
    else:
        assert found is not None
        assert Cure("horses", "one") in found.cures


@pytest.mark.parametrize(
    "other",
    [
        loose("two", "12:00", "13:00") | {"booked": None},
        loose("two", "12:00", "13:00")
        | {"booked": {"start": "09:00", "arena": "hall"}},
        lesson("two", "12:00") | {"booked": {"start": "12:00", "arena": "ring"}},
    ],
    ids=["not booked", "outside its window", "outside its arenas"],
)
def test_what_is_not_possible_as_booked_may_be_otherwise(other: dict) -> None:
    document = day(lesson("one", "09:00"), other, arenas=[arena(), arena("ring")])

    assert smallest_conflict(document) is None


def test_what_is_not_proved_impossible_counts_as_possible(monkeypatch) -> None:
    def out_of_time(document, seconds):
        return {"status": "impossible", "broken": [{"rule": "time"}]}

    monkeypatch.setattr(module, "order_day", out_of_time)

    assert smallest_conflict(day(lesson("one"), lesson("two"))) is None


def test_an_arena_with_two_lines_gets_no_third() -> None:
    document = day(arenas=[arena(lines=2), arena("ring")])

    lines = [len(one["lines"]) for one in with_second_lines(document)["arenas"]]

    assert lines == [2, 2]
