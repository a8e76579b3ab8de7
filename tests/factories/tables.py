"""Tables as they are sent: rows of people with every kind of mistake, as CSV."""

import csv
import io
from typing import Any

PEOPLE = (
    "Our reference", "First name", "Last name", "Born", "Weight (kg)", "Level",
    "Emergency contact", "Emergency phone", "Mail", "Guardian's first name",
    "Guardian's mail",
)  # fmt: skip


def person(n: int, **changes: str) -> dict[str, str]:
    """Return the cells of one rider of age, by the titles of PEOPLE."""
    cells = (
        f"R{n}", f"Rider{n}", "Example", "1990-05-04", "64", "novice", "A neighbour",
        "000", f"rider{n}@example.org", "", "",
    )  # fmt: skip
    return dict(zip(PEOPLE, cells, strict=True)) | changes


def horse(n: int, **changes: str) -> dict[str, str]:
    """Return the cells of one horse."""
    return {
        "Our reference": f"H{n}",
        "Name": f"Horse {n}",
        "Height (cm)": "160",
        "Weight (kg)": "550",
        "Born": "2015-04-01",
        "Level": "intermediate",
        "Highest fence (cm)": "100",
    } | changes


def teacher(n: int, **changes: str) -> dict[str, str]:
    """Return the cells of one instructor."""
    return {
        "Our reference": f"T{n}",
        "First name": f"Teacher{n}",
        "Last name": "Example",
        "Mail": f"teacher{n}@example.org",
        "Teaches up to": "intermediate",
        "Highest fence (cm)": "90",
        "Hours": "Mon 09:00-17:00; Wed 13:00-18:00",
        "Papers": "First aid: 2027-05-01; Licence: 2028-01-31",
    } | changes


def lesson(n: int, **changes: str) -> dict[str, str]:
    """Return the cells of one lesson in the hall with Ines Example."""
    return {
        "Our reference": f"L{n}",
        "Title": f"Lesson {n}",
        "Kind": "private",
        "Work": "jumping",
        "Date": "2027-03-06",
        "Start": f"{9 + n:02d}:00",
        "Minutes": "60",
        "Arena": "Hall",
        "Instructor": "Ines Example",
        "Places": "2",
        "Riders and horses": "",
    } | changes


def as_file(rows: list[dict[str, Any]], delimiter: str = ",") -> bytes:
    """Return rows as the bytes of a CSV."""
    body = io.StringIO(newline="")
    writer = csv.DictWriter(body, list(rows[0]), delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    return body.getvalue().encode()
