"""Ways of lessons chosen together, judged by trying everything and by SciPy."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from scheduling.matching.cover import UnableToCover, cover
from scheduling.matching.cover_problem import Cover, Covered, CoverWeights, Teaches, Way
from scheduling.matching.problem import Term

HOUR = 3600
QUARTER = 900


def way(teacher=1, arena=1, start=9 * HOUR, points=0, length=HOUR) -> Way:
    terms = (Term("any", points, "of it"),)
    return Way(teacher, arena, start, start + length, terms)


def lesson(key: int, *ways: Way, **takes: int) -> Covered:
    rests = {int(name[1:]): rest for name, rest in takes.items()}
    return Covered(key, f"Lesson {key}", ways, rests)


def chosen(problem: Cover, **more) -> dict[int, Way | None]:
    return {one.lesson: one.way for one in cover(problem, **more).choices}


def points_of(problem: Cover, ways: list[Way | None]) -> int | None:
    """Reckon by itself what ways cost together; None where they can't be."""
    held = [(one, w) for one, w in zip(problem.lessons, ways, strict=True) if w]
    total = sum(term.points for _, w in held for term in w.terms)
    for n, (one, w) in enumerate(held):
        for other, its in held[n + 1 :]:
            first, second = sorted((w, its), key=lambda x: (x.from_s, x.to_s))
            overlap = second.from_s < first.to_s
            if overlap and (w.teacher == its.teacher or w.arena == its.arena):
                return None
            for key in one.takes.keys() & other.takes.keys():
                rest = max(one.takes[key], other.takes[key])
                if second.from_s < first.to_s + rest:
                    return None
    weights = problem.weights
    for teacher in {w.teacher for _, w in held}:
        stays = [
            (s.from_s, s.to_s, s.arena) for s in problem.stays if s.teacher == teacher
        ]
        whole = stays + [
            (w.from_s, w.to_s, w.arena) for _, w in held if w.teacher == teacher
        ]
        total += extra(whole, weights) - extra(stays, weights)
    return total


def extra(day: list[tuple[int, int, int]], weights: CoverWeights) -> int:
    hurries = 0
    for _, end, arena in day:
        for start, _, other in day:
            if arena != other and end <= start < end + weights.hurry_s:
                hurries += weights.hurry
    taught = sum(end - start for start, end, _ in day)
    over = taught - weights.long_day_s
    tens = -(-over // 600) if over > 0 else 0
    return hurries + tens * weights.per_10_min_over


def best_of_all(problem: Cover) -> tuple[int, int]:
    """Return the fewest lessons cancelled and then the fewest points."""
    found = []
    for ways in product(*[(*one.ways, None) for one in problem.lessons]):
        points = points_of(problem, list(ways))
        if points is not None:
            found.append((ways.count(None), points))
    return min(found)


WAYS = st.builds(
    way,
    teacher=st.integers(1, 3),
    arena=st.integers(1, 2),
    start=st.integers(36, 42).map(lambda n: n * QUARTER),
    points=st.integers(0, 60),
    length=st.sampled_from([2 * QUARTER, 3 * QUARTER, HOUR]),
)
STAYS = st.builds(
    lambda teacher, arena, start: Teaches(teacher, arena, start, start + HOUR),
    st.integers(1, 3),
    st.integers(1, 2),
    st.sampled_from([7 * HOUR, 12 * HOUR, 13 * HOUR]),
)


@st.composite
def covers(draw) -> Cover:
    lessons = []
    for key in range(draw(st.integers(1, 4))):
        ways = draw(
            st.lists(WAYS, max_size=5, unique_by=lambda one: (one.key, one.to_s))
        )
        ways = list({one.key: one for one in ways}.values())
        takes = draw(
            st.dictionaries(st.integers(1, 3), st.sampled_from([0, 1800]), max_size=2)
        )
        lessons.append(Covered(key, f"Lesson {key}", tuple(ways), takes))
    stays = draw(st.lists(STAYS, max_size=3))
    weights = CoverWeights(long_day_s=draw(st.sampled_from([HOUR, 2 * HOUR, 8 * HOUR])))
    return Cover(tuple(lessons), tuple(stays), weights)


@given(covers())
def test_nothing_better_is_found_by_trying_everything(problem: Cover) -> None:
    found = cover(problem)
    ways = [one.way for one in found.choices]

    assert found.proved
    assert points_of(problem, ways) == found.points
    assert (ways.count(None), found.points) == best_of_all(problem)


@given(covers())
def test_the_next_best_is_what_comes_if_one_lesson_alone_changes(
    problem: Cover,
) -> None:
    found = cover(problem)
    ways = [one.way for one in found.choices]
    for n, one in enumerate(found.choices):
        costs = []
        for other in problem.lessons[n].ways:
            if ways[n] is not None and other.key == ways[n].key:
                continue
            points = points_of(problem, [*ways[:n], other, *ways[n + 1 :]])
            if points is not None:
                costs.append(points)
        if one.way is not None:
            assert one.more == (min(costs) - found.points if costs else None)


@given(
    st.lists(
        st.lists(st.integers(0, 99), min_size=4, max_size=4), min_size=4, max_size=4
    )
)
def test_lessons_at_one_time_are_an_assignment(table: list[list[int]]) -> None:
    """Held against scipy.optimize.linear_sum_assignment."""
    lessons = tuple(
        lesson(n, *(way(teacher=t, arena=n, points=cost) for t, cost in enumerate(row)))
        for n, row in enumerate(table)
    )
    rows, columns = linear_sum_assignment(np.array(table))

    assert cover(Cover(lessons)).points == sum(
        table[r][c] for r, c in zip(rows, columns, strict=True)
    )


def test_a_lesson_is_rather_moved_than_cancelled() -> None:
    now, later = way(points=0), way(start=11 * HOUR, points=500)

    found = chosen(Cover((lesson(1, now), lesson(2, now, later))))

    assert found == {1: now, 2: later}


def test_a_lesson_with_no_way_is_cancelled() -> None:
    assert chosen(Cover((lesson(1), lesson(2, way())))) == {1: None, 2: way()}


def test_a_horse_has_its_rest_between_two_lessons_that_are_moved() -> None:
    first = lesson(1, way(teacher=1, arena=1), h7=1800)
    soon, rested = (
        way(teacher=2, arena=2, start=10 * HOUR),
        way(teacher=2, arena=2, start=10 * HOUR + 1800, points=40),
    )

    assert chosen(Cover((first, lesson(2, soon, rested, h7=1800))))[2] == rested


def test_what_is_fixed_stays_and_the_others_make_room() -> None:
    cheap, dear = way(), way(teacher=2, arena=2, points=20)
    problem = Cover((lesson(1, cheap, dear), lesson(2, cheap, dear)))

    assert chosen(problem, fixed={2: dear.key}) == {1: cheap, 2: dear}
    assert chosen(problem, fixed={1: dear.key}) == {1: dear, 2: cheap}
    assert chosen(problem, fixed={1: None}) == {1: None, 2: cheap}


def test_what_is_fixed_and_clashes_is_told_by_name() -> None:
    problem = Cover((lesson(1, way()), lesson(2, way())))

    with pytest.raises(UnableToCover, match="Lesson 1 and Lesson 2 can't both"):
        cover(problem, fixed={1: way().key, 2: way().key})


def test_what_is_fixed_and_gone_is_told() -> None:
    with pytest.raises(UnableToCover, match="Lesson 1 can't be held"):
        cover(Cover((lesson(1, way()),)), fixed={1: (9, 9, 9)})


def test_a_long_day_is_shared() -> None:
    """Two can teach; each already has as much as counts as a day, or an hour less."""
    weights = CoverWeights(long_day_s=3 * HOUR)
    stays = tuple(Teaches(1, 1, n * HOUR, (n + 1) * HOUR) for n in (12, 13, 14))
    busy, free = way(teacher=1), way(teacher=2)

    assert chosen(Cover((lesson(1, busy, free),), stays, weights)) == {1: free}


def test_nobody_hurries_to_another_arena_for_nothing() -> None:
    stays = (Teaches(1, 2, 10 * HOUR, 11 * HOUR),)
    here, there = way(teacher=1, arena=1), way(teacher=1, arena=2, points=1)

    assert chosen(Cover((lesson(1, here, there),), stays)) == {1: there}


def test_two_that_are_fixed_and_apart_both_stay() -> None:
    early, late = way(start=9 * HOUR, points=9), way(start=11 * HOUR, points=9)
    problem = Cover((lesson(1, early, way(2, 2)), lesson(2, late, way(3, 3))))

    assert chosen(problem, fixed={1: early.key, 2: late.key}) == {1: early, 2: late}


def test_without_an_answer_in_time_that_is_said() -> None:
    ways = [way(n, n, points=n) for n in range(6)]
    problem = Cover(tuple(lesson(n, *ways) for n in range(6)))

    with pytest.raises(UnableToCover, match="in the time given"):
        cover(problem, limit=0)
