"""A second guardian: noted, called, asked to sign, told only if they wish."""

from datetime import timedelta
from email import message_from_bytes, policy
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    AuditEntry,
    Consent,
    OutboxMessage,
    Person,
    Rider,
    SecondGuardian,
)
from school.services.answers import give_back
from school.services.consent_ends import write_consent_ends
from school.services.guardians import (
    Guardian,
    end_second_guardian,
    set_second_guardian,
)
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from school.services.personal_data import erase_client, export_client
from school.services.refusals import UnableToBook
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.riders import RidingConsentFactory, SecondGuardianFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.school.web.test_personal_data import everything

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(name="Lindhoeve")


def girl(**fields: Any) -> Rider:
    father = fields.pop("client", None) or ClientFactory(person__first_name="Gerlof")
    return RiderFactory(minor=True, client=father, person__first_name="Mira", **fields)


def grandmother(**changes: Any) -> Guardian:
    return {  # type: ignore[return-value]
        "first_name": "Sietske",
        "last_name": "Vanderzee",
        "relation": "Grandmother",
        "phone": "555 0142",
        "email": "sietske@example.org",
        "gets_mail": False,
    } | changes


def note(rider: Rider, **changes: Any) -> SecondGuardian:
    by = AccountFactory(manager=True)
    return set_second_guardian(
        rider=rider, guardian=grandmother(**changes), by=by, now=NOW
    )


# --- noted ---------------------------------------------------------------------------


def test_a_second_guardian_is_noted_once_and_changed() -> None:
    rider = girl()

    for _ in range(2):
        one = note(rider)
    note(rider, phone="555 0143")

    assert (str(one), one.person.phone) == (
        "Sietske Vanderzee (Grandmother)", "555 0142",
    )  # fmt: skip
    assert Person.objects.filter(first_name="Sietske").get().phone == "555 0143"
    assert AuditEntry.objects.filter(action="second guardian").count() == 2


def test_of_a_sister_and_a_brother_it_is_one_person() -> None:
    rider = girl()
    brother = RiderFactory(minor=True, client=rider.client)

    note(rider)
    note(brother, first_name="sietske")

    assert SecondGuardian.objects.values("person").distinct().count() == 1


def test_another_one_takes_the_place_and_what_the_first_signed_stays() -> None:
    rider = girl()
    first = note(rider).person
    consent = RidingConsentFactory(rider=rider, given_by=first)

    note(rider, first_name="Wobke")

    consent.refresh_from_db()
    assert consent.given_by.first_name == "Sietske"
    assert rider.second_guardian.person.first_name == "Wobke"


def test_one_who_signed_nothing_is_forgotten_when_taken_off() -> None:
    rider, by = girl(), AccountFactory(manager=True)
    note(rider)

    for _ in range(2):
        end_second_guardian(rider=rider, by=by, now=NOW)

    assert not Person.objects.filter(first_name="Sietske").exists()
    assert AuditEntry.objects.filter(action="end second guardian").count() == 1


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"first_name": " "}, "Give the guardian's name"),
        ({"relation": ""}, "what they are to the rider"),
        (
            {"first_name": "Gerlof", "last_name": "Example"},
            "is Mira's guardian already",
        ),
        ({"gets_mail": True, "email": ""}, "mail address to which copies go"),
    ],
)
def test_what_cannot_be_noted_says_why(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(UnableToBook, match=says):
        note(girl(), **changes)

    assert not SecondGuardian.objects.exists()


def test_who_is_of_age_or_has_no_first_guardian_has_no_second() -> None:
    with pytest.raises(UnableToBook, match="is of age"):
        note(RiderFactory())
    alone = ClientFactory()
    with pytest.raises(UnableToBook, match="no first guardian"):
        note(RiderFactory(minor=True, person=alone.person, client=alone))


# --- on the page ---------------------------------------------------------------------


def page_of(rider: Rider, account: Any) -> str:
    browser = Browser()
    browser.force_login(account)
    return browser.get(f"/riders/{rider.pk}/").content.decode()


def test_staff_see_whom_else_to_call() -> None:
    rider = SecondGuardianFactory(
        rider=girl(), person__first_name="Sietske", person__phone="555 0142"
    ).rider

    for account in (
        AccountFactory(manager=True, person=None),
        AccountFactory(person=InstructorFactory().person),
    ):
        page = page_of(rider, account)
        assert "Sietske Example, Grandmother" in page
        emergency = page.partition("In an emergency")[2].partition("</dd>")[0]
        assert "Sietske Example (Grandmother)" in emergency
        assert 'href="tel:555 0142"' in emergency


def test_the_manager_notes_one_and_what_they_signed_on_the_page() -> None:
    rider, browser = girl(), Browser()
    browser.force_login(AccountFactory(manager=True, person=None))
    sent = {f"second-{key}": value for key, value in grandmother().items() if value}

    browser.post(f"/riders/{rider.pk}/second-guardian/", sent)
    second = SecondGuardian.objects.get().person
    today = timezone.localdate()
    browser.post(
        f"/riders/{rider.pk}/consents/",
        {
            "consent-kind": "riding",
            "consent-given_by": second.pk,
            "consent-given_date": today,
            "consent-expires_date": today + timedelta(days=365),
        },
    )

    assert Consent.objects.get().given_by == second
    page = page_of(rider, AccountFactory(manager=True, person=None))
    assert "signed by Sietske Vanderzee" in page
    browser.post(f"/riders/{rider.pk}/second-guardian/end/")
    assert not SecondGuardian.objects.exists()


# --- mails ---------------------------------------------------------------------------


def copies() -> list[OutboxMessage]:
    return list(OutboxMessage.objects.exclude(copy_to=None).order_by("pk"))


def booked(**second: Any) -> Any:
    fields = {"gets_mail": True, "person__first_name": "Sietske"} | second
    one = SecondGuardianFactory(rider=girl(), **fields)
    # A booking needs the consent that a minor rides by.
    RidingConsentFactory(rider=one.rider)
    ride = RideFactory(rider=one.rider)
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride


def test_who_wishes_has_one_copy_in_words_once_the_mail_went() -> None:
    ride = booked()

    assert deliver_due(now=NOW + timedelta(hours=1)).sent == 2
    assert deliver_due(now=NOW + timedelta(hours=2)).sent == 0

    (copy,) = copies()
    mail = message_from_bytes(bytes(copy.mail), policy=policy.default)
    text = mail.get_body(("plain",)).get_content()
    second = ride.rider.second_guardian.person
    assert str(second.email) in mail["To"]
    assert text.startswith("Hello Sietske,")
    assert "Saturday 6 March 2027" in text
    assert f"{ride.rider.client} has the mail to be answered" in text
    assert "/my/" not in text
    assert "Price" not in text
    assert "text/calendar" not in {one.get_content_type() for one in mail.walk()}


def test_a_cancelling_and_a_weekly_lesson_are_copied_too() -> None:
    ride = booked()
    deliver_due(now=NOW + timedelta(hours=1))
    give_back(client=ride.rider.client, lesson=ride.lesson, now=NOW)
    weekly(rides=[(ride.rider, None)])

    deliver_due(now=NOW + timedelta(hours=2))

    assert [one.kind for one in copies()] == ["invite", "cancelled", "series"]


@pytest.mark.parametrize(
    "second", [{"gets_mail": False}, {"person__email": ""}], ids=["no wish", "no mail"]
)
def test_who_does_not_wish_has_none(second: dict[str, Any]) -> None:
    booked(**second)

    assert deliver_due(now=NOW + timedelta(hours=1)).sent == 1
    assert not copies()


def test_a_mail_about_a_brother_is_not_copied() -> None:
    sister = SecondGuardianFactory(rider=girl(), gets_mail=True).rider
    brother = RidingConsentFactory(
        rider=RiderFactory(minor=True, client=sister.client)
    ).rider
    lesson_changed(lesson=RideFactory(rider=brother).lesson, now=NOW)

    assert deliver_due(now=NOW + timedelta(hours=1)).sent == 1


def test_a_wish_taken_back_drops_the_copy_that_waits() -> None:
    ride = booked()
    deliver_due(now=NOW + timedelta(hours=1), limit=1)
    SecondGuardian.objects.filter(rider=ride.rider).update(gets_mail=False)

    deliver_due(now=NOW + timedelta(hours=1))

    assert [one.state for one in copies()] == ["dropped"]


def test_a_consent_that_ends_is_told_to_both() -> None:
    ride = booked(person__email="sietske@example.org")
    Consent.objects.update(expires_date=NOW.date() + timedelta(days=10))
    OutboxMessage.objects.update(state="dropped")
    write_consent_ends(now=NOW)

    assert deliver_due(now=NOW).sent == 2
    (copy,) = copies()
    assert copy.kind == "consent-ends"
    assert copy.copy_to == ride.rider.second_guardian.person


# --- their data ----------------------------------------------------------------------


def test_they_are_handed_out_and_erased_with_the_family() -> None:
    ride = booked(
        person__last_name="Vanderzee", person__email="sietske@example.org",
        person__phone="555 0142",
    )  # fmt: skip
    deliver_due(now=NOW + timedelta(hours=1))
    note(ride.rider, gets_mail=True, phone="555 0177")
    client, by = ride.rider.client, AccountFactory(person=None)

    assert len(export_client(client=client, by=by, now=NOW)) > 0
    erase_client(client=client, by=by, now=NOW + timedelta(days=30))

    left = everything()
    for gone in ("Sietske", "sietske@example.org", "555 0142", "555 0177"):
        assert gone not in left, gone
    assert not SecondGuardian.objects.exists()


def test_one_taken_off_who_had_signed_is_erased_too() -> None:
    rider, by = girl(), AccountFactory(person=None)
    RidingConsentFactory(rider=rider, given_by=note(rider).person)
    end_second_guardian(rider=rider, by=by, now=NOW)

    erase_client(client=rider.client, by=by, now=NOW)

    assert "Sietske" not in everything()


def test_who_is_a_client_themselves_stays_when_the_other_family_goes() -> None:
    mother = ClientFactory(person__first_name="Wieke")
    SecondGuardianFactory(rider=girl(), person=mother.person)
    other = SecondGuardian.objects.get().rider.client

    erase_client(client=other, by=AccountFactory(person=None), now=NOW)

    mother.person.refresh_from_db()
    assert mother.person.first_name == "Wieke"


def test_who_is_erased_is_nobodys_second_guardian() -> None:
    mother = ClientFactory(person__first_name="Wieke")
    SecondGuardianFactory(rider=girl(), person=mother.person, gets_mail=True)

    erase_client(client=mother, by=AccountFactory(person=None), now=NOW)

    assert not SecondGuardian.objects.exists()
