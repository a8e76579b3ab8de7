"""Two managers at one board: each is told what the other did, and nothing moves."""

from datetime import timedelta
from urllib.parse import quote

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from school.models import Account, Lesson
from school.services.lessons import cancel_lesson, move_lesson
from school.services.rides import add_ride, change_horse
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def me(client: Browser) -> Account:
    SchoolFactory(zone="UTC")
    account = AccountFactory(manager=True, person__first_name="Otmar")
    client.force_login(account)
    return account


@pytest.fixture
def hedda(me: Account) -> Account:
    return AccountFactory(manager=True, person__first_name="Hedda")


@pytest.fixture
def lesson() -> Lesson:
    start = timezone.now().replace(hour=10, minute=0, second=0, microsecond=0)
    start += timedelta(days=5)
    return LessonFactory(title="Two strides", starts_at=start)


def poll(client: Browser, lesson: Lesson, since: str, **more: str):
    address = f"/day/{lesson.starts_at.date()}/news/?since={quote(since)}"
    return client.get(address + more.pop("and_", ""), headers=more)


def moved(lesson: Lesson, by: Account, hours: int = 7) -> Lesson:
    start = lesson.starts_at + timedelta(hours=hours, minutes=15)
    version = Lesson.objects.get(pk=lesson.pk).version
    return move_lesson(
        lesson=lesson, starts_at=start, version=version, by=by, now=timezone.now()
    )


def test_another_managers_move_is_said_and_then_not_again(
    client: Browser, hedda: Account, lesson: Lesson
) -> None:
    since = timezone.now().isoformat()
    assert poll(client, lesson, since).status_code == 204

    moved(lesson, hedda)

    told = poll(client, lesson, since)
    page = told.content.decode()
    assert "Hedda moved Two strides to 17:15" in page
    shown = page.partition("shown=")[2].partition('"')[0]
    assert poll(client, lesson, since, and_=f"&shown={shown}").status_code == 204
    assert (
        poll(client, lesson, since, **{"If-None-Match": told["ETag"]}).status_code
        == 304
    )


def test_what_i_did_myself_is_no_news(
    client: Browser, me: Account, lesson: Lesson
) -> None:
    since = timezone.now().isoformat()

    moved(lesson, me)

    assert poll(client, lesson, since).status_code == 204


def test_what_was_done_before_or_on_another_day_is_no_news(
    client: Browser, hedda: Account, lesson: Lesson
) -> None:
    other = LessonFactory(starts_at=lesson.starts_at + timedelta(days=3))
    moved(lesson, hedda)
    since = timezone.now().isoformat()

    moved(other, hedda)

    assert poll(client, lesson, since).status_code == 204


def test_places_horses_and_a_cancelling_are_said(
    client: Browser, hedda: Account, lesson: Lesson
) -> None:
    since, now = timezone.now().isoformat(), timezone.now() + timedelta(seconds=1)
    ride = RideFactory(lesson=lesson, rider__person__first_name="Nienke")
    rider = RiderFactory(person__first_name="Siebe")
    add_ride(lesson=lesson, rider=rider, horse=None, by=hedda, now=now)
    change_horse(ride=ride, horse=HorseFactory(), by=hedda, now=now)
    cancel_lesson(lesson=lesson, reason="Frost", by=hedda, now=now)

    page = poll(client, lesson, since).content.decode()

    assert "Hedda booked Siebe into Two strides" in page
    assert "Hedda gave Nienke in Two strides another horse" in page
    assert "Hedda cancelled Two strides" in page


def test_the_board_asks_for_news_without_being_asked(
    client: Browser, me: Account, lesson: Lesson
) -> None:
    day = lesson.starts_at.date()

    page = client.get(f"/day/{day}/").content.decode()

    assert f'hx-get="/day/{day}/news/?since=' in page
    assert "Changed since you opened" not in page


def test_the_week_asks_for_its_news_and_names_the_day(
    client: Browser, hedda: Account, lesson: Lesson
) -> None:
    day, since = lesson.starts_at.date(), timezone.now().isoformat()
    monday = day - timedelta(days=day.weekday())
    page = client.get(f"/week/{day}/").content.decode()
    moved(lesson, hedda)

    said = client.get(f"/week/{day}/news/", {"since": since}).content.decode()
    next_week = client.get(f"/week/{day + timedelta(days=7)}/news/", {"since": since})

    assert f'hx-get="/week/{monday}/news/?since=' in page
    assert f"Hedda moved {lesson.title} to Saturday 6 March, " in said
    assert "Show the week as it is now" in said
    assert next_week.status_code == 204


@pytest.mark.parametrize("since", ["", "yesterday", "2027-03-06T10:00:00"])
def test_a_since_that_is_none_begins_now(
    client: Browser, hedda: Account, lesson: Lesson, since: str
) -> None:
    moved(lesson, hedda)

    assert poll(client, lesson, since).status_code == 204


def test_a_poll_takes_as_many_queries_for_three_news_as_for_one(
    client: Browser, hedda: Account, lesson: Lesson
) -> None:
    since = timezone.now().isoformat()
    poll(client, lesson, since)
    counts = []
    for n in range(3):
        moved(lesson, hedda, hours=n + 2)
        with CaptureQueriesContext(connection) as asked:
            assert poll(client, lesson, since).status_code == 200
        counts.append(len(asked))

    assert counts[0] == counts[2]
