"""VTIMEZONEs against the zone database, through dateutil as the reader."""

from datetime import datetime, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical
from icalendar import Calendar

from school.calendars import zones
from school.calendars.zones import UnableToSayZone, vtimezone


@pytest.mark.parametrize(
    "zone",
    [
        "Europe/Amsterdam",
        "Europe/London",
        "Europe/Lisbon",
        "America/New_York",
        "Australia/Sydney",
        "Asia/Tokyo",
        "Asia/Kolkata",
    ],
)
def test_every_noon_of_ten_years_has_the_zone_databases_offset(zone: str) -> None:
    """RFC 5545 section 3.6.5; read by dateutil, which did not write it."""
    calendar = Calendar()
    calendar.add_component(vtimezone(zone))
    read = tzical(StringIO(calendar.to_ical().decode())).get(zone)
    noon = datetime(2026, 1, 1, 12)  # noqa: DTZ001 -- given each zone below

    for day in range(0, 3650, 3):
        moment = noon + timedelta(days=day)
        assert (
            read.utcoffset(moment) == moment.replace(tzinfo=ZoneInfo(zone)).utcoffset()
        )


def test_a_rule_without_a_yearly_form_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(zones, "posix_rule", lambda zone: "AAA3BBB,J60/2,J300/2")

    with pytest.raises(UnableToSayZone, match="no yearly form"):
        vtimezone("Europe/Nowhere")


def test_a_summer_time_that_names_its_offset_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        zones, "posix_rule", lambda zone: "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0"
    )

    text = vtimezone("Australia/Lord_Howe").to_ical().decode()

    assert "TZOFFSETTO:+1100" in text
    assert "TZOFFSETTO:+1030" in text
