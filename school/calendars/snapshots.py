"""Feeds as text: snapshots without METHOD, the same bytes for the same data.

Written line by line, since a year of lessons must not cost more than a few
hundredths of a second; the tests hold every line against icalendar's own.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from operator import attrgetter

from school.calendars.components import PRODID, Entry, clean, one_line
from school.calendars.zones import vtimezone

FORMAT = 2
"""Raised when the same entries are written otherwise than before."""

LONGEST_LINE = 75
_WRITTEN = attrgetter(
    "uid",
    "sequence",
    "changed_at",
    "starts_at",
    "ends_at",
    "summary",
    "location",
    "description",
    "url",
    "category",
    "alarm_min",
    "free",
)
_ESCAPES = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What a feed shows; `digest` tells two apart without writing either."""

    name: str
    zone: str
    refresh_min: int
    entries: tuple[Entry, ...]

    @property
    def digest(self) -> str:
        """Digest everything that is written, so that a reader who has it is known."""
        parts = (FORMAT, self.name, self.zone, self.refresh_min)
        told = hashlib.sha256(repr(parts).encode())
        for entry in self.entries:
            plain = [
                one.timestamp() if isinstance(one, datetime) else str(one)
                for one in _WRITTEN(entry)
            ]
            told.update(repr(plain).encode("utf-8", "surrogatepass"))
        return told.hexdigest()

    def body(self) -> bytes:
        """Return the feed's text.

        RFC 5545 section 3.7.2 (no METHOD), RFC 7986 sections 5.1 and 5.7 (NAME, and
        REFRESH-INTERVAL with VALUE=DURATION).
        """
        name = _text(one_line(self.name))
        lines = [
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            f"PRODID:{PRODID}",
            "CALSCALE:GREGORIAN",
            f"NAME:{name}",
            f"X-WR-CALNAME:{name}",
            f"REFRESH-INTERVAL;VALUE=DURATION:PT{self.refresh_min}M",
            f"X-PUBLISHED-TTL:PT{self.refresh_min}M",
            f"X-WR-TIMEZONE:{self.zone}",
        ]
        for entry in sorted(self.entries, key=lambda one: (one.starts_at, one.uid)):
            lines += _event(entry)
        text = "".join(_folded(line) for line in lines)
        if not self.entries:
            # A calendar needs one component at least (RFC 5545 section 3.6).
            text += vtimezone(self.zone).to_ical().decode()
        return f"{text}END:VCALENDAR\r\n".encode()


def _event(entry: Entry) -> Iterator[str]:
    """Yield the lines of an entry, in UTC (RFC 5545 section 3.6.1)."""
    changed = _utc(entry.changed_at)
    yield "BEGIN:VEVENT"
    yield f"SUMMARY:{_text(one_line(entry.summary))}"
    yield f"DTSTART:{_utc(entry.starts_at)}"
    yield f"DTEND:{_utc(entry.ends_at)}"
    yield f"DTSTAMP:{changed}"
    yield f"UID:{entry.uid}"
    yield f"SEQUENCE:{entry.sequence}"
    if entry.category:
        yield f"CATEGORIES:{_text(one_line(entry.category))}"
    if entry.description:
        yield f"DESCRIPTION:{_text(clean(entry.description))}"
    # Without METHOD both say when the thing last changed (section 3.8.7.2).
    yield f"LAST-MODIFIED:{changed}"
    if entry.location:
        yield f"LOCATION:{_text(one_line(entry.location))}"
    yield "STATUS:TENTATIVE" if entry.tentative else "STATUS:CONFIRMED"
    yield "TRANSP:TRANSPARENT" if entry.free else "TRANSP:OPAQUE"
    if entry.url:
        yield f"URL:{one_line(entry.url)}"
    if entry.alarm_min is not None:
        yield "BEGIN:VALARM"
        yield "ACTION:DISPLAY"
        yield f"DESCRIPTION:{_text(one_line(entry.summary))}"
        yield f"TRIGGER:-PT{entry.alarm_min}M"
        yield "END:VALARM"
    yield "END:VEVENT"


def _utc(moment: datetime) -> str:
    utc = moment.astimezone(UTC)
    # Faster than strftime, which a year of lessons feels.
    return (
        f"{utc.year:04}{utc.month:02}{utc.day:02}"
        f"T{utc.hour:02}{utc.minute:02}{utc.second:02}Z"
    )


def _text(text: str) -> str:
    """Escape a text (RFC 5545 section 3.3.11)."""
    return text.translate(_ESCAPES)


def _folded(line: str) -> str:
    """Fold a line at 75 octets, never inside a character (RFC 5545 section 3.1)."""
    if line.isascii():
        if len(line) <= LONGEST_LINE:
            return f"{line}\r\n"
        rest = range(LONGEST_LINE, len(line), LONGEST_LINE - 1)
        parts = [line[:LONGEST_LINE], *(line[n : n + LONGEST_LINE - 1] for n in rest)]
        return "\r\n ".join(parts) + "\r\n"
    folded, length = [], 0
    for character in line:
        octets = len(character.encode())
        if length + octets > LONGEST_LINE:
            folded.append("\r\n ")
            length = 1
        folded.append(character)
        length += octets
    return f"{''.join(folded)}\r\n"
