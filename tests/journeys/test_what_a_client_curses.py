"""What would make a client throw the tool away, in the mails they read.

What is not here is shown elsewhere: `test_curses.py` says where.
"""

from datetime import timedelta
from email import message_from_bytes, policy

import pytest
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from school.models import School
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from tests.clock import at
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


def read() -> str:
    """Send what waits, and return what the last mail says in words."""
    mail.outbox.clear()
    deliver_due(now=timezone.now() + timedelta(hours=1))
    if not mail.outbox:
        return ""
    raw = mail.outbox[-1].message().as_bytes()
    letter = message_from_bytes(raw, policy=policy.default)
    text = letter.get_body(("plain",)).get_content()
    return f"{letter['subject']}\n{text}"


def test_a_pony_that_was_promised_is_not_swapped_without_a_word(
    manager: Browser,
) -> None:
    School.objects.update(publish_horses=True)
    ride = told(horse__name="Biscuit")
    other = HorseFactory(name="Pepperpot")

    manager.post(f"/rides/{ride.pk}/horse/", {"horse": other.pk})

    assert "Pepperpot" in read()


def test_no_pony_is_promised_where_the_school_names_none(manager: Browser) -> None:
    ride = RideFactory(lesson__starts_at=at("10:00", DAY), horse__name="Biscuit")
    lesson_changed(lesson=ride.lesson, now=timezone.now())
    invite = read()

    other = HorseFactory(name="Pepperpot")
    manager.post(f"/rides/{ride.pk}/horse/", {"horse": other.pk})

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


def test_rain_is_told_by_mail_with_where_to_go_instead(manager: Browser) -> None:
    ride = told()
    ArenaFactory(name="Hall")

    flooded(manager, ride.lesson.arena)

    assert "Hall" in read()


def test_rain_is_told_by_mail_before_the_gate(manager: Browser) -> None:
    ride = told()

    flooded(manager, ride.lesson.arena, words="The+ring+is+under+water")

    said = read()
    assert "cancelled" in said.lower()
    assert "The ring is under water" in said
