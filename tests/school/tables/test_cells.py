"""Cells are read as people write them, and written so that they are read the same."""

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from school.tables.cells import (
    FORMULA,
    Reading,
    Unreadable,
    a_choice,
    a_clock_time,
    a_day,
    a_mail_address,
    a_text,
    a_whole_number,
    as_cell,
    escaped,
    number_as_cell,
    plain,
    tidy,
)
from school.tables.columns import TABLES, Kind, mapping_of, missing, names_of, read_row
from school.tables.files import read_table
from school.tables.writing import as_csv, as_workbook

HOW = Reading()
cells = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Cn"]) | st.sampled_from("\t\n=+-@'"),
    max_size=30,
)


@given(cells)
def test_an_escaped_cell_is_no_formula_and_comes_back(cell):
    assert not escaped(cell).startswith(FORMULA)
    assert plain(escaped(cell)) == cell


@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=8))
def test_a_table_comes_back_from_both_forms_as_it_was(rows):
    table = [[tidy(one) for one in row] for row in rows]
    table = [["x", *row] for row in table]
    headers = ["Name", "Born", "Level", "Notes"]

    for body in (as_csv(headers, table), as_workbook("t", headers, table)):
        assert [list(one) for one in read_table(body, headers).rows] == table


@given(st.dates(min_value=date(1000, 1, 1)), st.booleans())
def test_every_day_is_read_as_written_in_any_order(day, day_first):
    how = Reading(day_first=day_first)
    order = (day.day, day.month) if day_first else (day.month, day.day)
    local = f"{order[0]}.{order[1]:02d}.{day.year}"

    assert a_day(as_cell(day), how) == a_day(local, how) == day
    assert a_day(local.replace(".", "/"), how) == day


@given(st.integers(70, 200))
def test_a_height_is_read_the_same_in_metres_and_centimetres(cm):
    read = a_whole_number(70, 200, "cm")
    metres = f"{cm / 100:.2f}"

    for cell in (str(cm), f"{cm} cm", f"{metres} m", f"{metres.replace('.', ',')}m"):
        assert read(cell, HOW) == cm


@pytest.mark.parametrize("cell", ["1,48", "1.48"])
def test_metres_need_no_unit(cell):
    assert a_whole_number(70, 200, "cm")(cell, HOW) == 148


@pytest.mark.parametrize(
    ("cell", "cm"), [("0.80", 80), ("1.00", 100), ("1,0", 100), ("1 m", 100), ("0", 0)]
)
def test_a_round_metre_is_a_metre(cell, cm):
    assert a_whole_number(0, 160, "cm")(cell, HOW) == cm


@pytest.mark.parametrize("cell", ["1", "2"])
def test_a_bare_one_is_neither_taken_for_a_metre_nor_for_a_centimetre(cell):
    with pytest.raises(Unreadable, match=f"write {cell} cm or {cell}.00 m"):
        a_whole_number(0, 160, "cm")(cell, HOW)


@pytest.mark.parametrize(
    ("cell", "hour"), [("9:30", 9), ("09.30", 9), ("9h30", 9), ("18:30:00", 18)]
)
def test_clock_times_are_read_as_they_are_written(cell, hour):
    assert a_clock_time(cell, HOW) == time(hour, 30)


@pytest.mark.parametrize(
    ("cell", "hour"),
    [("2:30 PM", 14), ("2.30pm", 14), ("12:30 pm", 12), ("12:30 a.m.", 0)],
)
def test_clock_times_of_two_halves_of_a_day_are_read(cell, hour):
    assert a_clock_time(cell, HOW) == time(hour, 30)


UNREADABLE = [
    (a_clock_time, "14:30 pm"),
    (a_clock_time, "0:30 am"),
    (a_day, "2015-02-30"),
    (a_day, "4.5.15"),
    (a_day, "13.13.2015"),
    (a_clock_time, "25:00"),
    (a_clock_time, "half nine"),
    (a_mail_address, "me"),
    (a_mail_address, f"a@{'b' * 250}.org"),
    (a_text(3), "four"),
    (a_whole_number(1, 9), "ten"),
    (a_whole_number(1, 9), "10"),
    (a_whole_number(1, 9, "kg"), "5 stone"),
    (a_whole_number(1, 9), "5 m"),
    (a_choice({"novice": "novice"}), "wizard"),
]


@pytest.mark.parametrize(("read", "cell"), UNREADABLE)
def test_what_says_nothing_of_its_kind_is_refused(read, cell):
    with pytest.raises(Unreadable):
        read(cell, HOW)


def test_a_mail_address_and_a_choice_are_read():
    assert a_mail_address("wieke@example.org", HOW) == "wieke@example.org"
    assert (
        a_choice({"advanced beginner": "novice"})("Advanced  Beginner", HOW) == "novice"
    )


def test_values_are_written_as_they_are_read():
    assert [as_cell(one) for one in (None, time(9, 5), date(2015, 4, 1), 7, "x")] == [
        "", "09:05", "2015-04-01", "7", "x",
    ]  # fmt: skip
    assert [number_as_cell(one) for one in (5.0, 5, 1e6, 0.25)] == [
        "5", "5", "1000000", "0.25",
    ]  # fmt: skip


@pytest.mark.parametrize("kind", list(Kind))
def test_a_name_belongs_to_one_column_and_titles_find_theirs(kind):
    titles = [one.title for one in TABLES[kind]]

    assert mapping_of(kind, titles) == [one.key for one in TABLES[kind]]
    assert missing(kind, mapping_of(kind, titles)) == []
    assert set(names_of(kind).values()) == {one.key for one in TABLES[kind]}


def test_headers_are_known_by_what_they_may_be_called():
    headers = ["Horse name", "Withers (cm)", "DOB", "Colour", "Name", "weight_kg"]

    assert mapping_of(Kind.HORSES, headers) == [
        "name", "height_cm", "born_date", "", "", "weight_kg",
    ]  # fmt: skip
    assert missing(Kind.HORSES, ["name", "height_cm"]) == [
        "Weight (kg)", "Born", "Level", "Highest fence (cm)",
    ]  # fmt: skip


def test_a_row_says_each_cell_that_cannot_be_read():
    row = read_row(
        Kind.HORSES,
        ["name", "", "weight_kg", "level"],
        ["Fern", "x", "much", ""],
        7,
        HOW,
    )

    assert row.values == {"name": "Fern"}
    assert row.faults == ("Weight (kg) is no number: much.",)
