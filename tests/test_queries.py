"""No page of the manager or of a client asks more of the database for more rows."""

import pkgutil
from collections import Counter
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from importlib import import_module

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from factory.django import DjangoModelFactory

import tests.factories
from scheduling.models import DayPlan
from school.models import Ride
from school.services.invitations import lesson_changed
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.packs import ConsentFactory, LessonPackFactory, MakeUpCreditFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    PlannedLessonFactory,
)
from tests.factories.ride_logs import RiddenRideFactory, RideNoteFactory
from tests.factories.series import plan as weekly_plan
from tests.factories.series import weekly
from tests.factories.waiting import WaitingOfferFactory, WaitingWishFactory
from tests.test_sweeps import GET, PAGES, things

pytestmark = pytest.mark.django_db

LEFT_OUT = {
    "touched": "does all it asks about and takes it back; "
    "tests/scheduling/web/test_out.py says what each lesson and rider adds",
}

COUNTED = [
    one
    for one in PAGES
    if (GET[one][-1] == 200 or one == "home") and one not in LEFT_OUT
]
"""Every page that shows something, and the first, which looks where to send."""


def factories() -> list[type[DjangoModelFactory]]:
    """Find every builder there is, so that a new thing is counted without a word."""
    found = []
    for module in pkgutil.iter_modules(tests.factories.__path__):
        name = f"tests.factories.{module.name}"
        found += [
            one
            for one in vars(import_module(name)).values()
            if isinstance(one, type)
            and issubclass(one, DjangoModelFactory)
            and one.__module__ == name
        ]
    return found


def one_more(n: int) -> None:
    """Add one of everything to the world: by itself, and to what the pages show."""
    for factory in factories():
        try:
            with transaction.atomic():
                factory()
        except IntegrityError:
            pass  # There may be one only, or not at that hour.
    ride = Ride.objects.order_by("pk").first()
    assert ride is not None
    lesson, rider = ride.lesson, ride.rider
    # On the same day, whatever the hour of the world's first lesson.
    sign = 1 if lesson.starts_at.hour < 16 else -1
    starts_at = lesson.starts_at + timedelta(hours=sign * 2 * n)
    its = RideFactory(lesson__starts_at=starts_at, rider=rider, horse=ride.horse)
    RideFactory(lesson=lesson)
    RiddenRideFactory(ride=its, log__lesson=its.lesson)
    RideNoteFactory(ridden__log__lesson=LessonFactory(starts_at=starts_at))
    lesson_changed(lesson=its.lesson, now=NOW)
    plan = DayPlan.objects.get(state="published", date=lesson.starts_at.date())
    PlannedLessonFactory(plan=plan, lesson=its.lesson)
    for lesson_of_it, at in ((its.lesson, starts_at), (lesson, lesson.starts_at)):
        made = ChangeoverFactory(
            plan=plan, lesson=lesson_of_it, **_before(at, minutes=15 * n)
        )
        ChangeoverMoveFactory(changeover=made)
    ChangeoverMoveFactory(changeover=plan.changeovers.order_by("pk").first())
    RiderFactory(client=rider.client)
    LessonPackFactory(client=rider.client, name=f"Pack {n}")
    MakeUpCreditFactory(client=rider.client)
    ConsentFactory(rider=rider, name=f"Form {n}")
    wish = WaitingWishFactory(rider=rider, from_at=time(9, n))
    WaitingOfferFactory(wish=wish, lesson=LessonFactory(starts_at=starts_at))
    weekly(plan=weekly_plan(name=f"Weekly {n}", arena=ArenaFactory()))


def _before(at: datetime, *, minutes: int) -> dict[str, datetime]:
    ends_at = at - timedelta(minutes=minutes)
    return {"starts_at": ends_at - timedelta(minutes=10), "ends_at": ends_at}


@pytest.fixture(scope="module")
def counted(
    django_db_setup, django_db_blocker
) -> Iterator[dict[str, tuple[list[str], list[str]]]]:
    """What each page asked with one more of everything, and with three more."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = things()
        one_more(1)
        browser = Browser()
        browser.force_login(AccountFactory(manager=True, person=None))
        pages = COUNTED
        for name in pages:
            browser.get(world[name])  # What is read once and kept is not counted.
        few = {name: asked(browser, world[name]) for name in pages}
        one_more(2)
        one_more(3)
        yield {name: (few[name], asked(browser, world[name])) for name in pages}
        transaction.set_rollback(True)


def asked(browser: Browser, address: str) -> list[str]:
    with CaptureQueriesContext(connection) as queries:
        response = browser.get(address)
    assert response.status_code in (200, 302)
    return [one["sql"] for one in queries.captured_queries]


@pytest.mark.parametrize("name", COUNTED)
def test_a_page_asks_as_much_for_three_as_for_one(
    counted: dict[str, tuple[list[str], list[str]]], name: str
) -> None:
    few, many = counted[name]

    more = Counter(map(_shape, many)) - Counter(map(_shape, few))
    assert len(many) <= len(few), more.most_common(3)


def _shape(sql: str) -> str:
    """Return a query without its numbers, the same for every row it asks for."""
    return "".join("?" if letter.isdigit() else letter for letter in sql)
