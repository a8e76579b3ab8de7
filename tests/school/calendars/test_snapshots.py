"""Feeds as text, read back by parsers that did not write them."""

import dataclasses
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import icalendar
import pytest
import recurring_ical_events
from hypothesis import given
from hypothesis import strategies as st

from school.calendars.components import Entry, clean, event, one_line
from school.calendars.snapshots import Snapshot
from tests.clock import AUTUMN_CHANGE, NOW, SATURDAY, SPRING_CHANGE, at
from tests.school.calendars.readers import events, starts


def entry(**changes: object) -> Entry:
    fields: dict[str, object] = {
        "uid": UUID(int=1),
        "sequence": 3,
        "changed_at": NOW,
        "starts_at": at("09:00"),
        "ends_at": at("10:00"),
        "summary": "Lesson Mira: jumping",
    }
    return Entry(**(fields | changes))  # type: ignore[arg-type]


def snapshot_of(*entries: Entry) -> Snapshot:
    return Snapshot("Lessons, North Yard", "Europe/Amsterdam", 60, entries)


def feed_of(*entries: Entry) -> bytes:
    return snapshot_of(*entries).body()


def unfolded(body: bytes) -> str:
    return body.decode().replace("\r\n ", "")


def test_a_feed_is_a_snapshot_without_a_method() -> None:
    """RFC 5545 section 3.7.2."""
    assert "METHOD" not in unfolded(feed_of(entry()))


def test_a_feed_says_its_name_zone_and_refresh() -> None:
    """RFC 7986 sections 5.1 and 5.7; the X- names are what readers also heed."""
    text = unfolded(feed_of(entry()))

    assert "NAME:Lessons\\, North Yard\r\n" in text
    assert "X-WR-CALNAME:Lessons\\, North Yard\r\n" in text
    assert "X-WR-TIMEZONE:Europe/Amsterdam\r\n" in text
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT60M\r\n" in text
    assert "X-PUBLISHED-TTL:PT60M\r\n" in text


def test_the_same_data_give_the_same_bytes_in_any_order() -> None:
    one, two = entry(), entry(uid=UUID(int=2), starts_at=at("08:00"))

    assert feed_of(one, two) == feed_of(two, one)


def test_a_feed_is_sorted_by_start() -> None:
    late, early = entry(), entry(uid=UUID(int=2), starts_at=at("08:00"))

    assert starts(feed_of(late, early)) == [
        at("08:00").astimezone(UTC),
        at("09:00").astimezone(UTC),
    ]


def test_stamp_and_last_change_are_the_same_without_a_method() -> None:
    """RFC 5545 section 3.8.7.2."""
    (one,) = events(feed_of(entry()))

    assert one.dtstamp.value == one.last_modified.value == NOW
    assert one.sequence.value == "3"


def test_an_empty_feed_still_has_a_component() -> None:
    """RFC 5545 section 3.6."""
    calendar = icalendar.Calendar.from_ical(feed_of())

    assert [one.name for one in calendar.subcomponents] == ["VTIMEZONE"]


@pytest.mark.parametrize(
    ("day", "utc_hour"),
    [
        (SATURDAY, 8),
        (SPRING_CHANGE - timedelta(days=1), 8),
        (SPRING_CHANGE, 7),
        (AUTUMN_CHANGE - timedelta(days=1), 7),
        (AUTUMN_CHANGE, 8),
    ],
    ids=["winter", "before-spring", "spring", "before-autumn", "autumn"],
)
def test_nine_by_the_wall_clock_is_the_right_moment_in_two_readers(
    day: date, utc_hour: int
) -> None:
    body = feed_of(entry(starts_at=at("09:00", day), ends_at=at("10:00", day)))
    moment = datetime(day.year, day.month, day.day, utc_hour, tzinfo=UTC)

    (expanded,) = recurring_ical_events.of(icalendar.Calendar.from_ical(body)).at(day)

    assert starts(body) == [moment]
    assert expanded.start == moment


@given(st.text(max_size=300))
def test_any_title_survives_writing_and_reading(title: str) -> None:
    body = feed_of(entry(summary=title, description=title))

    (one,) = icalendar.Calendar.from_ical(body).walk("VEVENT")
    assert str(one["summary"]) == one_line(title)
    assert str(one.get("description", "")) == clean(title)


@given(st.text(max_size=300))
def test_no_title_breaks_a_line_or_carries_a_control_character(title: str) -> None:
    """RFC 5545 sections 3.1 and 3.3.11: lines of 75 octets, CRLF, no controls."""
    body = feed_of(entry(summary=title))

    lines = body.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not any(byte < 32 and byte != 9 for line in lines for byte in line)


def test_an_alarm_has_what_a_display_needs() -> None:
    """RFC 5545 section 3.6.6: ACTION, TRIGGER, and DESCRIPTION for DISPLAY."""
    (one,) = events(
        feed_of(
            entry(
                alarm_min=10,
                url="https://x.example.org/",
                category="reset",
                location="Hall",
            )
        )
    )

    assert one.valarm.action.value == "DISPLAY"
    assert one.valarm.trigger.value == timedelta(minutes=-10)
    assert one.valarm.description.value == "Lesson Mira: jumping"
    assert one.location.value == "Hall"


def library_lines(one: Entry) -> set[str]:
    """Return the lines icalendar itself writes for an entry."""
    component = event(one)
    component.add("last-modified", one.changed_at.astimezone(UTC))
    text = component.to_ical().decode().replace("\r\n ", "")
    return set(text.split("\r\n"))


@given(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=200),
    st.integers(0, 2**31),
    st.booleans(),
)
def test_every_line_of_an_entry_is_as_icalendar_writes_it(
    text: str, sequence: int, more: bool
) -> None:
    one = entry(
        summary=text,
        description=text,
        location=text,
        sequence=sequence,
        category="reset" if more else "",
        url="https://x.example.org/a,b;c" if more else "",
        alarm_min=15 if more else None,
    )

    lines = set(unfolded(feed_of(one)).split("\r\n"))

    ours = lines - {"STATUS:CONFIRMED", "TRANSP:OPAQUE"}
    assert library_lines(one) - {"DESCRIPTION:", "LOCATION:"} <= ours


@pytest.mark.parametrize(("free", "line"), [(False, "OPAQUE"), (True, "TRANSPARENT")])
def test_an_entry_fills_time_or_leaves_it_free(free: bool, line: str) -> None:
    """RFC 5545 section 3.8.2.7."""
    assert f"TRANSP:{line}\r\n" in unfolded(feed_of(entry(free=free)))


@pytest.mark.parametrize(
    "change",
    [
        {"summary": "Lesson Mira: flat"},
        {"sequence": 4},
        {"changed_at": NOW + timedelta(seconds=1)},
        {"starts_at": at("09:15")},
        {"ends_at": at("10:15")},
        {"location": "Hall"},
        {"description": "With Anneke."},
        {"url": "https://x.example.org/"},
        {"alarm_min": 10},
        {"free": True},
        {"uid": UUID(int=2)},
    ],
    ids=lambda change: next(iter(change)),
)
def test_whatever_is_written_otherwise_is_digested_otherwise(change) -> None:
    one, other = snapshot_of(entry()), snapshot_of(entry(**change))

    assert one.body() != other.body()
    assert one.digest != other.digest


def test_the_same_moment_in_another_zone_is_the_same_feed() -> None:
    one = snapshot_of(entry())
    other = snapshot_of(entry(starts_at=at("09:00").astimezone(UTC)))

    assert (one.body(), one.digest) == (other.body(), other.digest)


@pytest.mark.parametrize("field", ["name", "zone", "refresh_min"])
def test_what_the_feed_says_of_itself_is_digested_too(field: str) -> None:
    one = snapshot_of()
    other = {"name": "Others", "zone": "Europe/London", "refresh_min": 15}[field]

    assert dataclasses.replace(one, **{field: other}).digest != one.digest
