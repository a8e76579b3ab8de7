"""What a lesson adds in each slot: exactly what a new plan as booked would need."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.dayplan import chains, lines, marginal, timing
from scheduling.dayplan import settled as settled_module
from scheduling.dayplan.document import read_day
from scheduling.dayplan.marginal import Why, fixed_at, marginal_costs, reset_as_booked
from scheduling.dayplan.settled import Known, Settled
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


def open_to_all(document: dict, one: dict) -> dict:
    """The lesson at any time in any arena."""
    return one | {
        "booked": None,
        "not_before": document["opens"],
        "not_after": document["closes"],
        "arenas": [each["id"] for each in document["arenas"]],
    }


def booked_as_planned(seed: int, lines: int) -> dict | None:
    """A random day with its lessons booked where a plan has them."""
    document = random_day(seed, lessons=6, lines=lines)
    if seed % 3:
        document.pop("stock", None)
    document |= {"place_every_cm": 100, "start_every_min": 60}
    plan = ordered(document)
    if plan["status"] == "impossible":
        return None
    where = {one["id"]: one for one in plan["lessons"]}
    for one in document["lessons"]:
        at = where[one["id"]]
        one["booked"] = {"start": at["start"], "arena": at["arena"]}
    return document


@given(st.integers(0, 100_000), st.sampled_from([1, 2]))
def test_every_slot_adds_what_a_new_plan_with_the_lesson_there_needs_more(
    seed: int, lines: int
) -> None:
    document = booked_as_planned(seed, lines)
    if document is None:
        return
    new = open_to_all(document, document["lessons"].pop())

    offers = marginal_costs(document, new)

    base = ordered(document, as_booked=True)
    assert offers.reset_s == base["reset_s"]
    slots = Random(seed).sample(offers.slots, min(3, len(offers.slots)))
    for one in slots:
        fixed = fixed_at(new, one.start_min, one.arena)
        lessons = [*document["lessons"], fixed]
        plan = ordered({**document, "lessons": lessons}, as_booked=True)
        if plan["status"] == "impossible":
            assert one.added_s is None
        else:
            assert one.added_s == plan["reset_s"] - base["reset_s"]


def slots_of(offers) -> dict[str, object]:
    return {f"{one.start_min // 60:02d}": one for one in offers.slots}


def hourly(*lessons: dict, **changes) -> dict:
    return day(*lessons, **{"start_every_min": 60, "place_every_cm": 500} | changes)


def flat(**changes) -> dict:
    return lesson("new", booked=None, not_before="08:00", not_after="18:00") | changes


def test_a_clash_names_its_cause_and_its_lesson() -> None:
    document = hourly(
        lesson("nine", "09:00", people=["anna"]),
        lesson("twelve", "12:00", arenas=["ring"], horses=["fox"])
        | {"booked": {"start": "12:00", "arena": "ring"}},
        arenas=[arena("hall"), arena("ring")],
        horses=[{"id": "fox", "rest_min": 60}],
    )

    offers = marginal_costs(
        document, flat(people=["anna"], horses=["fox"], arenas=["ring", "hall"])
    )

    why = {
        (one.start_min // 60, one.arena): (one.why, one.lessons) for one in offers.slots
    }
    assert why[9, "hall"] == (Why.ARENA, ("nine",))
    assert why[9, "ring"] == (Why.PERSON, ("nine",))
    assert why[13, "hall"] == (Why.HORSE, ("twelve",))
    assert why[14, "hall"] == (None, ())


def test_only_arenas_the_lesson_may_be_in_are_offered() -> None:
    document = hourly(arenas=[arena("hall"), arena("ring")])

    offers = marginal_costs(document, flat())

    assert {one.arena for one in offers.slots} == {"hall"}


@pytest.mark.parametrize("limit", [{"max_lessons": 1}, {"max_minutes": 90}])
def test_a_horse_with_its_day_full_is_offered_nowhere(limit: dict) -> None:
    document = hourly(
        lesson("nine", "09:00", horses=["fox"]), horses=[{"id": "fox"} | limit]
    )

    offers = marginal_costs(document, flat(horses=["fox"]))

    assert {one.why for one in offers.slots} == {Why.HORSE}
    assert offers.slots[0].lessons == ("nine",)


def test_a_grid_without_time_to_build_it_is_not_offered() -> None:
    document = hourly(
        lesson("eight", "08:00"), lesson("ten", "10:00"), crew_from="08:00"
    )

    offers = slots_of(marginal_costs(document, flat(grid=grid(cross(), vertical(600)))))

    assert offers["09"].why is Why.RESETS
    assert offers["13"].added_s is not None


def test_a_like_grid_beside_its_like_adds_less_than_far_from_it() -> None:
    row = grid(cross(), vertical(600))
    document = hourly(
        lesson("nine", "09:00", grid=row),
        lesson("twelve", "12:00", grid=grid(vertical(0, 90), vertical(1050, 100))),
    )

    offers = slots_of(marginal_costs(document, flat(grid=row)))

    assert offers["10"].added_s == 0
    assert offers["14"].added_s > 0


@pytest.mark.parametrize(
    "broken",
    [
        lesson("two", "09:00"),
        lesson("two", "12:00", booked=None),
        loose("two", "12:00", "13:00")
        | {"booked": {"start": "15:00", "arena": "hall"}},
        lesson("two", "10:00", grid=grid(cross())),
    ],
    ids=["clash", "not booked", "outside its window", "no time to build"],
)
def test_a_day_that_is_not_possible_as_booked_offers_nothing(broken: dict) -> None:
    document = hourly(lesson("nine", "09:00"), broken, crew_from="09:30")

    offers = marginal_costs(document, flat())

    assert (offers.reset_s, offers.slots) == (None, ())


def test_a_row_longer_than_every_line_fits_nowhere() -> None:
    offers = marginal_costs(hourly(), flat(grid=grid(cross(), vertical(9000))))

    assert {one.why for one in offers.slots} == {Why.RESETS}


def test_a_clear_arena_costs_what_stripping_it_takes() -> None:
    row = grid(cross(), vertical(600))
    document = hourly(lesson("nine", "09:00", grid=row))

    offers = slots_of(marginal_costs(document, flat(needs_clear=True)))

    plan = ordered(
        {
            **document,
            "lessons": [
                *document["lessons"],
                fixed_at(flat(needs_clear=True), 720, "hall"),
            ],
        },
        as_booked=True,
    )
    assert (
        offers["12"].added_s
        == plan["reset_s"] - marginal_costs(document, flat()).reset_s
    )


def two_lines(**changes) -> dict:
    """Two grids with half an hour between them, on two lines."""
    return hourly(
        lesson("nine", "09:00", grid=grid(cross(), vertical(600))),
        lesson("ten", "10:00", grid=grid(vertical(0, 90), vertical(1050, 100))),
        **{"arenas": [arena(lines=2)]} | changes,
    )


def test_a_row_goes_to_the_line_that_leaves_it_time() -> None:
    document = two_lines()

    found = Settled(read_day(document)).settle({0: (540, 0), 1: (600, 0)})

    plan = ordered(document, as_booked=True)
    assert (found.known, found.reset_s) == (Known.EXACT, plan["reset_s"])
    assert {line for line, _ in found.places.values()} == {0, 1}


def test_where_no_line_leaves_time_the_day_is_impossible() -> None:
    document = two_lines(crew_from="08:55")

    found = Settled(read_day(document)).settle({0: (540, 0), 1: (600, 0)})

    assert found.known is Known.IMPOSSIBLE
    assert ordered(document, as_booked=True)["status"] == "impossible"


def test_too_many_choices_of_lines_are_left_to_the_engine(monkeypatch) -> None:
    monkeypatch.setattr(settled_module, "MOST_CHOICES", 1)
    document = two_lines(crew_from="08:50")

    found = Settled(read_day(document)).settle({0: (540, 0), 1: (600, 0)})

    assert found.known is Known.ASK


def test_the_engine_is_asked_where_the_store_may_run_short() -> None:
    row = grid(cross(), vertical(600))
    document = hourly(
        lesson("nine", "09:00", grid=row), arenas=[arena(lines=2)], stock={"wing": 5}
    )
    asked = []

    def ask(day_file):
        asked.append(day_file)
        return ordered(day_file, as_booked=True)

    offers = marginal_costs(
        document, flat(grid=grid(vertical(0, 90), vertical(1050, 100))), ask=ask
    )

    base = ordered(document, as_booked=True)["reset_s"]
    assert offers.reset_s == base
    for one in offers.slots:
        fixed = fixed_at(
            flat(grid=grid(vertical(0, 90), vertical(1050, 100))),
            one.start_min,
            one.arena,
        )
        plan = ordered(
            {**document, "lessons": [*document["lessons"], fixed]}, as_booked=True
        )
        assert one.added_s == (
            None if plan["status"] == "impossible" else plan["reset_s"] - base
        )


def test_beyond_the_tries_the_engine_is_asked(monkeypatch) -> None:
    monkeypatch.setattr(timing, "MOST_TRIES", 0)
    document = two_lines()

    found = Settled(read_day(document)).settle({0: (540, 0), 1: (600, 0)})

    assert found.known is Known.ASK
    assert found.reset_s <= ordered(document, as_booked=True)["reset_s"]


def test_beyond_the_tries_of_lines_the_engine_is_asked(monkeypatch) -> None:
    monkeypatch.setattr(lines, "MOST_TRIES", 1)

    found = Settled(read_day(two_lines())).settle({0: (540, 0), 1: (600, 0)})

    assert (found.known, found.reset_s) == (Known.ASK, 0)


def test_only_so_many_arrays_are_kept(monkeypatch) -> None:
    monkeypatch.setattr(chains, "MOST_KEPT", 3)

    marginal_costs(two_lines(), flat(grid=grid(cross())))

    assert len(chains._kept) == 3


def test_a_lesson_without_a_row_has_no_place() -> None:
    own = Settled(read_day(hourly(lesson("nine")))).chains

    assert own.runs(0, 0) == ()
    with pytest.raises(ValueError, match="no place"):
        own.from_bare_or_morning(0, None, 0)


def test_a_bare_line_is_cleared_at_no_cost() -> None:
    document = hourly(
        lesson("nine", "09:00", grid=grid(cross())),
        lesson("eleven", "11:00", needs_clear=True),
    )

    offers = slots_of(marginal_costs(document, flat(needs_clear=True)))

    assert offers["12"].added_s == 0


@pytest.mark.parametrize("status", ["impossible", "proved"])
def test_the_engine_is_asked_of_the_day_itself_too(status: str) -> None:
    """Two rows stand at once, and the store has pieces for one."""
    document = two_lines(stock={"wing": 5})
    asked = []

    def ask(day_file):
        asked.append(len(day_file["lessons"]))
        return {"status": status, "reset_s": 900}

    offers = marginal_costs(document, flat(arenas=["hall"]), ask=ask)

    assert asked[0] == 2
    assert offers.reset_s == (900 if status == "proved" else None)


def test_a_clear_arena_between_rows_on_two_lines_is_found_exactly() -> None:
    document = two_lines(stock={"wing": 5, "pole": 9})
    document["lessons"][1] |= fixed_at(document["lessons"][1], 840, "hall")

    offers = slots_of(marginal_costs(document, flat(needs_clear=True)))

    both = [*document["lessons"], fixed_at(flat(needs_clear=True), 660, "hall")]
    plan = ordered({**document, "lessons": both}, as_booked=True)
    base = ordered(document, as_booked=True)
    assert plan["status"] == "proved"
    assert offers["11"].added_s == plan["reset_s"] - base["reset_s"]


def test_unless_told_otherwise_the_engine_itself_is_asked() -> None:
    document = day(
        arenas=[arena()], lessons=[lesson("a", "10:00", grid=grid(cross(0)))]
    )

    asked = marginal.ask_the_engine(document)

    assert asked["reset_s"] == ordered(document, as_booked=True)["reset_s"]


def test_a_row_that_must_stay_has_one_place_on_its_line() -> None:
    place = {"line": "line-0", "offset_cm": 800, "mirrored": False}
    document = day(
        arenas=[arena()],
        lessons=[lesson("a", "10:00", grid=grid(cross(0)), place=place)],
    )

    runs = Settled(read_day(document)).chains.runs(0, 0)

    assert [(one.mirrored, one.first_cm, one.count) for one in runs] == [
        (False, 800, 1)
    ]


@given(st.integers(0, 100_000), st.sampled_from([1, 2]))
def test_the_resets_of_a_day_as_booked_are_those_of_its_plan(
    seed: int, lines: int
) -> None:
    document = booked_as_planned(seed, lines)
    if document is None:
        return
    plan = ordered(document, as_booked=True)

    found = reset_as_booked(document)

    assert found == (None if plan["status"] == "impossible" else plan["reset_s"])


def test_a_day_that_is_booked_twice_over_keeps_no_plan() -> None:
    assert reset_as_booked(day(lesson("a", "09:00"), lesson("b", "09:00"))) is None
