"""Nothing paid in advance runs out without a word."""

from datetime import date, datetime, timedelta
from email import message_from_bytes, policy

import pytest

from school.models import OutboxMessage
from school.services.endings import write_endings
from school.services.messages import deliver_due
from tests.clock import ZONE
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory, MakeUpCreditFactory
from tests.factories.people import ClientFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

LAST = date(2027, 3, 31)


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(name="Lindhoeve", organiser_email="post@example.org")


def noon(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), tzinfo=ZONE).replace(hour=12)


def told(now: datetime) -> int:
    write_endings(now=now)
    return deliver_due(now=now).sent


def test_a_credit_is_spoken_of_two_weeks_before_it_ends_and_once() -> None:
    MakeUpCreditFactory(
        expires_date=LAST,
        reason="Frost",
        client__person__email="sam@example.org",
    )

    assert told(noon(LAST - timedelta(days=15))) == 0
    assert told(noon(LAST - timedelta(days=14))) == 1
    assert told(noon(LAST - timedelta(days=13))) == 0

    row = OutboxMessage.objects.get()
    assert row.subject == (
        "Use it by Wednesday 31 March 2027: a lesson to make up (Frost)"
    )
    letter = message_from_bytes(bytes(row.mail), policy=policy.default)
    assert "after that day it is gone" in letter.get_body(("plain",)).get_content()
    assert "text/calendar" not in {one.get_content_type() for one in letter.walk()}


def test_a_pack_says_how_many_lessons_are_left_in_the_clients_language() -> None:
    LessonPackFactory(
        expires_date=LAST,
        lessons=2,
        name="Zweierkarte",
        client=ClientFactory(person__email="sam@example.org", language="de"),
    )

    assert told(noon(LAST - timedelta(days=3))) == 1
    assert "2 Stunden von: Zweierkarte" in OutboxMessage.objects.get().subject


@pytest.mark.parametrize("email", ["", "sam@example.org"])
def test_what_is_used_up_or_over_or_has_nobody_to_tell_is_not_spoken_of(
    email: str,
) -> None:
    client = ClientFactory(person__email=email)
    if email:
        ride = RideFactory(rider__client=client)
        MakeUpCreditFactory(
            client=client, used_for=ride, used_at=noon(LAST), expires_date=LAST
        )
        MakeUpCreditFactory(client=client, expires_date=LAST - timedelta(days=5))
    else:
        MakeUpCreditFactory(client=client, expires_date=LAST)

    assert write_endings(now=noon(LAST - timedelta(days=2))) == 0
    assert not OutboxMessage.objects.exists()
