"""The best horses, judged by trying everything and by SciPy's assignment."""

from dataclasses import replace
from threading import Event

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from scheduling.matching.engine import UnableToMatch, match
from scheduling.matching.problem import Held, Liking, Problem
from scheduling.matching.weighing import ruled_out, terms
from tests.scheduling.matching.builders import HOUR, judge, mount, seat

small = st.integers(0, 2)


@st.composite
def mounts(draw, key: int):
    held = []
    if draw(st.booleans()):
        since = draw(st.integers(8, 12)) * HOUR
        held = [Held(since, since + HOUR, "elsewhere", jumping=draw(st.booleans()))]
    return mount(
        key=key,
        weight_kg=draw(st.sampled_from([250, 300, 450, 600])),
        height_cm=draw(st.integers(120, 170)),
        level=draw(small),
        highest_fence_cm=draw(st.sampled_from([40, 80, 110])),
        rest_s=draw(st.sampled_from([0, 1800])),
        max_lessons=draw(st.integers(1, 3)),
        max_s=draw(st.sampled_from([HOUR, 2 * HOUR, 3 * HOUR])),
        yesterday_min=draw(st.sampled_from([0, 60, 150])),
        jumped_yesterday=draw(st.booleans()),
        held=tuple(held),
    )


@st.composite
def seats(draw, key: int, horses: list[int], starts):
    start = draw(starts)
    liking = st.sampled_from(list(Liking))
    return seat(
        key=key,
        from_s=start,
        to_s=start + draw(st.sampled_from([HOUR // 2, HOUR])),
        weight_kg=draw(st.integers(30, 95)),
        height_cm=draw(st.none() | st.integers(120, 190)),
        level=draw(small),
        jumping=draw(st.booleans()),
        highest_fence_cm=draw(st.sampled_from([40, 70, 100])),
        confidence=draw(st.integers(1, 5)),
        rode=draw(st.dictionaries(st.sampled_from(horses), st.booleans())),
        likes=draw(st.dictionaries(st.sampled_from(horses), liking, max_size=2)),
        now=draw(st.none() | st.sampled_from(horses)),
    )


@st.composite
def problems(draw, most: int, starts):
    horses = list(range(101, 101 + draw(st.integers(1, most))))
    count = draw(st.integers(1, most))
    return Problem(
        seats=tuple(draw(seats(key, horses, starts)) for key in range(1, count + 1)),
        mounts=tuple(draw(mounts(key)) for key in horses),
    )


def found(problem: Problem) -> tuple[int, int]:
    result = match(problem)
    assert result.proved
    assert len(result.unseated) == sum(one.mount is None for one in result.given)
    return len(result.unseated), result.points


@given(problems(4, st.just(9 * HOUR)))
def test_a_group_is_the_best_of_all_there_are(problem: Problem) -> None:
    assert found(problem) == judge(problem)


@given(problems(4, st.sampled_from([h * HOUR // 2 for h in range(16, 24)])))
def test_a_day_is_the_best_of_all_there_are(problem: Problem) -> None:
    assert found(problem) == judge(problem)


@given(problems(7, st.just(9 * HOUR)))
def test_a_group_agrees_with_scipys_assignment(problem: Problem) -> None:
    # SciPy's linear_sum_assignment; a horse's own second jumping is added to its
    # column, since one lesson gives each horse once at most.
    alone = 10**6
    rows = []
    for one in problem.seats:
        row = []
        for horse in problem.mounts:
            if ruled_out(one, horse, problem.weights):
                row.append(alone)
                continue
            again = one.jumping and any(held.jumping for held in horse.held)
            points = sum(t.points for t in terms(one, horse, problem.weights))
            row.append(points + again * problem.weights.jumps_again)
        rows.append(row + [alone] * len(problem.seats))
    costs = np.array(rows)
    # Lessons of unequal length all begin at nine: one horse, one seat.
    total = int(costs[linear_sum_assignment(costs)].sum())

    assert found(problem) == divmod(total, alone)


@st.composite
def bound(draw):
    """Draw a day, and what some of its horses may not do together."""
    problem = draw(problems(4, st.sampled_from([h * HOUR // 2 for h in range(16, 24)])))
    if len(problem.seats) < 2:
        return problem, []
    keys = st.sampled_from([one.key for one in problem.seats])
    horses = st.sampled_from([one.key for one in problem.mounts])
    sets = st.frozensets(keys, min_size=2, max_size=min(3, len(problem.seats)))
    return problem, draw(st.lists(st.tuples(horses, sets), max_size=6))


@given(bound())
def test_what_may_not_be_together_is_not_and_nothing_better_is_left_out(asked) -> None:
    problem, forbidden = asked

    def refuses(horse: int, seats: tuple[int, ...]) -> bool:
        return any(horse == one and its <= set(seats) for one, its in forbidden)

    result = match(problem, refuses=refuses)

    assert result.proved
    assert (len(result.unseated), result.points) == judge(problem, refuses)
    assert match(problem, refuses=refuses) == result


def test_a_search_that_is_stopped_keeps_what_may_not_be_together() -> None:
    juniper, stop = mount(), Event()
    stop.set()
    problem = Problem(
        tuple(seat(from_s=h * HOUR, to_s=(h + 1) * HOUR) for h in (9, 11, 13)),
        (juniper,),
    )

    result = match(problem, refuses=lambda _, seats: len(seats) > 1, stop=stop)

    assert [one.mount for one in result.given] == [juniper.key, None, None]
    assert not result.proved


def test_what_is_fixed_and_may_not_be_together_is_refused() -> None:
    juniper = mount()
    seats = tuple(
        seat(from_s=h * HOUR, to_s=(h + 1) * HOUR, fixed=juniper.key) for h in (9, 11)
    )

    with pytest.raises(UnableToMatch, match="over its limit"):
        match(Problem(seats, (juniper,)), refuses=lambda _, its: len(its) > 1)


def test_what_is_fixed_against_a_rule_is_not_given_by_a_search_that_is_stopped() -> (
    None
):
    juniper, stop = mount(), Event()
    stop.set()
    seats = tuple(
        seat(from_s=h * HOUR, to_s=(h + 1) * HOUR, fixed=juniper.key) for h in (9, 11)
    )

    with pytest.raises(UnableToMatch):
        match(
            Problem(seats, (juniper,)), refuses=lambda _, its: len(its) > 1, stop=stop
        )


@given(problems(4, st.sampled_from([h * HOUR // 2 for h in range(16, 24)])))
def test_the_same_question_has_the_same_answer(problem: Problem) -> None:
    assert match(problem) == match(problem)


@given(problems(3, st.sampled_from([h * HOUR // 2 for h in range(16, 22)])))
def test_the_next_best_costs_what_it_says(problem: Problem) -> None:
    result = match(problem)
    for one in result.given:
        if one.next_best is None:
            continue
        barred = tuple(
            replace(x, likes=x.likes | {one.mount: Liking.NEVER})
            if x.key == one.seat
            else x
            for x in problem.seats
        )
        its = next(x for x in problem.seats if x.key == one.seat)
        if Liking.WISH in its.likes.values():
            continue  # what is noted of a horse also counts for the others
        unseated, points = judge(replace(problem, seats=barred))
        assert (unseated, points - result.points) == (len(result.unseated), one.more)


def test_what_is_fixed_stays_and_the_rest_is_best_around_it() -> None:
    strong, small_one = mount(weight_kg=700), mount(weight_kg=400)
    light = seat(weight_kg=35, fixed=strong.key)
    middle = seat(weight_kg=60)

    result = match(Problem((light, middle), (strong, small_one)))

    assert [one.mount for one in result.given] == [strong.key, small_one.key]
    assert result.given[0].next_best is None


def test_a_horse_ruled_out_cannot_be_fixed() -> None:
    pony = mount(name="Pip", weight_kg=200)
    heavy = seat(name="Mo", weight_kg=70, fixed=pony.key)

    with pytest.raises(UnableToMatch, match=r"Pip for Mo: too heavy: 39.0 %"):
        match(Problem((heavy,), (pony,)))


def test_a_horse_unknown_cannot_be_fixed() -> None:
    with pytest.raises(UnableToMatch, match="not known"):
        match(Problem((seat(fixed=7),), (mount(),)))


def test_one_horse_cannot_be_fixed_twice_at_once() -> None:
    horse = mount()
    two = (seat(fixed=horse.key), seat(fixed=horse.key))

    with pytest.raises(UnableToMatch, match="can't be kept together"):
        match(Problem(two, (horse,)))


def test_who_gets_no_horse_is_told_why_of_each() -> None:
    pony, taken = mount(weight_kg=200), mount()
    first, second = seat(), seat(weight_kg=80)
    given = {taken.key: False}

    result = match(
        Problem((replace(first, rode=given, now=taken.key), second), (pony, taken))
    )

    assert result.unseated == {
        second.key: {
            pony.key: "too heavy: 44.0 % with saddle, at most 20 %",
            taken.key: "needed elsewhere",
        }
    }


def test_a_limit_too_short_claims_nothing() -> None:
    horses = tuple(mount(weight_kg=400 + 10 * n) for n in range(12))
    riders = tuple(seat(weight_kg=40 + n, level=n % 3) for n in range(12))

    with pytest.raises(UnableToMatch):
        match(Problem(riders, horses), limit=0.0)


def test_a_second_jumping_lesson_counts_for_the_horse() -> None:
    horse = mount(held=(Held(0, HOUR, "in Early", jumping=True),))

    result = match(Problem((seat(jumping=True),), (horse,)))

    assert result.again == {horse.key: 25}
