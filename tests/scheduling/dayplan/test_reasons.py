"""Why a changeover costs what it does: figures held against plans made anew."""

import pytest

from scheduling.dayplan.marginal import fixed_at
from scheduling.dayplan.reasons import Obstacle, Reason, Reasons, Rule
from tests.scheduling.days import arena, cross, day, grid, lesson, ordered, vertical

LOW = grid(cross(), vertical(600))
HIGH = grid(vertical(0, 90), vertical(1050, 100))


def hourly(*lessons: dict, **changes) -> dict:
    return day(*lessons, **{"start_every_min": 60, "closes": "17:00"} | changes)


def why(document: dict, name: str) -> Reason:
    plan = ordered(document, as_booked=True)
    assert plan["status"] == "proved"
    return Reasons(document, plan).of(name)


def reset_s(document: dict, **starts: str) -> int:
    """Reset seconds with lessons at other starts, whatever forbids it."""
    lessons = [
        fixed_at(one, int(starts[one["id"]][:2]) * 60, "hall")
        if one["id"] in starts
        else one
        for one in document["lessons"]
    ]
    lessons = [one | {"people": [], "horses": []} for one in lessons]
    return ordered({**document, "lessons": lessons}, as_booked=True)["reset_s"]


def sandwich(**middle) -> dict:
    """Two like grids with another between them."""
    return hourly(
        lesson("one", "09:00", grid=LOW),
        lesson("two", "11:00", grid=HIGH) | middle,
        lesson("three", "13:00", grid=LOW),
    )


def test_its_figures_are_those_of_the_plan_and_of_the_rows() -> None:
    document = sandwich()

    found = why(document, "two")

    plan = ordered(document, as_booked=True)
    assert found.reset_s == next(
        one["seconds"] for one in plan["resets"] if one["for"] == "two"
    )
    alone = ordered(hourly(lesson("two", "11:00", grid=HIGH)))
    assert found.bare_s == alone["reset_s"]
    assert found.cheapest_after in {"one", "three"}
    assert found.cheapest_s == found.reset_s


def test_a_window_that_stands_in_the_way_is_named_with_what_it_costs() -> None:
    document = sandwich()

    found = why(document, "two").instead

    assert found is not None
    assert Obstacle(Rule.WINDOW, "two") in found.obstacles
    clock = f"{found.start_min // 60:02d}:00"
    assert found.swapped is None
    assert found.saved_s == reset_s(document) - reset_s(document, two=clock)
    assert found.saved_s == max(
        reset_s(document) - reset_s(document, two=f"{hour:02d}:00")
        for hour in (8, 10, 12, 14, 15, 16)
    )


def test_where_only_an_exchange_saves_both_are_named() -> None:
    document = hourly(
        lesson("one", "08:00", grid=LOW),
        lesson("two", "10:00", grid=HIGH),
        lesson("three", "12:00", grid=LOW),
        opens="08:00",
        closes="13:00",
        crew_from="07:00",
    )
    document["lessons"] += [lesson("a", "09:00"), lesson("b", "11:00")]
    document["lessons"][3] |= {"warm_up_min": 0}
    document["lessons"][3]["cool_down_min"] = 60
    document["lessons"][4]["cool_down_min"] = 60

    found = why(document, "two").instead

    assert found is not None
    assert found.swapped in {"one", "three"}
    swapped = {
        "two": {"one": "08:00", "three": "12:00"}[found.swapped],
        found.swapped: "10:00",
    }
    assert found.saved_s == reset_s(document) - reset_s(document, **swapped)
    assert {x.lesson for x in found.obstacles} == {"two", found.swapped}


@pytest.mark.parametrize(
    ("shared", "rule"), [("people", Rule.PERSON), ("horses", Rule.HORSE)]
)
def test_a_shared_person_or_horse_is_named_with_its_lesson(
    shared: str, rule: Rule
) -> None:
    document = hourly(
        lesson("one", "09:00", grid=LOW),
        lesson("two", "11:00", grid=HIGH, not_before="08:00", not_after="16:00")
        | {shared: ["x"]},
        lesson("three", "13:00", grid=LOW),
        *(
            lesson(f"at {hour}", f"{hour:02d}:00", arenas=["ring"])
            | {shared: ["x"], "booked": {"start": f"{hour:02d}:00", "arena": "ring"}}
            for hour in (8, 10, 15, 16)
        ),
        arenas=[arena(), arena("ring", lines=0)],
        horses=[{"id": "x"}],
    )

    found = why(document, "two").instead

    assert found is not None
    assert {x.rule for x in found.obstacles} >= {rule, Rule.MOVES}
    other = next(x.other for x in found.obstacles if x.rule is rule)
    assert other is not None
    assert other.startswith("at ")


def test_an_arena_it_may_not_be_in_is_named() -> None:
    document = hourly(
        lesson("one", "09:00", grid=LOW),
        lesson("two", "11:00", grid=HIGH),
        lesson("three", "12:00", grid=HIGH, arenas=["ring"])
        | {"booked": {"start": "12:00", "arena": "ring"}},
        arenas=[arena(), arena("ring")],
        opens="09:00",
        closes="13:00",
    )

    found = why(document, "two").instead

    assert found is not None
    assert {x.rule for x in found.obstacles} == {
        Rule.ARENA,
        Rule.MOVES,
        Rule.WINDOW,
    } or (Rule.ARENA in {x.rule for x in found.obstacles})


def test_where_nothing_saves_nothing_is_named() -> None:
    found = why(hourly(lesson("one", "11:00", grid=LOW)), "one")

    assert (found.cheapest_s, found.cheapest_after, found.instead) == (None, None, None)


def test_an_exchange_that_the_lengths_forbid_is_not_thought_of() -> None:
    """The long one would end after closing, or ride into the next lesson."""
    document = hourly(
        lesson("long", "09:00", minutes=120, grid=HIGH),
        lesson("short", "12:00", grid=LOW),
        lesson("next", "13:00", cool_down_min=60),
        lesson("last", "14:00", grid=LOW),
        closes="15:00",
        crew_from="07:00",
    )

    found = why(document, "long").instead

    assert found is None or found.swapped not in {"short", "last"}


def test_moving_is_no_obstacle_to_what_was_never_booked() -> None:
    document = sandwich(booked=None)

    plan = ordered(document)
    found = Reasons(document, plan).of("two").instead

    assert found is not None
    assert Rule.MOVES not in {
        one.rule for one in found.obstacles if one.lesson == "two"
    }
