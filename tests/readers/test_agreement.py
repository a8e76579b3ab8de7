"""The readers against worked examples, and the product's calendars read by them."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar, Event, vRecur

from school.calendars.components import Entry
from school.calendars.snapshots import Snapshot
from school.calendars.zones import vtimezone
from tests.clock import NOW
from tests.readers.expand import READERS, agreed, present

ZONES = (
    "Europe/Amsterdam",
    "Europe/London",
    "America/New_York",
    "Australia/Sydney",
    "Asia/Kolkata",
)
YEAR = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))

WEEKLY_UNTIL = b"""BEGIN:VCALENDAR
PRODID:-//Worked example//EN
VERSION:2.0
BEGIN:VTIMEZONE
TZID:America/New_York
BEGIN:DAYLIGHT
DTSTART:19870405T020000
RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=4;UNTIL=20060402T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:19671029T020000
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10;UNTIL=20061029T060000Z
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
END:VTIMEZONE
BEGIN:VEVENT
UID:weekly-until
DTSTAMP:19970901T120000Z
DTSTART;TZID=America/New_York:19970902T090000
DTEND;TZID=America/New_York:19970902T100000
RRULE:FREQ=WEEKLY;UNTIL=19971224T000000Z
SUMMARY:Weekly until December 24
END:VEVENT
END:VCALENDAR
""".replace(b"\n", b"\r\n")


@pytest.mark.parametrize("name", READERS)
def test_a_reader_expands_the_standards_own_example(name: str) -> None:
    """RFC 5545 section 3.8.5.3, weekly until 24 December 1997, with the zone of 3.6.5.

    The text lists 2, 9, 16, 23, 30 September, 7, 14, 21 October in summer time,
    28 October to 23 December in standard time.
    """
    reader = present(name)
    autumn = (datetime(1997, 9, 1, tzinfo=UTC), datetime(1998, 1, 1, tzinfo=UTC))

    seen = [one.starts_at for one in reader(WEEKLY_UNTIL, *autumn)]

    summer = [(9, 2), (9, 9), (9, 16), (9, 23), (9, 30), (10, 7), (10, 14), (10, 21)]
    winter = [(10, 28), (11, 4), (11, 11), (11, 18), (11, 25)]
    winter += [(12, 2), (12, 9), (12, 16), (12, 23)]
    assert seen == [datetime(1997, m, d, 13, tzinfo=UTC) for m, d in summer] + [
        datetime(1997, m, d, 14, tzinfo=UTC) for m, d in winter
    ]


def weekly(zone: str, hour: int = 9) -> list[datetime]:
    """Return nine o'clock by a zone's wall clock, each Saturday of a year."""
    first = datetime(2027, 1, 2, hour, tzinfo=ZoneInfo(zone))
    return [first + timedelta(days=7 * week) for week in range(52)]


@pytest.mark.parametrize("zone", ZONES)
def test_a_feeds_lessons_are_at_nine_all_year_for_every_reader(zone: str) -> None:
    moments = weekly(zone)
    body = Snapshot(
        name="Lessons",
        zone=zone,
        refresh_min=60,
        entries=tuple(
            Entry(
                uid=UUID(int=n),
                sequence=0,
                changed_at=NOW,
                starts_at=moment,
                ends_at=moment + timedelta(minutes=45),
                summary=f"Lesson {n}",
            )
            for n, moment in enumerate(moments, start=1)
        ),
    ).body()

    seen = agreed(body, *YEAR)

    assert [one.starts_at for one in seen] == [one.astimezone(UTC) for one in moments]
    assert {one.ends_at - one.starts_at for one in seen} == {timedelta(minutes=45)}


@pytest.mark.parametrize("zone", ZONES)
def test_a_series_over_the_zones_own_rules_is_at_nine_for_every_reader(
    zone: str,
) -> None:
    """RFC 5545 sections 3.6.5, 3.3.10 (UNTIL in UTC), 3.8.4.4 and 3.8.5.1."""
    here, moments = ZoneInfo(zone), weekly(zone)
    left_out, moved = moments[5], moments[44]
    calendar = Calendar()
    calendar.add("prodid", "-//Series//EN")
    calendar.add("version", "2.0")
    calendar.add_component(vtimezone(zone))
    series = _event(moments[0])
    series.add(
        "rrule",
        vRecur(FREQ="WEEKLY", BYDAY="SA", UNTIL=moments[-1].astimezone(UTC)),
    )
    series.add("exdate", left_out)
    calendar.add_component(series)
    later = moved + timedelta(hours=2)
    exception = _event(later)
    exception.add("recurrence-id", moved)
    calendar.add_component(exception)

    seen = agreed(calendar.to_ical(), *YEAR)

    wanted = sorted({*moments, later} - {left_out, moved})
    assert [one.starts_at.astimezone(here) for one in seen] == wanted


def _event(start: datetime) -> Event:
    event = Event()
    event.add("uid", "series")
    event.add("dtstamp", NOW.astimezone(UTC))
    event.add("dtstart", start)
    event.add("dtend", start + timedelta(hours=1))
    event.add("summary", "Lesson")
    return event


@pytest.mark.parametrize("zone", ZONES)
def test_an_empty_feed_is_taken_by_every_reader(zone: str) -> None:
    body = Snapshot("Nothing", zone, 60, ()).body()

    assert agreed(body, *YEAR) == []


@pytest.mark.parametrize(
    "title",
    [
        'Line one\nline two, with; signs \\ and "quotes"',
        "🐴 Ponies & plänks, été",
        "درس القفز with Mira",
        "x" * 300,
        "é" * 300,
    ],
    ids=["signs", "emoji", "right-to-left", "300-letters", "300-accents"],
)
def test_an_odd_title_is_the_same_for_every_reader(title: str) -> None:
    """RFC 5545 sections 3.1 (folding by octets) and 3.3.11 (escapes)."""
    start = datetime.combine(date(2027, 3, 6), datetime.min.time(), UTC)
    entry = Entry(
        uid=UUID(int=1),
        sequence=0,
        changed_at=NOW,
        starts_at=start,
        ends_at=start + timedelta(hours=1),
        summary=title,
        description=title,
    )
    body = Snapshot(title, "Europe/London", 60, (entry,)).body()

    (one,) = agreed(body, *YEAR)

    assert one.summary == " ".join(title.split())
