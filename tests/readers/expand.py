"""What a calendar's readers see: occurrences expanded by parsers that did not write it.

ical.js and libical take the zones from the file; vobject with dateutil too;
recurring-ical-events stands on icalendar, which writes the product's calendars, and
is kept as the one that knows zones by their names.
"""

import json
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import icalendar
import pytest
import recurring_ical_events
import vobject

HERE = Path(__file__).parent
SYSTEM_PYTHON = "/usr/bin/python3"


@dataclass(frozen=True, slots=True, order=True)
class Occurrence:
    """One time something takes place, in UTC."""

    starts_at: datetime
    ends_at: datetime
    uid: str
    summary: str


Reader = Callable[[bytes, datetime, datetime], list[Occurrence]]


def by_recurring(body: bytes, first: datetime, last: datetime) -> list[Occurrence]:
    found = recurring_ical_events.of(icalendar.Calendar.from_ical(body))
    return sorted(
        Occurrence(
            one.start.astimezone(UTC),
            one.end.astimezone(UTC),
            str(one["uid"]),
            str(one.get("summary", "")),
        )
        for one in found.between(first, last)
    )


def by_vobject(body: bytes, first: datetime, last: datetime) -> list[Occurrence]:
    # It keeps each zone it ever read by its name; this file's own is meant.
    for known in set(vobject.icalendar.__tzidMap) - {"UTC"}:
        del vobject.icalendar.__tzidMap[known]
    calendar = vobject.readOne(body.decode())
    calendar.validate(raiseException=True)
    events = calendar.contents.get("vevent", [])
    instead = {
        (one.uid.value, one.recurrence_id.value.astimezone(UTC))
        for one in events
        if hasattr(one, "recurrence_id")
    }
    found = []
    for event in events:
        begin, end = event.dtstart.value, event.dtend.value
        starts = [begin]
        if event.rruleset is not None and not hasattr(event, "recurrence_id"):
            starts = [
                one
                for one in event.rruleset
                if (event.uid.value, one.astimezone(UTC)) not in instead
            ]
        # An hour later by the wall clock is not an hour later where clocks change.
        length = end.astimezone(UTC) - begin.astimezone(UTC)
        for start in starts:
            moment = start.astimezone(UTC)
            summary = event.summary.value if hasattr(event, "summary") else ""
            one = Occurrence(moment, moment + length, event.uid.value, summary)
            if one.starts_at < last and one.ends_at > first:
                found.append(one)
    return sorted(found)


def by_ical_js(body: bytes, first: datetime, last: datetime) -> list[Occurrence]:
    return _by_program(["node", "ical_js.mjs"], body, first, last)


def by_libical(body: bytes, first: datetime, last: datetime) -> list[Occurrence]:
    return _by_program([SYSTEM_PYTHON, "libical.py"], body, first, last)


def _by_program(
    program: list[str], body: bytes, first: datetime, last: datetime
) -> list[Occurrence]:
    command = [*program, str(int(first.timestamp())), str(int(last.timestamp()))]
    done = subprocess.run(command, input=body, capture_output=True, cwd=HERE)
    assert done.returncode == 0, done.stderr.decode()
    return sorted(
        Occurrence(
            datetime.fromtimestamp(start, UTC),
            datetime.fromtimestamp(end, UTC),
            uid,
            summary,
        )
        for uid, start, end, summary in json.loads(done.stdout)
    )


READERS: dict[str, Reader] = {
    "recurring-ical-events": by_recurring,
    "vobject": by_vobject,
    "ical.js": by_ical_js,
    "libical": by_libical,
}


@cache
def absent(name: str) -> str:
    """Say what a reader lacks on this machine; nothing, if it can be used."""
    if name == "ical.js":
        if shutil.which("node") is None:
            return "ical.js is not asked: there is no node"
        if not (HERE / "node_modules" / "ical.js").exists():
            return "ical.js is not asked: run npm ci in tests/readers"
    if name == "libical":
        done = subprocess.run(
            [SYSTEM_PYTHON, "-c", "import gi; gi.require_version('ICalGLib', '3.0')"],
            capture_output=True,
        )
        if done.returncode:
            return "libical is not asked: install gir1.2-ical-3.0 and python3-gi"
    return ""


def present(name: str) -> Reader:
    """Return a reader; the test is left out where it is absent, and says why."""
    why = absent(name)
    if why and os.environ.get("REQUIRE_READERS"):
        raise RuntimeError(f"REQUIRE_READERS is set, and {why}")
    if why:
        pytest.skip(why)
    return READERS[name]


def agreed(body: bytes, first: datetime, last: datetime) -> list[Occurrence]:
    """Return what all the readers that are here see; they must see the same.

    Where the readers are demanded, each of them is asked.
    """
    seen = {
        name: reader(body, first, last)
        for name, reader in READERS.items()
        if os.environ.get("REQUIRE_READERS") or not absent(name)
    }
    one = next(iter(seen.values()))
    for name, other in seen.items():
        assert other == one, f"{name} sees something else than the first reader"
    return one
