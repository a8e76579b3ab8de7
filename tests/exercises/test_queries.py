"""The library is searched by what an instructor needs."""

import pytest

from exercises.models import Exercise
from exercises.queries import Found, Search, find_exercises, library_exercises
from exercises.services import load_library
from tests.clock import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def every() -> list[Found]:
    load_library(now=NOW)
    return library_exercises()


def slugs(found: list[Found]) -> set[str]:
    return {one.exercise.slug for one in found}


def test_the_library_is_read_in_one_query(django_assert_num_queries) -> None:
    load_library(now=NOW)
    Exercise.objects.create(slug="empty-one", name="Empty")

    with django_assert_num_queries(1):
        every = library_exercises()

    assert "empty-one" not in slugs(every)
    assert len(every) >= 40


def test_an_empty_search_finds_everything_by_name(every: list[Found]) -> None:
    found = find_exercises(every, Search())

    assert found == every
    assert [one.spec.name for one in found] == sorted(one.spec.name for one in found)


@pytest.mark.parametrize(
    ("search", "holds"),
    [
        (Search(fault="refusing"), lambda one: "refusing" in one.spec.faults),
        (Search(level="novice"), lambda one: one.spec.level == "novice"),
        (Search(approach="canter"), lambda one: one.spec.approach == "canter"),
        (Search(both_ways=True), lambda one: one.spec.both_ways),
        (Search(most_fences=0), lambda one: one.spec.fences == 0),
        (Search(most_fences=2), lambda one: one.spec.fences <= 2),
        (Search(line_cm=2500), lambda one: one.room_cm <= 2500),
        (
            Search(text=" Quiet  HANDS "),
            lambda one: "quiet hands" in one.spec.aim.lower(),
        ),
        (
            Search(fault="flat", level="advanced", approach="trot", line_cm=4000),
            lambda one: (
                "flat" in one.spec.faults
                and one.spec.level == "advanced"
                and one.spec.approach == "trot"
                and one.room_cm <= 4000
            ),
        ),
    ],
)
def test_each_condition_keeps_exactly_what_meets_it(
    every: list[Found], search: Search, holds
) -> None:
    found = find_exercises(every, search)

    assert slugs(found) == slugs([one for one in every if holds(one)])
    assert 0 < len(found) < len(every)


def test_the_room_is_that_of_the_longest_stage_with_approach_and_run_out(
    every: list[Found],
) -> None:
    (double,) = [one for one in every if one.exercise.slug == "double-in-canter"]

    last = double.row.end[-1]
    assert double.room_cm == last.landing_cm + 700 + 700
