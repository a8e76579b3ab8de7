"""Hard rules of where rows lie on lines, each told anew from the contract.

Of each rule two things are tried on random crowded days: the plan found keeps it, as
it is told here and not by the judge; and where the day is made a little stricter, or
the plan a little worse, so that this rule alone is broken, the judge refuses it by
that name.

| rule of the day file | test (`test_` before it) |
|---|---|
| a grid has a line of its arena | `every_row_has_a_line_of_its_arena`, … |
| a lesson without a grid has none | the same, `a_line_without_a_row_is_refused` |
| `place_every_cm` | `every_row_lies_on_the_raster_of_places`, … |
| `approach_cm` of `start` and `end` | `every_row_keeps_its_approach_as_ridden`, … |
| `runout_cm` of `start` and `end` | `every_row_keeps_its_run_out_as_ridden`, … |
| a row grown too long by its `end` | `a_row_that_grows_past_its_line_is_refused` |
| `may_mirror` | `no_row_is_mirrored_that_may_not_be`, … |
| `place` | `every_row_that_stands_stays_where_it_is`, … |

The tests of a refusal stand right after the test that a plan keeps the rule.
"""

from collections.abc import Iterator

from hypothesis import assume, given
from hypothesis import strategies as st

from tests.scheduling.dayplan.crowded_days import (
    Data,
    lessons_of,
    line_lengths,
    planned_days,
    rules_broken,
)

Planned = tuple[Data, Data]


def line_of(one: Data) -> tuple[str, str | None]:
    return one["arena"], one["line"]


def rows_of(document: Data, plan: Data) -> Iterator[tuple[Data, Data]]:
    for asked, said in lessons_of(document, plan):
        if asked.get("grid"):
            yield asked, said


def one_row(document: Data, plan: Data, which: int) -> tuple[Data, Data]:
    rows = list(rows_of(document, plan))
    assume(rows)
    return rows[which % len(rows)]


def ridden_feet(document: Data, asked: Data, said: Data) -> tuple[int, list[int]]:
    """A line's length and each foot on it, from the end the row is ridden from."""
    length = line_lengths(document)[said["arena"], said["line"]]
    grid, offset = asked["grid"], said["offset_cm"]
    row = max(one["at_cm"] + one.get("spread_cm", 0) for one in grid["start"])
    feet = [
        at
        for one in [*grid["start"], *grid.get("end", grid["start"])]
        for at in (one["at_cm"], one["at_cm"] + one.get("spread_cm", 0))
    ]
    # From the far end, the row's end lies as far in as it ends before the line does.
    from_end = length - (offset + row) if said["mirrored"] else offset
    return length, [from_end + foot for foot in feet]


def room(document: Data, asked: Data, said: Data) -> tuple[int, int]:
    """What is free before the first foot and after the last, as ridden [cm]."""
    length, feet = ridden_feet(document, asked, said)
    return min(feet), length - max(feet)


@given(planned_days())
def test_every_row_has_a_line_of_its_arena(planned: Planned) -> None:
    document, _ = planned
    for asked, said in lessons_of(*planned):
        if asked.get("grid"):
            assert (said["arena"], said["line"]) in line_lengths(document)
        else:
            assert said["line"] is None


@given(planned_days(), st.integers(0, 10), st.sampled_from([None, "nowhere"]))
def test_a_row_without_a_line_of_its_arena_is_refused(
    planned: Planned, which: int, line: str | None
) -> None:
    document, plan = planned
    _, said = one_row(document, plan, which)
    said["line"] = line

    assert "line" in rules_broken(document, plan)


@given(planned_days())
def test_a_line_without_a_row_is_refused(planned: Planned) -> None:
    document, plan = planned
    flat = [said for asked, said in lessons_of(document, plan) if not asked.get("grid")]
    assume(flat)
    flat[0]["line"] = "a0-line0"

    assert "line" in rules_broken(document, plan)


@given(planned_days())
def test_every_row_lies_on_the_raster_of_places(planned: Planned) -> None:
    document, _ = planned
    for _, said in rows_of(*planned):
        assert said["offset_cm"] % document["place_every_cm"] == 0


@given(planned_days(), st.integers(11, 997))
def test_a_row_off_the_raster_of_places_is_refused(
    planned: Planned, every: int
) -> None:
    document, plan = planned
    document["place_every_cm"] = every
    for asked, _ in lessons_of(document, plan):
        # A day that says a row must lie off the raster is no day at all.
        asked.pop("place", None)
    assume(any(said["offset_cm"] % every for _, said in rows_of(document, plan)))

    assert rules_broken(document, plan) == {"place"}


@given(planned_days())
def test_every_row_keeps_its_approach_as_ridden(planned: Planned) -> None:
    document, _ = planned
    for asked, said in rows_of(*planned):
        before, _ = room(document, asked, said)
        assert before >= asked["grid"]["approach_cm"]


@given(planned_days(), st.integers(0, 10))
def test_an_approach_too_short_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    asked, said = one_row(document, plan, which)
    before, _ = room(document, asked, said)
    asked["grid"]["approach_cm"] = before
    assert rules_broken(document, plan) == set()
    asked["grid"]["approach_cm"] = before + 1

    assert rules_broken(document, plan) == {"row fits"}


@given(planned_days())
def test_every_row_keeps_its_run_out_as_ridden(planned: Planned) -> None:
    document, _ = planned
    for asked, said in rows_of(*planned):
        _, after = room(document, asked, said)
        assert after >= asked["grid"]["runout_cm"]


@given(planned_days(), st.integers(0, 10))
def test_a_run_out_too_short_is_refused(planned: Planned, which: int) -> None:
    document, plan = planned
    asked, said = one_row(document, plan, which)
    _, after = room(document, asked, said)
    asked["grid"]["runout_cm"] = after
    assert rules_broken(document, plan) == set()
    asked["grid"]["runout_cm"] = after + 1

    assert rules_broken(document, plan) == {"row fits"}


def last_on_their_lines(document: Data, plan: Data) -> list[tuple[Data, Data]]:
    return [
        (asked, said)
        for asked, said in rows_of(document, plan)
        if not any(
            line_of(said) == line_of(other) and said["start"] < other["start"]
            for other in [
                *plan["lessons"],
                *({**one, "start": one["from"]} for one in plan["resets"]),
            ]
        )
    ]


@given(planned_days(), st.integers(0, 10), st.booleans())
def test_a_row_that_grows_past_its_line_is_refused(
    planned: Planned, which: int, behind: bool
) -> None:
    """A pole laid during the lesson, before the row or behind it, counts too."""
    document, plan = planned
    for one in document["lessons"]:
        one["needs_clear"] = False
    # What it leaves is nobody's to change, and the pole is not missing.
    last = last_on_their_lines(document, plan)
    assume(last)
    asked, said = last[which % len(last)]
    document["stock"] = {}
    grid = asked["grid"]
    before, after = room(document, asked, said)
    ends = [one["at_cm"] + one.get("spread_cm", 0) for one in grid["end"]]
    if behind:
        at_cm = max(ends) + after + 1 - grid["runout_cm"]
        grid["end"] = [*grid["end"], {"kind": "pole", "at_cm": at_cm}]
    else:
        at_cm = min(0, *ends) - before - 1 + grid["approach_cm"]
        grid["end"] = [{"kind": "pole", "at_cm": at_cm}, *grid["end"]]

    assert rules_broken(document, plan) == {"row fits"}


@given(planned_days())
def test_no_row_is_mirrored_that_may_not_be(planned: Planned) -> None:
    for asked, said in rows_of(*planned):
        assert asked["grid"]["may_mirror"] or not said["mirrored"]


@given(planned_days())
def test_a_row_mirrored_that_may_not_be_is_refused(planned: Planned) -> None:
    document, plan = planned
    mirrored = [asked for asked, said in rows_of(document, plan) if said["mirrored"]]
    assume(mirrored)
    mirrored[0]["grid"]["may_mirror"] = False
    mirrored[0].pop("place", None)

    assert rules_broken(document, plan) == {"mirrored"}


@given(planned_days())
def test_every_row_that_stands_stays_where_it_is(planned: Planned) -> None:
    for asked, said in rows_of(*planned):
        if "place" in asked:
            where = {key: said[key] for key in ("line", "offset_cm", "mirrored")}
            assert where == asked["place"]


@given(
    planned_days(),
    st.integers(0, 10),
    st.sampled_from(["line", "offset_cm", "mirrored"]),
)
def test_a_row_that_may_not_move_and_does_is_refused(
    planned: Planned, which: int, key: str
) -> None:
    document, plan = planned
    asked, said = one_row(document, plan, which)
    asked["place"] = {one: said[one] for one in ("line", "offset_cm", "mirrored")}
    assert rules_broken(document, plan) == set()
    assume(key != "mirrored" or said["mirrored"] or asked["grid"]["may_mirror"])
    asked["place"][key] = {
        "line": "another",
        "offset_cm": said["offset_cm"] + document["place_every_cm"],
        "mirrored": not said["mirrored"],
    }[key]

    assert rules_broken(document, plan) == {"fixed place"}
