"""Writes a table as CSV or as an xlsx workbook, no cell of which is a formula."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from school.tables.cells import escaped

_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
WIDEST = 50


def as_csv(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Return a CSV in UTF-8 with its mark, by which spreadsheet programs know it."""
    body = io.StringIO(newline="")
    writer = csv.writer(body)
    for row in [headers, *rows]:
        writer.writerow([escaped(one) for one in row])
    return body.getvalue().encode("utf-8-sig")


def as_workbook(
    title: str, headers: Sequence[str], rows: Sequence[Sequence[str]]
) -> bytes:
    """Return an xlsx workbook with one sheet; every cell is text."""
    return as_book([(title, headers, rows)])


def as_book(
    sheets: Iterable[tuple[str, Sequence[str], Sequence[Sequence[str]]]],
) -> bytes:
    """Return an xlsx workbook with a sheet for each table; every cell is text."""
    book = Workbook(write_only=True)
    for title, headers, rows in sheets:
        _write_sheet(book.create_sheet(title), headers, rows)
    body = io.BytesIO()
    book.save(body)
    return body.getvalue()


def _write_sheet(
    sheet: Any, headers: Sequence[str], rows: Sequence[Sequence[str]]
) -> None:
    sheet.freeze_panes = "A2"
    for n, header in enumerate(headers):
        longest = max([len(header), *(len(row[n]) for row in rows)])
        column = sheet.column_dimensions[get_column_letter(n + 1)]
        column.width, column.font = min(longest, WIDEST) + 2, Font(name="Calibri")
    for row in [headers, *rows]:
        sheet.append([_NOT_IN_XML.sub("", escaped(one)) for one in row])
