"""Builders of wishes for a time, and what is found for them on the Saturday."""

from datetime import timedelta

from scheduling.finding.best import Choice
from scheduling.services.finding import find_times
from scheduling.services.finding_diary import Wish
from tests.clock import NOW, SATURDAY
from tests.factories.people import RiderFactory

SUNDAY = SATURDAY + timedelta(days=1)


EVERY = Choice(most=500, a_day=500, apart_min=0)


def found(now=NOW, choice=EVERY, **wish):
    given = {
        "work": "flat",
        "minutes": 60,
        "first_date": SATURDAY,
        "weeks": 1,
        "weekdays": frozenset({5}),
        "places": len(wish.get("riders", ())),
    } | wish
    return find_times(wish=Wish(**given), now=now, choice=choice)


def starts(**wish) -> list[str]:
    """The starts of all times of the Saturday, by the clock."""
    answers = found(**wish).answers
    return sorted({f"{one.starts_at:%H:%M}" for one in answers})


def day(first: int = 8, last: int = 19) -> list[str]:
    return [f"{hour:02}:00" for hour in range(first, last + 1)]


def without(*hours: int) -> list[str]:
    return [one for one in day() if int(one[:2]) not in hours]


def ridden(**ride):
    """A wish for one rider who has one horse to choose from."""
    rider = RiderFactory()
    return {"riders": [rider], "horses": [None]} | ride
