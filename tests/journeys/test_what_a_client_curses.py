"""What would make a client throw the tool away, in the mails they read.

What is not here is shown elsewhere: `test_curses.py` says where.
"""

import re
from datetime import datetime, timedelta
from email import message_from_bytes, policy

import icalendar
import pytest
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from school.models import Horse, Lesson, Ride, School
from school.queries.links import page_url
from school.services.feeds import make_feed
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson, move_lesson
from school.services.messages import deliver_due
from school.services.rides import change_horse
from tests.clock import ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.web.test_out import fields

pytestmark = pytest.mark.django_db

DAY = timezone.localdate() + timedelta(days=3)


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def told(**changes: object):
    """Return a ride whose client has had the invite."""
    ride = RideFactory(
        lesson__starts_at=at("10:00", DAY), lesson__arena__name="Ring", **changes
    )
    lesson_changed(lesson=ride.lesson, now=timezone.now())
    assert read()
    return ride


def read(now: datetime | None = None) -> str:
    """Send what waits, usually an hour on; return what the last mail says in words."""
    mail.outbox.clear()
    deliver_due(now=now or timezone.now() + timedelta(hours=1))
    if not mail.outbox:
        return ""
    raw = mail.outbox[-1].message().as_bytes()
    letter = message_from_bytes(raw, policy=policy.default)
    text = letter.get_body(("plain",)).get_content()
    return f"{letter['subject']}\n{text}"


def give(manager: Browser, ride: Ride, horse: Horse) -> None:
    """Give a rider another horse on the board."""
    lesson = ride.lesson
    start = timezone.localtime(lesson.starts_at, ZONE)
    sent = {
        "date": start.date().isoformat(),
        "start": f"{start:%H:%M}",
        "minutes": 60,
        "arena": lesson.arena_id,
        "instructor": lesson.instructor_id,
        "version": lesson.version,
        f"horse_{ride.pk}": horse.pk,
    }
    done = manager.post(f"/board/lessons/{lesson.pk}/change/", sent)
    assert done.status_code == 302


def test_a_pony_that_was_promised_is_not_swapped_without_a_word(
    manager: Browser,
) -> None:
    School.objects.update(publish_horses=True)
    ride = told(horse__name="Biscuit")
    other = HorseFactory(name="Pepperpot")

    give(manager, ride, other)

    said = read()
    assert "Horse: Pepperpot" in said
    assert re.search("Before: .*, on Biscuit", said)


def test_a_pony_that_was_promised_and_is_gone_is_named(manager: Browser) -> None:
    """By whatever way it is swapped: here it is lame, and nothing else is free."""
    School.objects.update(publish_horses=True)
    ride = told(horse__name="Biscuit")

    change_horse(ride=ride, horse=None, by=None, now=timezone.now())

    said = read()
    assert re.search("Before: .*, on Biscuit", said)
    assert "Horse:" not in said


def test_a_subscription_and_the_page_say_the_rule_for_bad_weather_and_whom_to_ring(
    manager: Browser,
) -> None:
    rule = "In storm we ride in the hall."
    School.objects.update(weather_rule=rule, phone="01234 567")
    ride = with_subscription_alone()

    _, text = subscribed(manager, ride)
    mine = "/my/" + page_url(ride.rider.client, now=timezone.now()).partition("/my/")[2]
    page = manager.get(mine).content.decode()

    for said in (text, page):
        assert rule in said
        assert "01234 567" in said


def test_no_pony_is_promised_where_the_school_names_none(manager: Browser) -> None:
    ride = RideFactory(lesson__starts_at=at("10:00", DAY), horse__name="Biscuit")
    lesson_changed(lesson=ride.lesson, now=timezone.now())
    invite = read()

    other = HorseFactory(name="Pepperpot")
    give(manager, ride, other)

    assert "Biscuit" not in invite
    assert read() == ""


def flooded(manager: Browser, arena, **more: str) -> None:
    """Say that an arena is under water on the day, and do all that is proposed."""
    asked = {"what": f"arena-{arena.pk}", "day": DAY.isoformat(), "reason": "flooded"}
    page = "/out/touched/?" + "&".join(
        f"{key}={value}" for key, value in (asked | more).items()
    )
    seen = manager.get(page).content.decode()
    assert manager.post(page, fields(seen, do="settle")).status_code == 302


def test_rain_is_told_by_mail_with_where_to_go_instead_and_why(
    manager: Browser,
) -> None:
    ride = told()
    ArenaFactory(name="Hall")

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    said = read()
    assert "Where: Hall" in said
    assert "Why: The ring is under water" in said


def subscribed(manager: Browser, ride) -> tuple[str, str]:
    """Return the one entry that a client's subscription shows: title and text."""
    person = ride.rider.client.person
    _, url = make_feed(kind="client", holder=person, now=timezone.now(), token="t" * 43)
    body = manager.get("/agenda/" + url.partition("/agenda/")[2]).content
    (one,) = icalendar.Calendar.from_ical(body).walk("VEVENT")
    return str(one["SUMMARY"]), f"{one['LOCATION']}\n{one['DESCRIPTION']}"


def with_subscription_alone(**changes: object):
    """Return a ride whose client has no address for mail, only the subscription."""
    ride = RideFactory(
        lesson__starts_at=at("10:00", DAY),
        lesson__arena__name="Ring",
        rider__client__person__email="",
        **changes,
    )
    lesson_changed(lesson=ride.lesson, now=timezone.now())
    assert read() == ""
    return ride


def test_rain_is_told_by_the_subscription_alone_with_where_to_go(
    manager: Browser,
) -> None:
    ride = with_subscription_alone()
    ArenaFactory(name="Hall")

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    _, text = subscribed(manager, ride)
    assert text.startswith(
        "Hall\nChanged: The ring is under water. Now in Hall.\nBe there by "
    )


def test_rain_is_told_by_the_subscription_alone_where_there_is_no_hall(
    manager: Browser,
) -> None:
    ride = with_subscription_alone()

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    title, text = subscribed(manager, ride)
    assert title.startswith("Cancelled: ")
    assert "Not held: The ring is under water" in text


def test_rain_an_hour_before_is_told_at_once(manager: Browser) -> None:
    """No time is taken to collect changes where a lesson is near."""
    now = timezone.now()
    ride = RideFactory(lesson__starts_at=now + timedelta(hours=1))
    lesson_changed(lesson=ride.lesson, now=now)
    assert read(now)

    cancel_lesson(lesson=ride.lesson, reason="Storm.", by=None, now=now)

    said = read(now)
    assert said.startswith("Cancelled: ")
    assert "Why: Storm." in said


def test_a_clients_page_says_first_what_is_not_held_and_why(manager: Browser) -> None:
    ride = told()
    mine = "/my/" + page_url(ride.rider.client, now=timezone.now()).partition("/my/")[2]

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    page = manager.get(mine).content.decode()
    assert page.index("The ring is under water") < page.index("Next lessons")


def test_a_move_that_has_its_own_reason_does_not_keep_the_rain(
    manager: Browser,
) -> None:
    ride = told()
    ArenaFactory(name="Hall")
    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")
    assert "under water" in read()

    lesson = Lesson.objects.get()
    move_lesson(
        lesson=lesson,
        starts_at=lesson.starts_at + timedelta(hours=1),
        version=lesson.version,
        by=None,
        now=timezone.now(),
    )

    assert "under water" not in read()


def test_rain_is_told_by_mail_before_the_gate(manager: Browser) -> None:
    ride = told()

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    said = read()
    assert "cancelled" in said.lower()
    assert "The ring is under water" in said
