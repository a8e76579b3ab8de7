"""Reads an uploaded table: CSV of any common kind, or an xlsx workbook.

Nothing about a file is believed. What is too large, of another type or built to
do harm is refused with words that say what to do instead.
"""

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, time
from itertools import islice
from typing import Any
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from school.tables.cells import number_as_cell, plain, same_name, tidy

MOST_BYTES = 2_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 60
MOST_CHARACTERS = 5_000
MOST_UNPACKED = 40_000_000
MOST_PARTS = 200
"""Limits of a file: far above a riding school's tables, far below what hurts."""

DELIMITERS = (",", ";", "\t")


class InvalidTable(ValueError):
    """A file that can't be read as a table, and why in plain words."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it was sent: the names of its columns, and its rows as text.

    `numbers` are the rows' numbers as a spreadsheet program shows them.
    """

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]


def read_table(body: bytes, known: Iterable[str] = ()) -> Sheet:
    """Read a file by what is in it; its name is not asked.

    Parameters
    ----------
    body
        The file.
    known
        Names of columns that are expected; they tell the delimiter of a CSV.

    Raises
    ------
    InvalidTable
        Saying what is wrong with the file.
    """
    if len(body) > MOST_BYTES:
        raise InvalidTable(
            f"The file is too large: {MOST_BYTES // 1_000_000} MB at most. Leave out "
            "pictures and other sheets, or split it."
        )
    if not body.strip():
        raise InvalidTable("The file is empty.")
    if body.startswith(b"PK\x03\x04"):
        rows: Iterable[list[str]] = _workbook(body)
    elif body.startswith(b"\xd0\xcf\x11\xe0"):
        raise InvalidTable(
            "This is a workbook of the old kind (.xls) or one with a password. Save "
            "it as .xlsx without a password, or as CSV."
        )
    else:
        rows = _csv(_decoded(body), {same_name(one) for one in known})
    return _sheet(rows)


def _sheet(rows: Iterable[list[str]]) -> Sheet:
    headers: tuple[str, ...] = ()
    found: list[tuple[str, ...]] = []
    numbers: list[int] = []
    for number, cells in enumerate(rows, start=1):
        row = [tidy(plain(one)) for one in cells]
        while row and not row[-1]:
            row.pop()
        _check_row(row, number)
        if not row:
            continue
        if not headers:
            headers = tuple(row)
            continue
        if len(found) == MOST_ROWS:
            raise InvalidTable(
                f"The file has more than {MOST_ROWS} rows. Split it into parts."
            )
        if len(row) > len(headers):
            raise InvalidTable(
                f"Row {number} has {len(row)} cells, but only {len(headers)} columns "
                "have a name. Give each column a name in the first row."
            )
        found.append(tuple(row + [""] * (len(headers) - len(row))))
        numbers.append(number)
    if not headers:
        raise InvalidTable("The file is empty.")
    if not found:
        raise InvalidTable(
            "The file has names of columns, but no rows below them."
            if len(headers) > 1
            else "This is no table: it has one cell and nothing below it."
        )
    twice = {one for one in headers if one and headers.count(one) > 1}
    if twice:
        raise InvalidTable(
            f"Two columns have the same name: {', '.join(sorted(twice))}. Name each "
            "column once."
        )
    return Sheet(headers, tuple(found), tuple(numbers))


def _check_row(row: list[str], number: int) -> None:
    if len(row) > MOST_COLUMNS:
        raise InvalidTable(
            f"Row {number} has {len(row):,} cells; {MOST_COLUMNS} columns at most."
        )
    if any(len(one) > MOST_CHARACTERS for one in row):
        raise InvalidTable(
            f"A cell of row {number} has more than {MOST_CHARACTERS} characters."
        )


def _decoded(body: bytes) -> str:
    """Return a text file's words: UTF-8, UTF-16 with its mark, or Windows' Western."""
    if body.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            words = body.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not any(one < " " and one not in "\t\r\n" for one in set(words)):
            return words
    raise InvalidTable(
        "This is neither a CSV file nor an .xlsx workbook. Save the table as one of "
        "these in your spreadsheet program."
    )


def _csv(words: str, known: set[str]) -> Iterator[list[str]]:
    if words.startswith("sep=") and "\n" in words[:8]:
        # A spreadsheet program's own hint; it is no row of the table.
        words = words.partition("\n")[2]
    delimiter = _delimiter(words, known)
    reader = csv.reader(io.StringIO(words, newline=""), delimiter=delimiter)
    try:
        yield from reader
    except csv.Error as error:
        raise InvalidTable(
            f"Row {reader.line_num} can't be read: a quotation mark that is not "
            "closed, or a cell that is far too long."
        ) from error


def _delimiter(words: str, known: set[str]) -> str:
    """Return what parts the cells: what finds most known names, then most cells."""

    def found(delimiter: str) -> tuple[int, int]:
        first = csv.reader(io.StringIO(words, newline=""), delimiter=delimiter)
        try:
            cells = next((one for one in islice(first, 20) if any(one)), [])
        except csv.Error:
            return 0, 0
        return sum(same_name(one) in known for one in cells), len(cells)

    best = max(DELIMITERS, key=found)
    return best if found(best)[1] > 1 else DELIMITERS[0]


def _workbook(body: bytes) -> list[list[str]]:
    """Return the rows of the first sheet; formulas as what they last gave.

    The XML inside is read by defusedxml, which openpyxl takes where it is installed:
    words that a file defines to grow without end are an error there.
    """
    _check_archive(body)
    try:
        book = load_workbook(
            io.BytesIO(body), read_only=True, data_only=True, keep_links=False
        )
        try:
            sheet = book.worksheets[0]
            _check_merged(body, sheet._worksheet_path)
            sheet.reset_dimensions()
            # One more than is allowed of each, so that too many is seen as such.
            rows = sheet.iter_rows(
                max_row=MOST_ROWS + 2, max_col=MOST_COLUMNS + 1, values_only=True
            )
            return [[_said(cell) for cell in row] for row in rows]
        finally:
            book.close()
    except InvalidTable:
        raise
    except (
        zipfile.BadZipFile, InvalidFileException, ParseError, KeyError, ValueError,
        TypeError, AttributeError, IndexError, OSError, EOFError, NotImplementedError,
        RuntimeError,
    ) as error:  # fmt: skip
        raise _damaged() from error


_MERGED = re.compile(rb'<(?:\w+:)?mergeCell [^>]*?ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')


def _check_merged(body: bytes, part: str) -> None:
    """Refuse cells merged over rows: all but the first row would say nothing there."""
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        found = _MERGED.findall(archive.read(part))
    for first, top, last, bottom in found:
        if top != bottom:
            cells = (
                f"{first.decode()}{top.decode()} to {last.decode()}{bottom.decode()}"
            )
            raise InvalidTable(
                f"Cells {cells} are merged over several rows. Undo that in your "
                "spreadsheet program and write in each row what belongs to it."
            )


def _damaged() -> InvalidTable:
    return InvalidTable(
        "The workbook is damaged, or has no sheet with a table, or was made by no "
        "spreadsheet program. Open it in yours and save it anew, or save it as CSV."
    )


def _check_archive(body: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise _damaged() from error
    # No part is unpacked further than it says here, so what it says can be believed.
    unpacked = sum(one.file_size for one in parts)
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED:
        raise InvalidTable(
            f"Unpacked the file would have {unpacked / 1e6:,.0f} MB in {len(parts):,} "
            f"parts; {MOST_UNPACKED // 1_000_000} MB and {MOST_PARTS} parts at most. "
            "Copy the table alone into a new workbook."
        )
    if not any(one.filename == "xl/workbook.xml" for one in parts):
        raise InvalidTable(
            "This is an archive, not a workbook. Unpack it and send the table that is "
            "in it."
        )


def _said(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        return number_as_cell(cell)
    if isinstance(cell, datetime):
        return f"{cell:%Y-%m-%d}" if cell.time() == time() else f"{cell:%Y-%m-%d %H:%M}"
    if isinstance(cell, time):
        return f"{cell:%H:%M}"
    # Words of a workbook may hold what no database keeps in a text.
    return "".join(one for one in str(cell) if one >= " " or one in "\t\r\n")
