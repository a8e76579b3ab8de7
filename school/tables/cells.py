"""What a cell says: texts, whole numbers, days, clock times and choices, both ways."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
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


_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_PART = re.compile(r"\s*[;\n]\s*")


def _weekday(word: str) -> int:
    """Return the number of a weekday, Monday being 0."""
    start = same_name(word)[:3]
    if start not in _WEEKDAYS:
        raise Unreadable(f"has no weekday: {word[:40]}. Write Mon, Tue, Wed …")
    return _WEEKDAYS.index(start)


def weekdays(cell: str, how: Reading) -> tuple[int, ...]:
    """Read weekdays: Mon, Thu."""
    words = [one for one in re.split(r"[,;\s]+", cell) if one]
    return tuple(sorted({_weekday(one) for one in words}))


def weekdays_as_cell(days: Iterable[int]) -> str:
    """Write weekdays as `weekdays` reads them."""
    return ", ".join(_WEEKDAYS[one].capitalize() for one in sorted(days))


Hours = tuple[tuple[int, time, time], ...]

_HOURS = re.compile(r"([a-z]+)\W*(\S+?)\s*(?:-|\u2013|to)\s*(\S+)", re.IGNORECASE)


def weekly_hours(cell: str, how: Reading) -> Hours:
    """Read the hours of a week: Mon 09:00-12:00; Mon 13:00-17:00; Tue 09:00-17:00."""
    found = set()
    for part in _PART.split(cell):
        said = _HOURS.fullmatch(part)
        if said is None:
            raise Unreadable(
                f"is no day with hours: {part[:40]}. Write Mon 09:00-17:00"
            )
        begin, end = a_clock_time(said[2], how), a_clock_time(said[3], how)
        if begin >= end:
            raise Unreadable(f"ends before it begins: {part[:40]}")
        found.add((_weekday(said[1]), begin, end))
    return tuple(sorted(found))


def weekly_hours_as_cell(hours: Iterable[tuple[int, time, time]]) -> str:
    """Write the hours of a week as `weekly_hours` reads them."""
    return "; ".join(
        f"{_WEEKDAYS[day].capitalize()} {begin:%H:%M}-{end:%H:%M}"
        for day, begin, end in sorted(hours)
    )


Papers = tuple[tuple[str, date], ...]

_PAPER = re.compile(
    r"\s*(.+?)\s*:?\s+(\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-]\d{4})\s*(?:;|\n|$)"
)


def dated_papers(cell: str, how: Reading) -> Papers:
    """Read papers, each with its last day: First aid: 2027-05-01; Licence: …"""
    found: dict[str, date] = {}
    at = 0
    while at < len(cell):
        said = _PAPER.match(cell, at)
        if said is None:
            raise Unreadable(
                f"is no paper with its last day: {cell[at : at + 40].strip()}. Write "
                "First aid: 2027-05-01"
            )
        if len(said[1]) > 80:
            raise Unreadable(f"has a paper of {len(said[1])} characters; 80 at most")
        if said[1] in found:
            raise Unreadable(f"has {said[1]} twice")
        found[said[1]] = a_day(said[2], how)
        at = said.end()
    return tuple(sorted(found.items()))


def dated_papers_as_cell(papers: Iterable[tuple[str, date]]) -> str:
    """Write papers as `dated_papers` reads them."""
    return "; ".join(f"{name}: {last.isoformat()}" for name, last in sorted(papers))


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
