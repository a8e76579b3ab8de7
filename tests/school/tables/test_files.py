"""Files are read whatever program wrote them, and refused in words when hostile."""

import io
import zipfile
from datetime import UTC, date, datetime, time

import openpyxl.xml
import pytest
from openpyxl import Workbook

from school.tables import files
from school.tables.files import InvalidTable, Sheet, read_table
from school.tables.writing import as_csv, as_workbook

KNOWN = ("Name", "Weight (kg)")


def local(*parts) -> datetime:
    """A moment as a workbook has it, without a zone."""
    return datetime(*parts, tzinfo=UTC).replace(tzinfo=None)


def workbook(*rows) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    return saved(book)


def saved(book: Workbook) -> bytes:
    body = io.BytesIO()
    book.save(body)
    return body.getvalue()


def archive(**parts: bytes) -> bytes:
    body = io.BytesIO()
    with zipfile.ZipFile(body, "w", zipfile.ZIP_DEFLATED) as out:
        for name, part in parts.items():
            out.writestr(name.replace("__", "/"), part)
    return body.getvalue()


def with_part(body: bytes, name: str, part: bytes) -> bytes:
    """Return a workbook in which one part is another."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(out, "w") as new:
        for one in old.namelist():
            new.writestr(one, part if one == name else old.read(one))
    return out.getvalue()


NAMES = "Name{0}Weight (kg)\r\nFl\u00f6rchen{0}{1}\r\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_csv_is_read_in_every_common_encoding_and_delimiter(encoding, delimiter):
    weight = "550" if delimiter == "," else "550,5"

    sheet = read_table(NAMES.format(delimiter, weight).encode(encoding), KNOWN)

    assert sheet == Sheet(("Name", "Weight (kg)"), (("Flörchen", weight),), (2,))


def test_names_that_are_known_tell_the_delimiter():
    body = b"Name;Height, measured, in cm\nFern;160\n"

    assert read_table(body, ["Name"]).headers == ("Name", "Height, measured, in cm")


def test_a_hint_of_the_delimiter_is_no_row():
    assert read_table(b"sep=;\nName;Kg\nFern;5\n", KNOWN).headers == ("Name", "Kg")


def test_empty_rows_are_left_out_and_rows_keep_their_numbers():
    sheet = read_table(b"\nName,Kg\n,\n Fern , \n\nMoss,5,,\n", KNOWN)

    assert sheet.rows == (("Fern", ""), ("Moss", "5"))
    assert sheet.numbers == (4, 6)


def test_cells_of_several_lines_are_one_cell():
    assert read_table(b'Name,Notes\nFern,"a\r\nb"\n').rows == (("Fern", "a\nb"),)


def test_cells_of_a_workbook_are_read_as_they_show():
    sheet = read_table(
        workbook(
            ["Name", "Kg", "Born", "At", "On", "Fit", "Share"],
            ["Fern", 550, local(2015, 4, 1), time(9, 30), None, True, 1.5],
            [
                "Moss",
                550.0,
                local(2015, 4, 1, 8),
                None,
                date(2015, 4, 1),
                False,
                1e6,
            ],
        )
    )

    assert sheet.rows == (
        ("Fern", "550", "2015-04-01", "09:30", "", "yes", "1.5"),
        ("Moss", "550", "2015-04-01 08:00", "", "2015-04-01", "no", "1000000"),
    )


def test_a_workbook_far_from_its_first_cell_is_read_in_bounds():
    book = Workbook()
    book.active.append(["Name", "Kg"])
    book.active.append(["Fern", 5])
    book.active.cell(1_048_576, 2, "far below")

    assert read_table(saved(book)).rows == (("Fern", "5"),)


def test_cells_merged_over_rows_are_refused_and_those_of_one_row_are_not():
    book = Workbook()
    for row in (["Name", "Kg"], ["Fern", "5"], ["Moss", None], ["Oak", None]):
        book.active.append(row)
    book.active.merge_cells("A4:B4")
    assert read_table(saved(book)).rows[-1] == ("Oak", "")
    book.active.merge_cells("B2:B3")

    with pytest.raises(InvalidTable, match="B2 to B3 are merged"):
        read_table(saved(book))


HOSTILE = {
    "nothing": (b"", "The file is empty"),
    "spaces": (b" \n \n", "The file is empty"),
    "commas alone": (b",,,\n,,\n", "The file is empty"),
    "one word": (b"hello", "one cell and nothing below"),
    "no rows": (b"Name,Kg\n", "no rows below"),
    "too large": (b"a" * (files.MOST_BYTES + 1), "2 MB at most"),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "neither a CSV file nor"),
    "a program": (b"\x7fELF\x02\x01\x01\x00", "neither a CSV file nor"),
    "no letters": (b"a,b\n\x81\x8d,\x90\n", "neither a CSV file nor"),
    "half of UTF-16": (b"\xff\xfea", "neither a CSV file nor"),
    "an old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old kind (.xls)"),
    "a million columns": (b"a" + b",a" * 999_000 + b"\n", "999,001 cells; 60 columns"),
    "a long cell": (b"a,b\n" + b"x" * 9_000 + b",1\n", "more than 5000 characters"),
    "an endless cell": (b'a,b\n"' + b"x" * 200_000, "can't be read"),
    "more cells than names": (b"a,b\n1,2,3\n", "3 cells, but only 2 columns"),
    "a name twice": (b"a,b,a\n1,2,3\n", "the same name: a"),
    "too many rows": (b"a,b\n" + b"1,2\n" * 5_001, "more than 5000 rows"),
    "half a zip": (b"PK\x03\x04" + b"\x00" * 40, "damaged"),
    "a zip of zips": (
        archive(inner=archive(inner=b"x" * 1000)), "an archive, not a workbook"
    ),
    "a bomb": (archive(xl__workbook=b"\x00" * 50_000_000), "would have 50 MB"),
    "many parts": (
        archive(**{f"n{n}": b"" for n in range(201)}), "in 201 parts"
    ),
    "a workbook in name": (
        archive(**{"xl__workbook.xml": b"<a/>"}), "damaged"
    ),
    "a sheet of rubbish": (
        with_part(workbook(["a", "b"], [1, 2]), "xl/worksheets/sheet1.xml", b"<<<"),
        "damaged",
    ),
    "words that multiply": (
        with_part(
            workbook(["a", "b"], [1, 2]),
            "xl/worksheets/sheet1.xml",
            b'<!DOCTYPE x [<!ENTITY a "haha"><!ENTITY b "&a;&a;&a;">]><x>&b;</x>',
        ),
        "damaged",
    ),
    "a workbook too wide": (workbook(["a"] * 70, [1] * 70), "61 cells; 60 columns"),
    "a workbook without cells": (workbook(), "The file is empty"),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_what_is_no_table_is_refused_in_words(name):
    body, words = HOSTILE[name]

    with pytest.raises(InvalidTable) as refusal:
        read_table(body, KNOWN)

    assert words in str(refusal.value)
    assert str(refusal.value).endswith(".")


def test_a_workbook_of_charts_alone_has_no_table():
    book = Workbook()
    book.create_chartsheet("Chart")
    book.remove(book.active)

    with pytest.raises(InvalidTable, match="has no sheet with a table"):
        read_table(saved(book))


def test_what_no_database_keeps_is_left_out_of_a_workbooks_words():
    body = as_workbook("t", ["a\x01", "b"], [["c\x00", "d\ne"]])

    assert read_table(body) == Sheet(("a", "b"), (("c", "d\ne"),), (2,))


def test_words_that_multiply_are_never_put_together():
    # The reader of workbooks guards itself only where this library is installed.
    assert openpyxl.xml.DEFUSEDXML


def test_no_written_cell_is_a_formula():
    for body in (
        as_csv(["=a", "b"], [["@x", "-1"], ["+1", "'q"]]),
        as_workbook("t", ["=a", "b"], [["@x", "-1"], ["+1", "'q"]]),
    ):
        assert read_table(body).rows == (("@x", "-1"), ("+1", "'q"))
    shown = as_csv(["=a", "b"], [["@x", "-1"]]).decode("utf-8-sig")
    assert shown == "'=a,b\r\n'@x,'-1\r\n"
