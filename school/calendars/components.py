"""A thin skin over icalendar: clean text, stable bytes, UTC but for series."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, vRecur, vText, vUri

from school.calendars.zones import vtimezone

PRODID = "-//Grid lessons//Riding school//EN"


_BAD = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f\\ud800-\\udfff]")


def clean(text: str) -> str:
    """Drop what a calendar must not carry: control characters and surrogates."""
    if text.isprintable():
        return text
    return _BAD.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def one_line(text: str) -> str:
    """Clean a title and put it on one line."""
    return " ".join(clean(text).split())


@dataclass(frozen=True, slots=True)
class Weekly:
    """Every week until `until`, but on the `skipped` moments."""

    until: datetime
    skipped: tuple[datetime, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """One calendar entry; moments are aware, text is plain.

    With a `zone` its times are written as that zone's clock shows them, which a
    series needs (RFC 5545 section 3.8.5.3), else in UTC. `instead_of` is the
    original start of the one occurrence of a series it speaks of. What is `free`
    leaves the time of who looks at it free; what is `tentative` may still move.
    """

    uid: UUID
    sequence: int
    changed_at: datetime
    starts_at: datetime
    ends_at: datetime
    summary: str
    location: str = ""
    description: str = ""
    url: str = ""
    category: str = ""
    alarm_min: int | None = None
    free: bool = False
    zone: str = ""
    weekly: Weekly | None = None
    instead_of: datetime | None = None
    answer: str = "NEEDS-ACTION"
    tentative: bool = False


_WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def event(entry: Entry) -> Event:
    """Return the VEVENT of an entry (RFC 5545 section 3.6.1)."""
    zone = ZoneInfo(entry.zone) if entry.zone else UTC
    component = Event()
    component.add("uid", str(entry.uid))
    component.add("dtstamp", entry.changed_at.astimezone(UTC).replace(microsecond=0))
    component.add("sequence", entry.sequence)
    component.add("dtstart", entry.starts_at.astimezone(zone))
    component.add("dtend", entry.ends_at.astimezone(zone))
    if entry.instead_of is not None:
        # Of the kind of the series' DTSTART (RFC 5545 section 3.8.4.4).
        component.add("recurrence-id", entry.instead_of.astimezone(zone))
    if entry.weekly is not None:
        day = _WEEKDAYS[entry.starts_at.astimezone(zone).weekday()]
        # UNTIL is in UTC when DTSTART has a TZID (RFC 5545 section 3.3.10).
        until = entry.weekly.until.astimezone(UTC)
        component.add("rrule", vRecur(FREQ="WEEKLY", UNTIL=until, BYDAY=day))
        for moment in entry.weekly.skipped:
            component.add("exdate", moment.astimezone(zone))
    component.add("summary", vText(one_line(entry.summary)))
    if entry.location:
        component.add("location", vText(one_line(entry.location)))
    if entry.description:
        component.add("description", vText(clean(entry.description)))
    if entry.url:
        component.add("url", vUri(entry.url))
    if entry.category:
        component.add("categories", [entry.category])
    if entry.alarm_min is not None:
        component.add_component(_alarm(entry))
    return component


def _alarm(entry: Entry) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", -timedelta(minutes=entry.alarm_min or 0))
    alarm.add("description", vText(one_line(entry.summary)))
    return alarm


def itip(
    *,
    method: str,
    entries: Sequence[Entry],
    organiser: tuple[str, str],
    attendee: tuple[str, str],
) -> bytes:
    """Return an iTIP message to one attendee (RFC 5546 sections 3.2.2, 3.2.5).

    Parameters
    ----------
    method
        REQUEST or CANCEL.
    entries
        The lesson, or a series with its exceptions, all of one UID; `changed_at`
        is when the message was made.
    organiser, attendee
        Name and mail address.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method)
    for zone in sorted({entry.zone for entry in entries if entry.zone}):
        # Each TZID used has its VTIMEZONE (RFC 5545 section 3.6.5).
        calendar.add_component(vtimezone(zone))
    for entry in entries:
        calendar.add_component(_asked(method, entry, organiser, attendee))
    return bytes(calendar.to_ical())


def _asked(
    method: str, entry: Entry, organiser: tuple[str, str], attendee: tuple[str, str]
) -> Event:
    component = event(entry)
    component.add(
        "organizer",
        f"mailto:{organiser[1]}",
        parameters={"CN": one_line(organiser[0]).replace('"', "'")},
    )
    asks = method == "REQUEST"
    parameters = {
        "CN": one_line(attendee[0]).replace('"', "'"),
        "ROLE": "REQ-PARTICIPANT",
        "CUTYPE": "INDIVIDUAL",
    }
    if asks:
        # Who has answered is not asked anew when only words change.
        answered = entry.answer != "NEEDS-ACTION"
        parameters |= {
            "PARTSTAT": entry.answer,
            "RSVP": "FALSE" if answered else "TRUE",
        }
    component.add("attendee", f"mailto:{attendee[1]}", parameters=parameters)
    held = "TENTATIVE" if entry.tentative else "CONFIRMED"
    component.add("status", held if asks else "CANCELLED")
    component.add("transp", "OPAQUE")
    return component
