from datetime import date, datetime, timedelta

import pytest

from school.models import School
from school.queries.schools import free_until
from tests.clock import AUTUMN_CHANGE, SATURDAY, SPRING_CHANGE, at

DAY = timedelta(days=1)
SCHOOL = School(zone="Europe/Amsterdam", notice_hours=48)


@pytest.mark.parametrize(
    "day",
    [SATURDAY, SPRING_CHANGE, AUTUMN_CHANGE, SPRING_CHANGE + timedelta(days=1)],
    ids=["any-day", "spring", "autumn", "day-after"],
)
def test_notice_is_counted_to_the_clock(day: date) -> None:
    """48 hours for 17:30 end at 17:30 two days before, as yards' terms count them,
    also where a clock change makes them 47 or 49 hours."""
    until = free_until(SCHOOL, at("17:30", day), None)

    assert until == at("17:30", day - timedelta(days=2))


@pytest.mark.parametrize(
    ("moved", "until"),
    [
        (at("12:00", SATURDAY - timedelta(days=5)), at("09:00", SATURDAY - 2 * DAY)),
        (at("08:00", SATURDAY - 2 * DAY), at("08:00", SATURDAY)),
        (at("20:00", SATURDAY - DAY), at("09:00")),
    ],
    ids=["long before", "just before", "after the free time"],
)
def test_who_is_moved_has_the_notice_hours_anew_to_the_lesson_at_most(
    moved: datetime, until: datetime
) -> None:
    """Nobody pays for a change that was not theirs: common practice, no source."""
    assert free_until(SCHOOL, at("09:00"), moved) == until
