"""The page of the ground's work: harrows in the book, and what leaves them no time."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import Arena, YardWork
from tests.clock import at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

PAGE = "/yard-work/"


@pytest.fixture
def hall() -> Arena:
    SchoolFactory()
    return ArenaFactory(name="Hall")


@pytest.fixture
def manager(client: Browser, hall: Arena) -> Browser:
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def once(manager: Browser, hall: Arena, **changed: object) -> str:
    tomorrow = timezone.localdate() + timedelta(days=1)
    asked = {"day": tomorrow, "arena": hall.pk, "starts": "13:00", "minutes": ""}
    data = {f"once-{name}": value for name, value in (asked | changed).items()}
    return manager.post(f"{PAGE}once/", data, follow=True).content.decode()


def test_a_harrow_takes_as_long_as_it_does_here(manager: Browser, hall: Arena) -> None:
    page = once(manager, hall)

    assert "13:00 to 13:25" in page
    assert "min are planned" not in page


def test_ten_minutes_for_a_harrow_of_twenty_five_are_seen(
    manager: Browser, hall: Arena
) -> None:
    says = "10 min are planned, and a harrow takes 25 here."

    page = once(manager, hall, minutes=10)

    # At once, and for as long as it is in the book; on the list too.
    assert page.count(says) == 2
    day = YardWork.objects.get().date
    assert says in manager.get(f"/resets/{day}/").content.decode()


def test_a_weekly_one_of_ten_minutes_says_so_once(
    manager: Browser, hall: Arena
) -> None:
    data = {"weekday": 2, "arena": hall.pk, "starts": "13:00", "minutes": 10}

    page = manager.post(
        f"{PAGE}weekly/", {f"weekly-{k}": v for k, v in data.items()}, follow=True
    )

    told = [str(one) for one in page.context["messages"]]
    assert told.count("10 min are planned, and a harrow takes 25 here.") == 1


def test_a_lesson_that_leaves_no_time_is_named(manager: Browser, hall: Arena) -> None:
    tomorrow = timezone.localdate() + timedelta(days=1)
    LessonFactory(
        title="Grids",
        arena=hall,
        work="jumping",
        starts_at=at("12:00", tomorrow),
    )

    page = once(manager, hall)

    assert "Grids jumps in Hall until" in page
    assert "No time for the fences" in manager.get(PAGE).content.decode()


def test_the_day_tells_the_manager_what_nobody_has_hours_for(
    manager: Browser, hall: Arena
) -> None:
    once(manager, hall)
    day = YardWork.objects.get().date

    page = manager.get(f"/day/{day}/").content.decode()

    assert "13:00 Harrowing: nobody has hours then" in page
