"""A day that has begun: what is fixed, what stands, and what each move gains."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.dayplan import replan
from scheduling.dayplan.check import check_plan
from scheduling.dayplan.day import minutes_at
from scheduling.dayplan.document import InvalidDay, read_day
from scheduling.dayplan.marginal import Why, fixed_at
from scheduling.dayplan.replan import SoFar, gains_of, rest_of_day, whole_plan
from tests.scheduling.days import (
    arena,
    cross,
    day,
    grid,
    lesson,
    loose,
    ordered,
    pole,
    vertical,
)
from tests.scheduling.random_days import random_day

LOW = grid(cross(), vertical(600), may_mirror=True)
HIGH = grid(vertical(0, 90), vertical(1050, 100))


def saturday(**changes) -> dict:
    """Three lessons with grids and room to change their order."""
    return day(
        loose("one", "09:00", "15:00", grid=LOW),
        loose("two", "11:00", "15:00", grid=HIGH),
        loose("three", "13:00", "15:00", grid=LOW),
        start_every_min=60,
        **changes,
    )


def as_planned(document: dict, plan: dict) -> dict:
    """The day with its lessons booked where the plan has them."""
    rows = {one["id"]: one for one in plan["lessons"]}
    lessons = [
        one | {"booked": {k: rows[one["id"]][k] for k in ("start", "arena")}}
        for one in document["lessons"]
    ]
    return {**document, "lessons": lessons}


def followed(document: dict | None = None, **so_far) -> tuple[dict, SoFar]:
    document = document or saturday()
    plan = ordered(document)
    now = as_planned(document, plan)
    return now, SoFar(**{"plan": plan, "made_from": document} | so_far)


def by_id(document: dict) -> dict:
    return {one["id"]: one for one in document["lessons"]}


def starts(plan: dict) -> dict[str, int]:
    return {one["id"]: minutes_at(one["start"]) for one in plan["lessons"]}


def test_before_the_day_begins_everything_is_still_free() -> None:
    document, so_far = followed()

    assert rest_of_day(document, so_far) == document


def test_what_has_begun_is_fixed_and_builds_nothing() -> None:
    document, so_far = followed()
    first = min(starts(so_far.plan), key=starts(so_far.plan).get)
    so_far = SoFar(so_far.plan, so_far.made_from, now_min=starts(so_far.plan)[first])

    its = by_id(rest_of_day(document, so_far))[first]

    assert its["grid"] is None
    assert its["not_before"] == its["not_after"] == its["booked"]["start"]
    assert its["arenas"] == ["hall"]


def test_what_is_frozen_keeps_its_start_and_its_place() -> None:
    document, so_far = followed()
    first = min(starts(so_far.plan), key=starts(so_far.plan).get)
    now = starts(so_far.plan)[first] - 30
    so_far = SoFar(so_far.plan, so_far.made_from, now_min=now, freeze_min=60)

    rest = rest_of_day(document, so_far)

    its = by_id(rest)[first]
    planned = by_id(so_far.plan)[first]
    assert its["place"] == {
        key: planned[key] for key in ("line", "offset_cm", "mirrored")
    }
    plan = ordered(rest)
    kept = by_id(plan)[first]
    assert {k: kept[k] for k in planned} == planned


def test_nothing_is_moved_into_the_frozen_hour_or_reset_before_now() -> None:
    document, so_far = followed()
    late = SoFar(so_far.plan, so_far.made_from, now_min=8 * 60, freeze_min=90)

    rest = rest_of_day(document, late)

    assert rest["crew_from"] == "08:00"
    free = [one for one in rest["lessons"] if one["not_before"] != one["not_after"]]
    assert all(minutes_at(one["not_before"]) >= 570 for one in free)


def test_a_reset_under_way_keeps_its_row_and_the_crew() -> None:
    document, so_far = followed()
    last = max(starts(so_far.plan), key=starts(so_far.plan).get)
    so_far = SoFar(
        so_far.plan,
        so_far.made_from,
        now_min=8 * 60,
        done={("line-0", last)},
        busy_until_min=8 * 60 + 20,
    )

    rest = rest_of_day(document, so_far)

    assert rest["crew_from"] == "08:20"
    assert by_id(rest)[last]["place"]["line"] == "line-0"


def test_a_lesson_that_is_to_stay_stays() -> None:
    document, so_far = followed()
    so_far = SoFar(so_far.plan, so_far.made_from, keep={"two"})

    its = by_id(rest_of_day(document, so_far))["two"]

    assert its["not_before"] == its["not_after"]


def test_what_stands_now_is_what_the_new_plan_begins_with() -> None:
    document, so_far = followed()
    now = [pole(500)]
    so_far = SoFar(so_far.plan, so_far.made_from, 480, standing={"line-0": now})

    rest = rest_of_day(document, so_far)

    assert rest["arenas"][0]["lines"][0]["standing"] == now


@pytest.mark.parametrize(
    "change",
    [{"grid": HIGH | {"approach_cm": 10}}, {"grid": None}],
    ids=["other", "none"],
)
def test_another_grid_than_planned_keeps_no_place(change: dict) -> None:
    document, so_far = followed()
    document["lessons"][0] |= change
    so_far = SoFar(so_far.plan, so_far.made_from, keep={"one"})

    assert "place" not in by_id(rest_of_day(document, so_far))["one"]


def test_a_lesson_moved_to_another_arena_by_hand_keeps_no_place() -> None:
    document, so_far = followed(saturday(arenas=[arena(), arena("ring")]))
    document["lessons"][0]["booked"]["arena"] = "ring"
    so_far = SoFar(so_far.plan, so_far.made_from, keep={"one"})

    assert "place" not in by_id(rest_of_day(document, so_far))["one"]


def test_a_late_lesson_and_one_without_a_booking_stay_free() -> None:
    document, so_far = followed()
    new = loose("new", "14:00", "15:00")
    document["lessons"] += [new, loose("open", "14:00", "16:00") | {"booked": None}]
    so_far = SoFar(so_far.plan, so_far.made_from, 480, 60, keep={"new"})

    rest = by_id(rest_of_day(document, so_far))

    assert rest["new"]["not_before"] == rest["new"]["not_after"] == "14:00"
    assert rest["open"]["not_after"] == "16:00"


@given(st.integers(0, 100_000), st.integers(9 * 60, 15 * 60))
def test_the_rest_of_a_day_keeps_every_hard_rule_and_what_has_begun(
    seed: int, now: int
) -> None:
    document = random_day(seed, lessons=5)
    document.pop("stock", None)
    plan = ordered(document)
    if plan["status"] == "impossible":
        return
    booked = as_planned(document, plan)
    so_far = SoFar(plan, document, now_min=now, freeze_min=30)

    rest = rest_of_day(booked, so_far)

    new = ordered(rest)
    assert [one["rule"] for one in new["broken"]] == [
        one.rule for one in check_plan(read_day(rest), new)
    ]
    for name, start in starts(new).items():
        if starts(plan)[name] < now + 30:
            assert start == starts(plan)[name]


def test_the_whole_plan_is_what_was_done_and_then_the_new() -> None:
    document, so_far = followed()
    order = sorted(starts(so_far.plan), key=starts(so_far.plan).get)
    now = starts(so_far.plan)[order[0]] + 5
    done = next(one for one in so_far.plan["resets"] if one["for"] == order[0])
    so_far = SoFar(
        so_far.plan,
        so_far.made_from,
        now_min=now,
        standing={"line-0": [m["now"] for m in done["moves"] if m["now"]]},
        done={("line-0", order[0])},
    )
    rest = ordered(rest_of_day(document, so_far))

    whole = whole_plan(so_far, rest)

    assert whole["reset_s"] == sum(one["seconds"] for one in whole["resets"])
    assert by_id(whole)[order[0]] == by_id(so_far.plan)[order[0]]
    afters = [one["after"] for one in whole["resets"]]
    assert afters[0] is None
    assert None not in afters[1:]
    assert whole["objective_s"] - whole["bound_s"] == (
        rest["objective_s"] - rest["bound_s"]
    )


@pytest.mark.parametrize("possible", [True, False])
def test_where_no_plan_is_found_in_time_everything_stays(
    monkeypatch, possible: bool
) -> None:
    document, so_far = followed()
    out_of_time = {"status": "impossible", "broken": [{"rule": "time"}]}
    real = replan.order_day

    def hurried(rest, *, as_booked=False, **given):
        if as_booked and possible:
            return real(rest, as_booked=True, **given)
        return out_of_time

    monkeypatch.setattr(replan, "order_day", hurried)

    plan = replan.new_plan(document, so_far, seconds=1)

    if possible:
        assert (plan["status"], plan["bound_s"]) == ("stopped", 0)
        assert starts(plan) == starts(so_far.plan)
    else:
        assert plan == out_of_time


def test_of_a_day_not_begun_the_whole_plan_is_the_new_one() -> None:
    document, so_far = followed()
    rest = ordered(document)
    rest["as_booked_reset_s"] = None

    assert whole_plan(so_far, rest) == rest


def test_each_move_gains_what_it_costs_to_take_it_back() -> None:
    document = saturday()
    plan = ordered(document)

    gains = gains_of(document, plan)

    assert {one.lesson for one in gains} == {
        name
        for name, start in starts(plan).items()
        if start != minutes_at(by_id(document)[name]["booked"]["start"])
    }
    for one in gains:
        if one.gain_s is None:
            continue
        rows = by_id(plan)
        lessons = [
            fixed_at(
                x,
                *(
                    one.was
                    if x["id"] == one.lesson
                    else (minutes_at(rows[x["id"]]["start"]), "hall")
                ),
            )
            for x in document["lessons"]
        ]
        back = ordered({**document, "lessons": lessons}, as_booked=True)
        assert one.gain_s == back["reset_s"] - plan["reset_s"]
    assert any(one.gain_s is not None or one.why is Why.ARENA for one in gains)


def gains(*lessons: dict, moved: dict[str, str], **changes) -> dict:
    """Gains of a plan that has the lessons at other starts."""
    document = day(*lessons, start_every_min=60, **changes)
    fixed = [
        fixed_at(one, minutes_at(moved.get(one["id"], one["not_before"])), "hall")
        for one in document["lessons"]
    ]
    plan = ordered({**document, "lessons": fixed}, as_booked=True)
    return {one.lesson: one for one in gains_of(document, plan)}


def test_a_move_that_another_lesson_made_needful_says_whose() -> None:
    found = gains(
        loose("one", "09:00", "15:00"),
        loose("two", "11:00", "15:00"),
        loose("open", "14:00", "15:00") | {"booked": None},
        moved={"one": "11:00", "two": "12:00"},
    )

    assert (found["one"].why, found["one"].lessons) == (None, ())
    assert (found["two"].why, found["two"].lessons) == (Why.ARENA, ("one",))


def test_a_move_without_which_nothing_could_be_built_in_time_says_so() -> None:
    found = gains(
        loose("one", "09:00", "15:00", grid=LOW),
        moved={"one": "10:00"},
        crew_from="09:00",
    )

    assert found["one"].why is Why.RESETS


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ({"line": "line-0", "offset_cm": 30}, "multiple of place_every_cm"),
        ({"line": "line-0", "offset_cm": 50, "mirrored": True}, "may not be mirrored"),
        ({"line": "line-0"}, "is missing"),
    ],
)
def test_a_place_that_is_none_is_refused(place: dict, says: str) -> None:
    with pytest.raises(InvalidDay, match=says):
        read_day(day(lesson("one", grid=HIGH, place=place)))


def test_a_lesson_without_a_grid_has_no_place() -> None:
    with pytest.raises(InvalidDay, match="only a lesson with a grid"):
        read_day(day(lesson("one", place={"line": "line-0", "offset_cm": 50})))


def test_a_row_that_must_stay_at_its_place_stays_there() -> None:
    fixed = {"line": "line-1", "offset_cm": 350, "mirrored": False}
    document = day(lesson("one", grid=LOW, place=fixed), arenas=[arena(lines=2)])

    plan = ordered(document)

    one = plan["lessons"][0]
    assert (one["line"], one["offset_cm"], one["mirrored"]) == ("line-1", 350, False)
    one["offset_cm"] = 400
    broken = check_plan(read_day(document), plan)
    assert "fixed place" in {each.rule for each in broken}


def test_a_place_where_the_row_does_not_fit_leaves_no_plan() -> None:
    fixed = {"line": "line-0", "offset_cm": 3900}

    plan = ordered(day(lesson("one", grid=LOW, place=fixed)))

    assert plan["status"] == "impossible"
