"""No consent runs out without a word to whoever signs it.

Three weeks ahead and once: common practice, no source.
"""

from datetime import date, datetime, timedelta
from email import message_from_bytes, policy

import pytest

from school.models import Consent, OutboxMessage
from school.services.consent_ends import write_consent_ends
from school.services.consents import renew_consent
from school.services.messages import deliver_due
from tests.clock import NOW, ZONE
from tests.factories.lessons import RideFactory
from tests.factories.people import RiderFactory
from tests.factories.riders import RidingConsentFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

LAST = date(2027, 3, 31)


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(name="Lindhoeve", organiser_email="post@example.org")


def noon(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), tzinfo=ZONE).replace(hour=12)


def ends(name: str = "Mira", **more) -> Consent:
    """A girl's consent to riding that ends on 31 March; she rides in between."""
    one = RidingConsentFactory(rider__person__first_name=name, expires_date=LAST)
    RideFactory(rider=one.rider, lesson__starts_at=NOW)
    Consent.objects.filter(pk=one.pk).update(**more)
    return one


def told(now: datetime) -> int:
    write_consent_ends(now=now)
    return deliver_due(now=now).sent


def letter() -> str:
    mail = OutboxMessage.objects.get().mail
    body = message_from_bytes(bytes(mail), policy=policy.default).get_body(("plain",))
    return str(body.get_content())


def test_the_guardian_is_written_to_three_weeks_before_and_once() -> None:
    one = ends()

    assert told(noon(LAST - timedelta(days=22))) == 0
    assert told(noon(LAST - timedelta(days=21))) == 1
    assert told(noon(LAST - timedelta(days=20))) == 0

    row = OutboxMessage.objects.get()
    assert row.client == one.rider.client
    assert row.subject == (
        "Please sign again by Wednesday 31 March 2027: consent for Mira"
    )
    text = letter()
    assert "ends on Wednesday 31 March 2027: Mira, riding lessons." in text
    assert "/my/" in text
    assert "Booked for after" not in text


def test_it_names_the_first_lesson_booked_for_after_that_day() -> None:
    one = ends()
    # Booked under a consent that held longer, as it was noted then.
    Consent.objects.update(expires_date=LAST + timedelta(days=30))
    for days in (9, 2):
        starts_at = noon(LAST + timedelta(days=days))
        RideFactory(rider=one.rider, lesson__starts_at=starts_at)
    Consent.objects.update(expires_date=LAST)

    told(noon(LAST - timedelta(days=5)))

    assert "Booked for after that day: Friday 2 April, 12:00" in letter()


def test_what_ends_on_one_day_is_one_mail_in_the_guardians_language() -> None:
    one = ends()
    client = one.rider.client
    client.language = "de"
    client.save()
    RidingConsentFactory(
        rider=one.rider, kind="photographs", name="Photographs", expires_date=LAST
    )
    brother = RiderFactory(minor=True, client=client, person__first_name="Tom")
    RidingConsentFactory(rider=brother, name="Trip to the sea", expires_date=LAST)
    RideFactory(rider=brother, lesson__starts_at=NOW)

    assert told(noon(LAST - timedelta(days=7))) == 1

    text = " ".join(letter().split())
    assert "Mira, Reitunterricht und Fotos; Tom, Trip to the sea" in text


def renewed() -> None:
    one = ends()
    now = noon(LAST - timedelta(days=30))
    renew_consent(consent=one, client=one.rider.client, now=now)


def without_a_mail_address() -> None:
    person = ends().rider.client.person
    person.email = ""
    person.save()


def withdrawn() -> None:
    ends(withdrawn_date=date(2027, 3, 1), withdrawn_reason="By telephone")


def of_age_by_then() -> None:
    rider = ends().rider
    rider.born_date = date(2009, 4, 1)
    rider.save()


def gone_for_long() -> None:
    RidingConsentFactory(expires_date=LAST)


@pytest.mark.parametrize(
    "case", [renewed, without_a_mail_address, withdrawn, of_age_by_then, gone_for_long]
)
def test_nobody_is_asked_who_need_not_sign(case) -> None:
    case()

    assert write_consent_ends(now=noon(LAST - timedelta(days=5))) == 0
    assert not OutboxMessage.objects.exists()


def test_who_comes_of_age_a_day_later_still_is_asked() -> None:
    rider = ends().rider
    rider.born_date = date(2009, 4, 2)
    rider.save()

    assert told(noon(LAST - timedelta(days=5))) == 1


@pytest.mark.parametrize("count", [1, 3])
def test_more_consents_ask_no_more_of_what_is_read(
    django_assert_num_queries, count: int
) -> None:
    for n in range(count):
        ends(f"Rider{n}")
    write_consent_ends(now=noon(LAST - timedelta(days=5)))

    with django_assert_num_queries(8 + count):
        write_consent_ends(now=noon(LAST - timedelta(days=5)))
