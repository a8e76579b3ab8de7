"""What a cell says: texts, whole numbers, days, clock times and choices, both ways."""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from math import ceil, floor

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is taken for a formula by spreadsheet programs."""


class Unreadable(ValueError):
    """A cell that says nothing of its kind; the words say what was expected."""


@dataclass(frozen=True, slots=True)
class Reading:
    """How the dates of a file are meant where they are not written year first."""

    day_first: bool = True


Reader = Callable[[str, Reading], object]


def escaped(cell: str) -> str:
    """Return a cell that no program takes for a formula; `plain` gives it back."""
    return f"'{cell}" if cell.startswith((*FORMULA, "'")) else cell


def plain(cell: str) -> str:
    """Return a cell as it was before `escaped`."""
    if cell.startswith("'") and cell[1:].startswith((*FORMULA, "'")):
        return cell[1:]
    return cell


def tidy(cell: str) -> str:
    """Return a cell without the spaces around it and with one kind of line end."""
    return cell.replace("\r\n", "\n").replace("\r", "\n").strip()


def same_name(text: str) -> str:
    """Return a name for comparison: without accents' spelling, case, double spaces."""
    return " ".join(unicodedata.normalize("NFC", text).casefold().split())


def a_text(most: int) -> Reader:
    """Read a text of up to so many characters."""

    def read(cell: str, how: Reading) -> str:
        if len(cell) > most:
            raise Unreadable(f"has {len(cell)} characters; {most} at most")
        return cell

    return read


_MAIL = re.compile(r"[^@\s,;<>]+@[^@\s,;<>]+\.[^@\s,;<>]{2,}")


def a_mail_address(cell: str, how: Reading) -> str:
    """Read a mail address."""
    if len(cell) > 254 or not _MAIL.fullmatch(cell):
        raise Unreadable(f"is no mail address: {cell[:60]}")
    return cell


_NUMBER = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*([a-z]*)", re.IGNORECASE)


def a_whole_number(low: int, high: int, unit: str = "", *, up: bool = False) -> Reader:
    """Read a whole number; a decimal comma or point is rounded, down unless `up`.

    With the unit cm, metres are taken too ("1,48" or "1.48 m"), since nothing here
    measures below three centimetres or above three metres and a half. A bare 1 or 2
    may be either, a metre in a column of metres above all: it is asked for.
    """

    def read(cell: str, how: Reading) -> int:
        said = _NUMBER.fullmatch(cell)
        if said is None or said[2].lower() not in {"", unit, "m" if unit else ""}:
            raise Unreadable(f"is no number: {cell[:40]}")
        number = Decimal(said[1].replace(",", "."))
        decimals = set(".,") & set(said[1])
        metres = said[2].lower() == "m" or (number < 3 and decimals)
        if unit == "cm" and metres:
            number *= 100
        elif unit == "cm" and not said[2] and 0 < number < 3:
            raise Unreadable(f"is {number}: write {number} cm or {number}.00 m")
        whole = ceil(number) if up else floor(number)
        if not low <= whole <= high:
            say = f" {unit}" if unit else ""
            raise Unreadable(f"is {whole}{say}; from {low} to {high} is possible")
        return whole

    return read


_YEAR_FIRST = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00)?)?")
_YEAR_LAST = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")


def a_day(cell: str, how: Reading) -> date:
    """Read a day: 2015-04-01, or 1.4.2015 in the order the file was said to have."""
    said = _YEAR_FIRST.fullmatch(cell)
    if said:
        year, month, day = (int(one) for one in said.groups())
    else:
        said = _YEAR_LAST.fullmatch(cell)
        if said is None:
            raise Unreadable(
                f"is no date: {cell[:40]}. Write 2015-04-01, or 1.4.2015 with four "
                "figures for the year"
            )
        first, second, year = (int(one) for one in said.groups())
        day, month = (first, second) if how.day_first else (second, first)
    try:
        return date(year, month, day)
    except ValueError:
        raise Unreadable(f"is no day of the calendar: {cell[:40]}") from None


_CLOCK = re.compile(
    r"(\d{1,2})[:.h](\d{2})(?::00)?(?:\s*([ap])\.?m\.?)?", re.IGNORECASE
)


def a_clock_time(cell: str, how: Reading) -> time:
    """Read a local clock time: 09:30, 9.30, 9h30 or 9:30 am."""
    said = _CLOCK.fullmatch(cell)
    try:
        if said and said[3] and 1 <= int(said[1]) <= 12:
            noon = 12 if said[3].lower() == "p" else 0
            return time(int(said[1]) % 12 + noon, int(said[2]))
        if said and not said[3]:
            return time(int(said[1]), int(said[2]))
    except ValueError:
        pass
    raise Unreadable(f"is no clock time: {cell[:40]}. Write 09:30")


def a_choice(words: Mapping[str, str]) -> Reader:
    """Read one of some words; `words` has each, in small letters, with its value."""

    def read(cell: str, how: Reading) -> str:
        value = words.get(same_name(cell))
        if value is None:
            listed = ", ".join(dict.fromkeys(words.values()))
            raise Unreadable(f"is {cell[:40]}; it must be one of {listed}")
        return value

    return read


def as_cell(value: object) -> str:
    """Return a value as a reader here takes it."""
    if value is None:
        return ""
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else str(value)


def number_as_cell(number: float) -> str:
    """Return a spreadsheet's number as typed: 5 and not 5.0, never 1e+06."""
    return f"{Decimal(repr(number)).normalize():f}"
