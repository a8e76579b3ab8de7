"""Day files: the contract's defaults, and what is refused with its place."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exercises.geometry.elements import Piece
from scheduling.dayplan.document import InvalidDay, placed_as_data, read_day
from tests.scheduling.days import arena, cross, day, grid, lesson, oxer, pole, vertical
from tests.scheduling.random_days import random_day

NESTED: dict = {}
for _ in range(500):
    NESTED = {"x": NESTED}


def test_what_is_left_out_has_the_contracts_default() -> None:
    minimal = {
        "version": 1,
        "date": "2027-03-06",
        "zone": "Europe/Amsterdam",
        "opens": "08:00",
        "closes": "20:00",
        "arenas": [],
        "lessons": [],
    }

    read = read_day(minimal)

    assert (read.start_every_min, read.place_every_cm, read.crew) == (15, 5, 1)
    assert (read.crew_from_min, read.crew_to_min) == (7 * 60, 20 * 60)
    assert (read.moved_start_s, read.moved_arena_s) == (30, 10)
    assert read.stock == {}


def test_what_is_given_is_read() -> None:
    read = read_day(
        day(
            lesson("a", grid=grid(cross(), end=[vertical()], may_mirror=True)),
            crew_from="06:30",
            crew_to="19:00",
            stock={"wing": 4},
            weights={"moved_start_s": 1},
            handling={"measure_s": 20},
        )
    )

    (one,) = read.lessons
    assert one.grid.end[0].kind == "vertical"
    assert one.grid.may_mirror
    assert one.fixed
    assert read.crew_from_min == 390
    assert read.stock == {Piece.WING: 4}
    assert (read.moved_start_s, read.moved_arena_s) == (1, 10)
    assert read.handling.measure_us == 20_000_000


def test_an_end_left_out_is_the_start() -> None:
    (one,) = read_day(day(lesson("a", grid=grid(cross())))).lessons

    assert one.grid.end == one.grid.start


@pytest.mark.parametrize(
    ("document", "line"),
    [
        ([], "the day file must be one JSON object"),
        ({}, "version: is missing"),
        (day(version=2), "version: must be 1"),
        (day(version="1"), "version: must be 1"),
        (day(speed=1), "speed: unknown key"),
        (
            day(date="soon"),
            "date: does not look like one; times are HH:MM, dates YYYY-MM-DD",
        ),
        (day(date="2027-02-30"), "date: 2027-02-30 is no day"),
        (day(zone="Moon/Base"), "zone: 'Moon/Base' is no time zone"),
        (day(zone="../etc/passwd"), "zone: '../etc/passwd' is no time zone"),
        (
            day(opens="25:00"),
            "opens: does not look like one; times are HH:MM, dates YYYY-MM-DD",
        ),
        (day(opens="18:00"), "closes: must come after opens"),
        (
            day(crew_from="12:00", crew_to="11:00"),
            "crew_to: must not come before crew_from",
        ),
        (day(crew=1.5), "crew: must be a whole number"),
        (day(crew=True), "crew: must be a whole number"),
        (day(crew=math.nan), "crew: must be a whole number"),
        (day(crew=10**30), "crew: must be less than or equal to 50"),
        (
            day(handling={"wing": {"fetch_s": -1}}),
            "handling.wing.fetch_s: must be from 0 to 3600 seconds",
        ),
        (
            day(stock={"flag": 1}),
            "stock.flag: no such piece; known are wing, pole, cup, block, plank",
        ),
        (day(arenas=[arena(), arena()]), "arenas[1].id: 'hall' is there twice"),
        (day(arenas={}), "arenas: must be a list"),
        (day(lessons=[7]), "lessons[0]: must be an object"),
        (
            day(arenas=[arena() | {"length_cm": 10}]),
            "arenas[0].lines[0].length_cm: the line is longer than its arena",
        ),
        (day(lesson("a"), lesson("a")), "lessons[1].id: 'a' is there twice"),
        (day(lesson("a", arenas=["moon"])), "lessons[0].arenas[0]: no arena 'moon'"),
        (
            day(lesson("a", arenas=["hall", "hall"])),
            "lessons[0].arenas[1]: 'hall' is there twice",
        ),
        (day(lesson("a", horses=["h"])), "lessons[0].horses[0]: no horse 'h'"),
        (day(lesson("a", people=[7])), "lessons[0].people[0]: must be a text"),
        (
            day(lesson("a", not_after="08:00")),
            "lessons[0].not_after: must not come before not_before",
        ),
        (
            day(lesson("a", booked={"start": "09:00", "arena": "moon"})),
            "lessons[0].booked.arena: no arena 'moon'",
        ),
        (
            day(lesson("a", booked={"start": "09:00"})),
            "lessons[0].booked.arena: is missing",
        ),
        (
            day(lesson("a", needs_clear="yes")),
            "lessons[0].needs_clear: must be true or false",
        ),
        (
            day(lesson("a", needs_clear=True, grid=grid(cross()))),
            "lessons[0].needs_clear: a lesson with a grid can't need a clear arena",
        ),
        (
            day(lesson("a", warm_up_min=40, cool_down_min=30)),
            "lessons[0].cool_down_min: warm-up and cool-down exceed the lesson",
        ),
        (
            day(lesson("a", grid=grid(cross(5)))),
            "lessons[0].grid.start[0].at_cm: a row's first element is at 0",
        ),
        (
            day(lesson("a", grid=grid(oxer(), cross(50)))),
            "lessons[0].grid.start[1].at_cm: elements stand in order, each after the "
            "landing foot of the last",
        ),
        (
            day(lesson("a", grid=grid(cross(), cross(300, kind="wall")))),
            "lessons[0].grid.start[1].kind: must be 'pole', 'raised-pole', 'plank', "
            "'cross', 'vertical' or 'oxer'",
        ),
        (
            day(lesson("a", grid=grid(pole(height_cm=10)))),
            "lessons[0].grid.start[0].height_cm: a pole lies flat: must be 0",
        ),
        (
            day(lesson("a", grid=grid(cross(), end=[oxer(spread_cm=0)]))),
            "lessons[0].grid.end[0].spread_cm: an oxer needs a spread above 0",
        ),
        (
            day(
                arenas=[
                    arena()
                    | {
                        "lines": [
                            {"id": "x", "length_cm": 1000, "standing": [cross(1100)]}
                        ]
                    }
                ]
            ),
            "arenas[0].lines[0].standing[0].at_cm: stands beyond the line's ends",
        ),
        (day(**{"k" * 100: 1}), "k" * 60 + "…: unknown key"),
        (day(lessons=NESTED), "lessons: must be a list"),
    ],
    ids=lambda value: value[:40] if isinstance(value, str) else "",
)
def test_a_day_file_is_refused_in_one_line_that_names_the_place(
    document: object, line: str
) -> None:
    with pytest.raises(InvalidDay) as caught:
        read_day(document)

    assert str(caught.value) == line


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda s: st.lists(s) | st.dictionaries(st.text(), s),
    )
)
def test_no_json_is_more_than_refused(document: object) -> None:
    with pytest.raises(InvalidDay):
        read_day(document)


def test_what_stands_is_written_as_it_is_read() -> None:
    standing = [
        oxer(500, ascending=True, rails=2, faces="down"),
        cross(900, guides=True, ground_line="both", faces="up"),
    ]
    hall = arena() | {"lines": [{"id": "x", "length_cm": 4000, "standing": standing}]}

    (line,) = read_day(day(arenas=[hall])).arenas[0].lines

    assert [placed_as_data(one) for one in line.standing] == standing


@pytest.mark.parametrize("seed", range(5))
def test_days_of_every_kind_are_read(seed: int) -> None:
    assert read_day(random_day(seed)).lessons


def test_a_lesson_without_a_row_has_no_place_on_a_line() -> None:
    found = read_day(day(arenas=[arena()], lessons=[lesson("a")]))

    assert found.lessons[0].places_on(found.arenas[0].lines[0], 5) == ()
