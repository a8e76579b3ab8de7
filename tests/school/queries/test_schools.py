from datetime import date, timedelta

import pytest

from school.models import School
from school.queries.schools import free_until
from tests.clock import AUTUMN_CHANGE, SATURDAY, SPRING_CHANGE, at

SCHOOL = School(zone="Europe/Amsterdam", notice_hours=48)


@pytest.mark.parametrize(
    "day",
    [SATURDAY, SPRING_CHANGE, AUTUMN_CHANGE, SPRING_CHANGE + timedelta(days=1)],
    ids=["any-day", "spring", "autumn", "day-after"],
)
def test_notice_is_counted_to_the_clock(day: date) -> None:
    """48 hours for 17:30 end at 17:30 two days before, as yards' terms count them,
    also where a clock change makes them 47 or 49 hours."""
    until = free_until(SCHOOL, at("17:30", day))

    assert until == at("17:30", day - timedelta(days=2))
