"""What a change saves: the changed day, ordered as any other."""

from threading import Event

import pytest

from scheduling.dayplan.what_if import (
    trials,
    what_if,
    with_gaps,
    with_like_distances,
)
from tests.scheduling.days import arena, cross, day, grid, lesson, ordered, vertical

HIGH = grid(vertical(0, 90), vertical(1050, 100))


def row(gap_cm: int) -> dict:
    return grid(cross(), vertical(gap_cm), end=[cross(), vertical(gap_cm, 80)])


def saturday(**changes) -> dict:
    """Three grids; two of them nearly alike."""
    return day(
        lesson("one", "09:00", grid=row(600)),
        lesson("two", "11:00", grid=row(640)),
        lesson("three", "14:00", grid=HIGH),
        **{"stock": {"wing": 20}} | changes,
    )


BANDS = {"one": [(580, 620)], "two": [(610, 660)], "three": [(1000, 1100)]}


def test_every_change_is_tried_against_the_day_without_it() -> None:
    document = saturday()
    told = []

    found = what_if(document, BANDS, on_progress=lambda *n: told.append(n))

    base = ordered(document)
    assert (found["objective_s"], found["status"]) == (base["objective_s"], "proved")
    answers = {one["name"]: one for one in found["answers"]}
    assert set(answers) == {"crew", "line", "gap", "wings", "distances"}
    for one in trials(document, BANDS):
        plan = ordered(one.document)
        assert answers[one.name]["saved_s"] == base["objective_s"] - plan["objective_s"]
        assert answers[one.name]["proved"]
    assert told == [(n, 6) for n in range(1, 7)]


def test_like_distances_save_the_shifting() -> None:
    changed, names = with_like_distances(saturday(), BANDS)

    gaps = [one["grid"]["start"][1]["at_cm"] for one in changed["lessons"]]
    assert gaps[0] == gaps[1] in range(610, 621)
    assert changed["lessons"][0]["grid"]["end"][1]["at_cm"] == gaps[0]
    assert gaps[2] == 1050
    assert set(names) <= {"one", "two"}
    least = ordered(changed)["objective_s"]
    assert least < ordered(saturday())["objective_s"]


def test_rows_whose_bands_do_not_meet_keep_their_own() -> None:
    bands = BANDS | {"one": [(590, 605)], "two": [(630, 660)]}

    changed, names = with_like_distances(saturday(), bands)

    assert (changed, names) == (saturday(), ())


def test_rows_without_bands_are_left_alone() -> None:
    assert with_like_distances(saturday(), {}) == (saturday(), ())


def test_a_row_without_an_end_of_its_own_is_moved_whole() -> None:
    document = day(
        lesson("one", "09:00", grid=grid(cross(), vertical(600), vertical(1200))),
        lesson("two", "11:00", grid=grid(cross(), vertical(620), vertical(1220))),
    )
    bands = {"one": [(600, 620), (590, 610)], "two": [(620, 640), (590, 610)]}

    changed, names = with_like_distances(document, bands)

    assert names == ("one",)
    at = [one["at_cm"] for one in changed["lessons"][0]["grid"]["start"]]
    assert at == [0, 620, 1220]


def test_a_gap_keeps_the_arena_and_leaves_time_to_reset() -> None:
    one = with_gaps(day(lesson("one", cool_down_min=5)), 10)["lessons"][0]

    assert (one["minutes"], one["cool_down_min"]) == (70, 15)


def test_without_a_count_of_wings_more_of_them_change_nothing() -> None:
    names = {one.name for one in trials(saturday(stock={}), {})}

    assert names == {"crew", "line", "gap"}


def test_a_change_that_makes_the_day_impossible_says_so() -> None:
    document = day(lesson("one", "09:00"), lesson("two", "10:00"), arenas=[arena()])

    answers = {one["name"]: one for one in what_if(document, {})["answers"]}

    assert answers["gap"]["saved_s"] is None
    assert answers["crew"]["saved_s"] == 0


def test_where_the_day_itself_is_impossible_nothing_is_claimed_as_saved() -> None:
    document = day(
        lesson("one", "09:00", grid=row(600)), lesson("two", "10:00", grid=HIGH)
    )

    found = what_if(document, {})

    line = next(one for one in found["answers"] if one["name"] == "line")
    assert found["status"] == "impossible"
    assert (line["saved_s"], line["proved"]) == (None, False)
    assert line["reset_s"] > 0


@pytest.mark.parametrize("after", [0, 2])
def test_stopped_it_returns_what_was_tried(after: int) -> None:
    stop, calls = Event(), []

    def order(document, start_from):
        calls.append(start_from)
        if len(calls) > after:
            stop.set()
        return ordered(document)

    found = what_if(saturday(), {}, order=order, stop=stop)

    assert len(found["answers"]) == after
    assert calls[0] is None
