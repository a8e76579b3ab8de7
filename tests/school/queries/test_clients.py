"""What a client is told of the free time says the same wherever it stands."""

from datetime import timedelta

import pytest
from django.utils import timezone

from school.calendars.personal import personal_snapshot
from school.queries.clients import next_lessons
from school.queries.schools import free_until
from school.services.feeds import make_feed
from tests.clock import AUTUMN_CHANGE, SPRING_CHANGE, at
from tests.factories.lessons import RideFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "day", [SPRING_CHANGE, AUTUMN_CHANGE], ids=["spring", "autumn"]
)
def test_a_day_ahead_is_the_same_clock_time_also_when_the_clocks_change(day) -> None:
    school = SchoolFactory(notice_hours=24)
    ride = RideFactory(lesson__starts_at=at("10:00", day))
    client = ride.rider.client
    now = at("10:00", day - timedelta(days=5))
    token, _ = make_feed(kind="client", holder=client.person, now=now)

    with timezone.override(school.zone):
        shown = next_lessons(client, school, now)[0].cancel_until
        entry = personal_snapshot(school, token, now).entries[0]

    assert shown == at("10:00", day - timedelta(days=1))
    assert shown == free_until(school, ride.lesson.starts_at, None)
    assert "Free to cancel until Saturday" in entry.description
    assert " 10:00, by the link" in entry.description
