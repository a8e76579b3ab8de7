"""VTIMEZONE with yearly rules, from the zone's own rule in the zone database.

Written here because the library's own lists every change as a date, which some
readers take for one date only. RFC 5545 section 3.6.5: an onset is local time
in the offset before it.
"""

import re
from datetime import datetime, timedelta
from importlib.resources import files

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard, vRecur

_RULE = re.compile(
    r"(?P<std>[A-Za-z]{3,}|<[^>]+>)(?P<off>[+-]?[\d:]+)"
    r"(?:(?P<dst>[A-Za-z]{3,}|<[^>]+>)(?P<doff>[+-]?[\d:]+)?"
    r",M(?P<m1>\d+)\.(?P<w1>\d)\.(?P<d1>\d)(?:/(?P<t1>\d+))?"
    r",M(?P<m2>\d+)\.(?P<w2>\d)\.(?P<d2>\d)(?:/(?P<t2>\d+))?)?"
)
_DAYS = ("SU", "MO", "TU", "WE", "TH", "FR", "SA")


class UnableToSayZone(ValueError):
    """A zone whose rule has no form as yearly rules."""


def posix_rule(zone: str) -> str:
    """Return the last line of a zone's file: its rule from now on."""
    path = files("tzdata.zoneinfo").joinpath(*zone.split("/"))
    return path.read_bytes().rstrip(b"\n").rsplit(b"\n", 1)[-1].decode("ascii")


def vtimezone(zone: str) -> Timezone:
    """Return the VTIMEZONE of an IANA zone.

    Raises
    ------
    UnableToSayZone
        If its rule uses a form other than months, weeks and days.
    """
    found = _RULE.fullmatch(posix_rule(zone))
    if found is None:
        raise UnableToSayZone(f"the rule of {zone} has no yearly form")
    component = Timezone()
    component.add("tzid", zone)
    standard = -_offset(found["off"])
    if found["dst"] is None:
        part = _part(TimezoneStandard(), found["std"], standard, standard)
        component.add_component(part)
        return component
    summer = -_offset(found["doff"]) if found["doff"] else standard + timedelta(hours=1)
    for kind, name, before, after, n in (
        (TimezoneDaylight(), found["dst"], standard, summer, "1"),
        (TimezoneStandard(), found["std"], summer, standard, "2"),
    ):
        hour = int(found[f"t{n}"] or 2)
        rule = (int(found[f"m{n}"]), int(found[f"w{n}"]), int(found[f"d{n}"]), hour)
        component.add_component(_part(kind, name, before, after, rule))
    return component


def _offset(text: str) -> timedelta:
    sign = -1 if text.startswith("-") else 1
    hours, _, minutes = text.lstrip("+-").partition(":")
    return sign * timedelta(hours=int(hours), minutes=int(minutes or 0))


def _part(
    part: TimezoneDaylight | TimezoneStandard,
    name: str,
    before: timedelta,
    after: timedelta,
    rule: tuple[int, int, int, int] | None = None,
) -> TimezoneDaylight | TimezoneStandard:
    part.add("tzname", name.strip("<>"))
    part.add("tzoffsetfrom", before)
    part.add("tzoffsetto", after)
    if rule is None:
        part.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 -- local by RFC 5545
        return part
    month, week, day, hour = rule
    nth = -1 if week == 5 else week
    part.add("dtstart", _first(month, nth, day, hour))
    part.add(
        "rrule",
        vRecur(FREQ="YEARLY", BYMONTH=month, BYDAY=f"{nth}{_DAYS[day]}"),
    )
    return part


def _first(month: int, nth: int, day: int, hour: int) -> datetime:
    """Return the rule's first onset, in 1971."""
    first = datetime(1971, month, 1, hour)  # noqa: DTZ001 -- local by RFC 5545
    # Python counts weekdays from Monday, the rule from Sunday.
    ahead = (day - (first.weekday() + 1) % 7) % 7
    onset = first + timedelta(days=ahead + 7 * (max(nth, 1) - 1))
    if nth == -1:
        while (onset + timedelta(days=7)).month == month:
            onset += timedelta(days=7)
    return onset
