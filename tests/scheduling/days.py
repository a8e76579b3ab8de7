"""Builders of day files, so that a test shows only what matters to it."""

from typing import Any

from scheduling.dayplan.order import order_day

Data = dict[str, Any]


def cross(at_cm: int = 0, **changes: Any) -> Data:
    return {"kind": "cross", "at_cm": at_cm, "height_cm": 40} | changes


def vertical(at_cm: int = 0, height_cm: int = 60, **changes: Any) -> Data:
    return {"kind": "vertical", "at_cm": at_cm, "height_cm": height_cm} | changes


def oxer(at_cm: int = 0, **changes: Any) -> Data:
    fence = {"kind": "oxer", "at_cm": at_cm, "height_cm": 80, "spread_cm": 80}
    return fence | changes


def pole(at_cm: int = 0, **changes: Any) -> Data:
    return {"kind": "pole", "at_cm": at_cm} | changes


def grid(*start: Data, **changes: Any) -> Data:
    return {"start": list(start)} | changes


def arena(id: str = "hall", lines: int = 1, length_cm: int = 4000) -> Data:  # noqa: A002
    return {
        "id": id,
        "length_cm": length_cm,
        "lines": [{"id": f"line-{n}", "length_cm": length_cm} for n in range(lines)],
    }


def lesson(id: str, start: str = "09:00", **changes: Any) -> Data:  # noqa: A002
    """An hour in the hall, booked and fixed at `start`."""
    return {
        "id": id,
        "minutes": 60,
        "arenas": ["hall"],
        "not_before": start,
        "not_after": start,
        "booked": {"start": start, "arena": "hall"},
    } | changes


def loose(id: str, start: str, until: str, **changes: Any) -> Data:  # noqa: A002
    """A lesson that may start in a window, booked at its beginning."""
    return lesson(id, start, not_after=until, **changes)


def day(*lessons: Data, **changes: Any) -> Data:
    return {
        "version": 1,
        "date": "2027-03-06",
        "zone": "Europe/Amsterdam",
        "opens": "08:00",
        "closes": "18:00",
        "place_every_cm": 50,
        "arenas": [arena()],
        "lessons": list(lessons),
    } | changes


def ordered(document: Data, **given: Any) -> Data:
    """Order a day with time enough to prove it on any machine."""
    return order_day(document, **{"seconds": 120} | given)
