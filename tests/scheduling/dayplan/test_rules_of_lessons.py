"""Hard rules of when and where lessons are, each told anew from the contract.

Of each rule two things are tried on random crowded days: the plan found keeps it, as
it is told here and not by the judge; and where the day is made a little stricter, or
the plan a little worse, so that this rule alone is broken, the judge refuses it by
that name.

| rule of the day file | test (`test_` before it) |
|---|---|
| each lesson once | `every_lesson_is_planned_once`, `a_lesson_left_out_is_refused` |
| `not_before`, `not_after` | `every_lesson_starts_within_its_window`, … |
| `start_every_min`, fixed exempt | `every_start_is_on_the_raster_or_fixed`, … |
| `opens`, `closes` | `every_lesson_runs_within_opening_hours`, … |
| `arenas` | `every_lesson_is_in_an_arena_it_allows`, … |
| one lesson to an arena at once | `no_two_lessons_have_one_arena_at_once`, … |
| `people` | `nobody_is_in_two_lessons_at_once`, … |
| `horses`, `rest_min` | `every_horse_rests_between_its_lessons`, … |
| `max_lessons` | `a_horse_has_no_more_lessons_than_it_may`, … |
| `max_minutes` | `a_horse_works_no_longer_than_it_may`, … |

The tests of a refusal stand right after the test that a plan keeps the rule.
"""

from collections import Counter
from itertools import combinations

from hypothesis import assume, given
from hypothesis import strategies as st

from tests.scheduling.dayplan.crowded_days import (
    Data,
    crowded_day,
    elsewhere,
    lessons_of,
    minutes,
    planned_days,
    rules_broken,
    span,
    with_guest,
)
from tests.scheduling.days import ordered
from tests.scheduling.random_days import clock

Planned = tuple[Data, Data]


def in_window(asked: Data, start: int) -> bool:
    return minutes(asked["not_before"]) <= start <= minutes(asked["not_after"])


def on_raster(document: Data, asked: Data, start: int) -> bool:
    fixed = asked["not_before"] == asked["not_after"]
    return fixed or start % document.get("start_every_min", 15) == 0


def at_once(one: tuple[int, int], other: tuple[int, int], rest: int = 0) -> bool:
    return one[0] < other[1] + rest and other[0] < one[1] + rest


@given(planned_days())
def test_every_lesson_is_planned_once(planned: Planned) -> None:
    document, plan = planned

    asked = Counter(one["id"] for one in document["lessons"])
    assert Counter(one["id"] for one in plan["lessons"]) == asked


@given(planned_days())
def test_a_lesson_left_out_is_refused(planned: Planned) -> None:
    document, plan = planned
    del plan["lessons"][0]

    assert rules_broken(document, plan) == {"lessons"}


@given(planned_days())
def test_every_lesson_starts_within_its_window(planned: Planned) -> None:
    for asked, said in lessons_of(*planned):
        assert in_window(asked, minutes(said["start"]))


@given(planned_days(), st.booleans(), st.integers(0, 10))
def test_a_start_out_of_its_window_is_refused(
    planned: Planned, late: bool, which: int
) -> None:
    document, plan = planned
    asked, said = lessons_of(document, plan)[which % len(plan["lessons"])]
    start = minutes(said["start"])
    key, bound = ("not_before", start + 15) if late else ("not_after", start - 15)
    asked["not_before"], asked["not_after"] = clock(start - 30), clock(start + 30)
    asked[key] = clock(bound)
    # Only a start on the raster may lie in a window.
    assume(on_raster(document, asked, start))

    assert not in_window(asked, start)
    assert rules_broken(document, plan) == {"window"}


@given(planned_days())
def test_every_start_is_on_the_raster_or_fixed(planned: Planned) -> None:
    document, _ = planned
    for asked, said in lessons_of(*planned):
        assert on_raster(document, asked, minutes(said["start"]))


@given(planned_days(), st.integers(7, 59))
def test_a_start_off_the_raster_is_refused(planned: Planned, every: int) -> None:
    document, plan = planned
    document["start_every_min"] = every
    assume(
        not all(
            on_raster(document, asked, minutes(said["start"]))
            for asked, said in lessons_of(document, plan)
        )
    )

    assert rules_broken(document, plan) == {"raster"}


@given(planned_days())
def test_every_lesson_runs_within_opening_hours(planned: Planned) -> None:
    document, _ = planned
    for asked, said in lessons_of(*planned):
        begins, ends = span(asked, said)
        assert minutes(document["opens"]) <= begins
        assert ends <= minutes(document["closes"])


@given(planned_days(), st.booleans())
def test_a_lesson_out_of_opening_hours_is_refused(
    planned: Planned, early: bool
) -> None:
    document, plan = planned
    spans = [span(*one) for one in lessons_of(document, plan)]
    if early:
        document["opens"] = clock(min(begins for begins, _ in spans) + 1)
    else:
        document["closes"] = clock(max(ends for _, ends in spans) - 1)

    assert rules_broken(document, plan) == {"opening hours"}


@given(planned_days())
def test_every_lesson_is_in_an_arena_it_allows(planned: Planned) -> None:
    for asked, said in lessons_of(*planned):
        assert said["arena"] in asked["arenas"]


@given(planned_days(), st.integers(0, 10))
def test_an_arena_not_allowed_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    asked, _ = lessons_of(document, plan)[which % len(plan["lessons"])]
    asked["arenas"] = [elsewhere(document)]

    assert rules_broken(document, plan) == {"arena"}


@given(planned_days())
def test_no_two_lessons_have_one_arena_at_once(planned: Planned) -> None:
    for one, other in combinations(lessons_of(*planned), 2):
        if one[1]["arena"] == other[1]["arena"]:
            assert not at_once(span(*one), span(*other))


@given(planned_days(), st.integers(0, 10))
def test_two_lessons_in_one_arena_are_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    asked, said = lessons_of(document, plan)[which % len(plan["lessons"])]
    # In its last minutes before it cools down no reset is made either.
    last = span(asked, said)[1] - asked["cool_down_min"] - 1
    with_guest(document, plan, start=clock(last), arena=said["arena"])

    assert rules_broken(document, plan) == {"one lesson an arena"}


@given(planned_days())
def test_nobody_is_in_two_lessons_at_once(planned: Planned) -> None:
    for one, other in combinations(lessons_of(*planned), 2):
        if set(one[0]["people"]) & set(other[0]["people"]):
            assert not at_once(span(*one), span(*other))


@given(planned_days(), st.integers(0, 10))
def test_a_person_in_two_lessons_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    asked, said = lessons_of(document, plan)[which % len(plan["lessons"])]
    where = elsewhere(document)
    last = clock(span(asked, said)[1] - 1)
    with_guest(document, plan, start=last, arena=where, people=asked["people"])

    assert rules_broken(document, plan) == {"one place a person"}


@given(planned_days())
def test_every_horse_rests_between_its_lessons(planned: Planned) -> None:
    document, _ = planned
    for horse in document["horses"]:
        its = [
            span(*one)
            for one in lessons_of(*planned)
            if horse["id"] in one[0]["horses"]
        ]
        for one, other in combinations(its, 2):
            assert not at_once(one, other, horse["rest_min"])


@given(planned_days(), st.integers(0, 10), st.booleans())
def test_a_horse_without_its_rest_is_refused(
    planned: Planned, which: int, before: bool
) -> None:
    document, plan = planned
    asked, said = lessons_of(document, plan)[which % len(plan["lessons"])]
    rest = next(h["rest_min"] for h in document["horses"] if h["id"] in asked["horses"])
    begins, ends = span(asked, said)
    # A minute less than its rest; without a rest, a minute of both lessons at once.
    start = begins - rest if before else ends + rest - 1
    opens, closes = minutes(document["opens"]), minutes(document["closes"])
    assume(opens <= start < closes)
    where = elsewhere(document)
    with_guest(document, plan, start=clock(start), arena=where, horses=asked["horses"])

    assert rules_broken(document, plan) == {"horse's rest"}


def work(document: Data, horse: Data) -> list[int]:
    return [
        one["minutes"] for one in document["lessons"] if horse["id"] in one["horses"]
    ]


@given(st.integers(0, 100), st.integers(0, 2), st.integers(0, 3))
def test_a_horse_has_no_more_lessons_than_it_may(
    seed: int, which: int, limit: int
) -> None:
    document = crowded_day(seed)
    horse = document["horses"][which]
    horse["max_lessons"] = limit

    plan = ordered(document)

    assert plan["status"] == "impossible" or len(work(document, horse)) <= limit


@given(planned_days(), st.integers(0, 2))
def test_a_horse_with_too_many_lessons_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    horse = document["horses"][which]
    assume(work(document, horse))
    horse["max_lessons"] = len(work(document, horse)) - 1

    assert rules_broken(document, plan) == {"horse's lessons"}


@given(st.integers(0, 100), st.integers(0, 2), st.integers(0, 120))
def test_a_horse_works_no_longer_than_it_may(seed: int, which: int, limit: int) -> None:
    document = crowded_day(seed)
    horse = document["horses"][which]
    horse["max_minutes"] = limit

    plan = ordered(document)

    assert plan["status"] == "impossible" or sum(work(document, horse)) <= limit


@given(planned_days(), st.integers(0, 2))
def test_a_horse_that_works_too_long_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    horse = document["horses"][which]
    assume(work(document, horse))
    horse["max_minutes"] = sum(work(document, horse)) - 1

    assert rules_broken(document, plan) == {"horse's minutes"}
