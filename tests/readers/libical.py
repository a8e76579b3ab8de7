"""Expand the calendar on standard input with libical and print what it found.

Run by the system's Python, which has the binding. Arguments: first and last
moment, in seconds since 1970. libical leaves changed occurrences to its caller.
"""

import json
import sys

import gi

gi.require_version("ICalGLib", "3.0")
from gi.repository import ICalGLib  # noqa: E402 -- its version is asked for first

Time, Kind, What = ICalGLib.Time, ICalGLib.ComponentKind, ICalGLib.PropertyKind
ERRORS = ("X-LIC-ERROR",)


def parts(component, kind):
    one = component.get_first_component(kind)
    while one is not None:
        yield one
        one = component.get_next_component(kind)


def seconds(prop):
    """Return the moment of a property, in the zone that the file describes."""
    time = prop.get_datetime_with_component(None)
    return time.as_timet_with_zone(time.get_timezone())


def moment(event, kind):
    prop = event.get_first_property(kind)
    return None if prop is None else seconds(prop)


def main():
    first, last = int(sys.argv[1]), int(sys.argv[2])
    text = sys.stdin.buffer.read().decode()
    calendar = ICalGLib.Component.new_from_string(text)
    if calendar is None or any(word in calendar.as_ical_string() for word in ERRORS):
        sys.exit(f"libical finds errors:\n{calendar and calendar.as_ical_string()}")
    events = list(parts(calendar, Kind.VEVENT_COMPONENT))
    instead = {}
    for event in events:
        original = moment(event, What.RECURRENCEID_PROPERTY)
        if original is not None:
            instead[(event.get_uid(), original)] = event
    found = []

    def note(event, start, end):
        if start < last and end > first:
            found.append([event.get_uid(), start, end, event.get_summary() or ""])

    def spans(event):
        begin, end = (
            Time.new_from_timet_with_zone(at, 0, ICalGLib.Timezone.get_utc_timezone())
            for at in (first - 366 * 86400, last + 366 * 86400)
        )
        held = []
        event.foreach_recurrence(
            begin,
            end,
            lambda _, span, *more: held.append((span.get_start(), span.get_end())),
        )
        return held

    for event in events:
        if moment(event, What.RECURRENCEID_PROPERTY) is not None:
            note(
                event,
                moment(event, What.DTSTART_PROPERTY),
                moment(event, What.DTEND_PROPERTY),
            )
            continue
        for start, end in spans(event):
            if (event.get_uid(), start) not in instead:
                note(event, start, end)
    sys.stdout.write(json.dumps(found))


if __name__ == "__main__":
    main()
