"""The order of a day: judged by trying everything, and by every hard rule."""

from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.changeover.places import UnableToPlace
from scheduling.dayplan import order
from scheduling.dayplan.check import check_plan
from scheduling.dayplan.document import read_day
from scheduling.dayplan.order import order_day
from scheduling.dayplan.plan import Outcome, plan_document
from scheduling.solver import search
from scheduling.solver.result import Result, Status
from tests.scheduling.days import (
    arena,
    cross,
    day,
    grid,
    lesson,
    loose,
    ordered,
    oxer,
    pole,
    vertical,
)
from tests.scheduling.exhaustive import least_objective
from tests.scheduling.random_days import clock, random_day


def small_day(seed: int) -> dict:
    """Up to three lessons on coarse rasters, without stock."""
    made = random_day(seed, lessons=3, lines=2)
    made.pop("stock", None)
    made["place_every_cm"] = 500
    made["start_every_min"] = 60
    return made


@pytest.mark.parametrize("seed", range(60))
def test_nothing_tried_needs_less(seed: int) -> None:
    document = small_day(seed)

    plan = ordered(document)

    least = least_objective(document)
    if least is None:
        assert plan["status"] == "impossible"
    else:
        assert (plan["status"], plan["objective_s"]) == ("proved", least)


@given(st.integers(1000, 100_000))
def test_every_plan_keeps_every_hard_rule(seed: int) -> None:
    document = random_day(seed)

    plan = ordered(document)

    broken = check_plan(read_day(document), plan)
    if plan["status"] == "impossible":
        assert plan["broken"]
    else:
        assert broken == []
        assert plan["bound_s"] <= plan["objective_s"]


def yard_day(lessons: int) -> dict:
    """A Saturday of a yard: two arenas, three kinds of row, windows, one person."""
    rows = [
        [cross(), vertical(620), oxer(1250, height_cm=70, ascending=True)],
        [pole(), cross(270), cross(570), vertical(870)],
        [pole(), cross(240), vertical(780, ground_line="take-off")],
        [vertical(), vertical(1040, 80)],
    ]
    made = []
    for n in range(lessons):
        start = 9 * 60 + 45 * (n // 2)
        row = [dict(e) for e in rows[(n * 7) % 4]]
        end = [
            e | {"height_cm": e["height_cm"] + 10} if e.get("height_cm") else e
            for e in row
        ]
        both = n % 3 != 0
        own = ["hall", "ring"][n % 2]
        made.append(
            {
                "id": f"lesson-{n}",
                "minutes": 30,
                "arenas": ["hall", "ring"] if both else [own],
                "not_before": clock(start - 15 * (n % 4)),
                "not_after": clock(start + 90),
                "booked": {
                    "start": f"{start // 60:02d}:{start % 60:02d}",
                    "arena": own,
                },
                "people": [f"teacher-{n % 3}"],
                "horses": [f"horse-{n % 6}"],
                "warm_up_min": 10,
                "grid": grid(
                    *row, end=end, approach_cm=700, runout_cm=700, may_mirror=True
                ),
            }
        )
    return day(
        *made,
        arenas=[arena("hall", length_cm=4000), arena("ring", length_cm=6000)],
        horses=[{"id": f"horse-{k}", "rest_min": 15} for k in range(6)],
        place_every_cm=5,
    )


@pytest.mark.parametrize("lessons", [9, 12])
def test_a_yards_day_in_two_arenas_is_proved(lessons: int) -> None:
    plan = ordered(yard_day(lessons))

    assert plan["status"] == "proved"
    assert plan["reset_s"] < plan["as_booked_reset_s"]


def test_a_proved_day_costs_the_same_by_any_seed() -> None:
    """Two searches race, so of equally good plans either may come first."""
    plans = [ordered(yard_day(6), seed=seed) for seed in (0, 0, 3)]

    assert {plan["status"] for plan in plans} == {"proved"}
    assert len({plan["objective_s"] for plan in plans}) == 1


def test_as_booked_keeps_every_start_and_arena() -> None:
    document = yard_day(6)

    plan = ordered(document, as_booked=True)

    booked = {one["id"]: one["booked"] for one in document["lessons"]}
    assert all(
        (one["start"], one["arena"]) == tuple(booked[one["id"]].values())
        for one in plan["lessons"]
    )
    assert plan["objective_s"] == plan["reset_s"] == plan["as_booked_reset_s"]


def test_a_day_as_booked_that_breaks_a_rule_has_no_figure() -> None:
    booked = {"start": "09:30", "arena": "hall"}
    plan = ordered(
        day(loose("a", "09:00", "12:00"), loose("b", "09:00", "12:00", booked=booked))
    )

    assert plan["status"] == "proved"
    assert plan["as_booked_reset_s"] is None


def test_a_lesson_never_booked_leaves_no_figure_as_booked() -> None:
    assert ordered(day(lesson("a", booked=None)))["as_booked_reset_s"] is None


def test_a_day_without_lessons_needs_nothing() -> None:
    plan = ordered(day())

    assert (plan["status"], plan["objective_s"], plan["resets"]) == ("proved", 0, [])


def test_a_clear_arena_is_stripped_before_and_built_after() -> None:
    plan = ordered(
        day(
            lesson("a", "09:00", grid=grid(cross())),
            lesson("b", "10:15", needs_clear=True),
            lesson("c", "11:30", grid=grid(cross())),
        )
    )

    assert [(r["for"], r["after"], r["seconds"]) for r in plan["resets"]] == [
        ("a", None, 260),
        ("b", "a", 176),
        ("c", "a", 260),
    ]


def test_a_reset_is_made_in_an_earlier_gap_where_the_last_is_too_short() -> None:
    plan = ordered(
        day(
            lesson("a", "09:00", grid=grid(cross())),
            lesson("flat", "10:30"),
            lesson("b", "11:30", grid=grid(vertical(), oxer(700))),
        )
    )

    reset = plan["resets"][-1]
    assert plan["status"] == "proved"
    assert (reset["from"], reset["to"]) == ("10:00", "10:08")


def test_a_popular_row_is_left_standing_on_a_second_line() -> None:
    tall = grid(vertical(0, 80), oxer(700))
    plan = ordered(
        day(
            lesson("a", "09:00", grid=grid(cross(), cross(350))),
            lesson("b", "10:30", grid=tall),
            lesson("c", "12:00", grid=grid(cross(), cross(350))),
            arenas=[arena(lines=2)],
        )
    )

    lines = {one["id"]: one["line"] for one in plan["lessons"]}
    assert lines["a"] == lines["c"] != lines["b"]
    assert len(plan["resets"]) == 2


def test_pieces_are_freed_by_a_strip_where_the_store_runs_short() -> None:
    ring = {"start": "10:30", "arena": "ring"}
    plan = ordered(
        day(
            lesson("a", "09:00", grid=grid(cross())),
            lesson(
                "b",
                "10:30",
                grid=grid(cross(), oxer(600)),
                arenas=["ring"],
                booked=ring,
            ),
            lesson("c", "12:00", grid=grid(cross())),
            arenas=[arena(), arena("ring")],
            stock={"wing": 6},
        )
    )

    assert plan["status"] == "proved"
    assert [(r["for"], r["arena"]) for r in plan["resets"]] == [
        ("a", "hall"),
        ("b", "hall"),
        ("b", "ring"),
        ("c", "ring"),
        ("c", "hall"),
    ]


@pytest.mark.parametrize(
    ("document", "rule", "lessons"),
    [
        (day(lesson("a"), lesson("b", "09:30")), "one lesson an arena", ["a", "b"]),
        (
            day(lesson("a", grid=grid(cross(), cross(5000)))),
            "row fits",
            ["a"],
        ),
        (
            day(lesson("a", grid=grid(cross(), cross(350))), stock={"wing": 2}),
            "stock",
            [],
        ),
        (day(lesson("a", grid=grid(cross())), crew=0), "crew", ["a"]),
        (
            day(
                lesson("a", horses=["h"]),
                lesson("b", "10:00", horses=["h"]),
                horses=[{"id": "h", "max_lessons": 1}],
            ),
            "horse's lessons",
            ["a", "b"],
        ),
        (
            day(
                lesson("a", horses=["h"]),
                horses=[{"id": "h", "max_minutes": 30}],
            ),
            "horse's minutes",
            ["a"],
        ),
        (day(lesson("a", "17:30")), "opening hours", ["a"]),
        (day(lesson("a", grid=grid(cross())), arenas=[arena(lines=0)]), "line", ["a"]),
        (day(loose("a", "09:01", "09:10", booked=None)), "raster", ["a"]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_day_nobody_could_keep_says_which_rule_and_whose(
    document: dict, rule: str, lessons: list[str]
) -> None:
    plan = ordered(document)

    assert plan["status"] == "impossible"
    named = {one["rule"]: one["lessons"] for one in plan["broken"]}
    assert named[rule] == lessons


def test_progress_is_told() -> None:
    told: list[tuple[int, int]] = []

    ordered(yard_day(4), on_progress=lambda best, bound: told.append((best, bound)))

    assert told
    assert all(bound <= best for best, bound in told)


def test_without_time_for_a_plan_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "solve", lambda *a, **k: Result(Status.UNKNOWN))
    document = day(lesson("a", "09:00"), lesson("b", "09:30"))

    plan = ordered(document)

    assert plan["status"] == "impossible"
    assert plan["broken"][0]["rule"] == "time"


def test_a_best_effort_that_breaks_nothing_is_a_plan(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(search, "solve", lambda *a, **k: Result(Status.UNKNOWN))

    plan = ordered(day(lesson("a", grid=grid(cross()))))

    assert (plan["status"], plan["broken"]) == ("stopped", [])


def test_a_plan_that_fails_its_judge_is_an_error(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        order, "plan_document", lambda outcome: plan_document(outcome) | {"reset_s": 1}
    )

    with pytest.raises(RuntimeError, match="breaks a rule"):
        ordered(day(lesson("a")))


def test_a_search_without_a_plan_has_none_to_write() -> None:
    with pytest.raises(RuntimeError, match="no plan"):
        plan_document(Outcome(None, None, None, 0, None, 0))  # type: ignore[arg-type]


def coupled_day() -> dict:
    """A cross that must lie left, one that may lie anywhere, one that must be right.

    Each reset by itself costs nothing: the middle one could lie as either needs
    it. Together the cross has to cross the line each time.
    """
    left = grid(cross(), approach_cm=300, runout_cm=1700)
    free = grid(cross())
    right = grid(cross(), approach_cm=1700, runout_cm=300)
    grids = [left, free, right, free, left]
    return day(
        *(lesson(f"L{n}", f"{8 + 2 * n:02d}:00", grid=g) for n, g in enumerate(grids)),
        arenas=[arena(length_cm=2000)],
        place_every_cm=100,
    )


def test_places_that_depend_on_each_other_are_proved_exactly() -> None:
    document = coupled_day()

    plan = ordered(document)

    assert plan["status"] == "proved"
    assert plan["objective_s"] == least_objective(document)
    assert plan["objective_s"] > 260


def test_places_before_and_after_a_clearing_do_not_depend_on_each_other() -> None:
    document = coupled_day()
    for n, one in enumerate(document["lessons"]):
        one["not_before"] = one["not_after"] = one["booked"]["start"] = (
            f"{8 + n:02d}:30"
        )
        one["minutes"] = 30
    document["lessons"].append(lesson("clear", "14:00", needs_clear=True))
    document["lessons"].append(lesson("last", "16:00", grid=grid(cross())))

    plan = ordered(document)

    assert plan["status"] == "proved"
    assert plan["resets"][-2]["for"] == "clear"
    assert plan["resets"][-1]["seconds"] == 260


def test_a_search_ends_when_its_time_is_over() -> None:
    ticks = count(0, 100)

    plan = order_day(coupled_day(), seconds=1, clock=lambda: next(ticks))

    assert plan["status"] == "stopped"
    assert plan["bound_s"] < plan["objective_s"]


def test_the_search_tells_of_what_it_proves_on_the_way() -> None:
    told: list[tuple[int, int]] = []

    ordered(coupled_day(), on_progress=lambda best, bound: told.append((best, bound)))

    assert len(told) >= 2


def test_resets_that_outgrow_their_gaps_are_placed_within_their_minutes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    timed, calls = order._timed, count()
    monkeypatch.setattr(
        order, "_timed", lambda *a: None if next(calls) == 0 else timed(*a)
    )

    plan = ordered(day(lesson("a", grid=grid(cross()), booked=None)))

    assert (plan["status"], plan["objective_s"]) == ("proved", 260)


@pytest.mark.parametrize("within", [True, False], ids=["placed", "not-placed"])
def test_an_order_that_can_be_timed_nowhere_is_no_plan(
    monkeypatch: pytest.MonkeyPatch, within: bool
) -> None:
    monkeypatch.setattr(order, "_timed", lambda *a: None)
    real = order.place_order

    def placing(*a, within_minutes: bool = False):
        if within_minutes and not within:
            raise UnableToPlace("nowhere")
        return real(*a)

    monkeypatch.setattr(order, "place_order", placing)

    plan = ordered(
        day(
            lesson("a", "09:00", grid=grid(cross())), lesson("b", "10:00", booked=None)
        ),
        seconds=1,
    )

    # The best effort keeps every rule here, so it is the plan, unproved.
    assert plan["status"] == "stopped"


def test_a_search_may_begin_at_a_plan_of_another_day() -> None:
    document = yard_day(6)
    before = ordered(document)
    document["lessons"] = [*document["lessons"][1:], lesson("new", "17:00")]

    after = ordered(document, start_from=before)

    assert after["status"] == "proved"
    assert after["objective_s"] == ordered(document)["objective_s"]


def test_a_plan_to_begin_at_may_know_none_of_the_lessons() -> None:
    other = ordered(day(lesson("other", booked=None)))

    assert ordered(day(lesson("a", "09:00", booked=None)), start_from=other)[
        "status"
    ] == ("proved")


def test_a_lesson_a_plan_to_begin_at_does_not_know_is_guessed() -> None:
    before = ordered(day(lesson("a")))
    late = loose("late", "11:00", "11:30", booked=None)
    never = loose("never", "11:01", "11:02", booked=None)

    known = ordered(day(lesson("a"), late), start_from=before)
    unknown = ordered(day(lesson("a"), never), start_from=before)

    assert (known["status"], unknown["status"]) == ("proved", "impossible")


def test_a_plan_says_when_the_fences_of_the_day_as_booked_would_be_changed() -> None:
    document = yard_day(6)

    plan = ordered(document)

    kept = ordered(document, as_booked=True)
    resets = plan["as_booked_resets"]
    assert sum(one["seconds"] for one in resets) == plan["as_booked_reset_s"]
    assert {one["for"] for one in resets} == {one["for"] for one in kept["resets"]}
    assert all("moves" not in one for one in resets)


def test_resets_as_booked_name_the_row_before_over_a_clearing() -> None:
    """The engine is not asked, and says the same: one way only is possible."""
    document = day(
        lesson("a", "09:00", grid=grid(cross())),
        lesson("clear", "10:30", needs_clear=True, grid=None),
        lesson("b", "12:00", grid=grid(vertical())),
        arenas=[arena("hall")],
    )

    resets = ordered(document)["as_booked_resets"]

    kept = ordered(document, as_booked=True)["resets"]
    keys = ("for", "after", "arena", "line", "seconds")
    assert [[one[k] for k in keys] for one in resets] == [
        [one[k] for k in keys] for one in kept
    ]
    assert [(one["for"], one["after"]) for one in resets] == [
        ("a", None),
        ("clear", "a"),
        ("b", "a"),
    ]
