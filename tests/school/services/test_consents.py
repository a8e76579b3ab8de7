from datetime import date, timedelta
from typing import Any

import pytest

from school.enums import ConsentKind
from school.models import AuditEntry, Consent
from school.services.consents import (
    LASTS,
    give_consent,
    renew_consent,
    withdraw_consent,
)
from school.services.refusals import UnableToBook
from tests.clock import NOW
from tests.factories.packs import ConsentFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.riders import RidingConsentFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


def test_a_consent_is_renewed_for_a_year_once_a_day() -> None:
    SchoolFactory()
    old = ConsentFactory()
    client = old.rider.client

    new = renew_consent(consent=old, client=client, now=NOW)

    assert new.expires_date == NOW.date() + LASTS
    assert new.given_by == client.person
    assert renew_consent(consent=old, client=client, now=NOW) == new
    assert Consent.objects.count() == 2


def given(**changes: Any) -> Consent:
    rider = changes.pop("rider", None) or RiderFactory(minor=True)
    fields = {
        "rider": rider,
        "kind": ConsentKind.RIDING,
        "given_by": rider.client.person,
        "by": AccountFactory(manager=True),
        "now": NOW,
    }
    return give_consent(**fields | changes)


def test_the_manager_notes_a_consent_once_with_who_signed_and_until_when() -> None:
    SchoolFactory()
    rider, by = RiderFactory(minor=True), AccountFactory(manager=True)

    for _ in range(2):
        given(rider=rider, by=by)

    one = Consent.objects.get()
    assert (one.kind, one.name) == ("riding", "Riding lessons")
    assert one.given_by == rider.client.person
    assert one.expires_date == NOW.date() + timedelta(days=365)
    assert AuditEntry.objects.filter(action="consent", by=by).count() == 1


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [
        (1, 300, "on a day to come"),
        (0, 0, "ends after the day it was given"),
        (0, 732, "two years later at most"),
    ],
)
def test_days_that_cannot_be_are_refused(first: int, last: int, says: str) -> None:
    SchoolFactory()
    today = NOW.date()

    with pytest.raises(UnableToBook, match=says):
        given(
            given_date=today + timedelta(days=first),
            expires_date=today + timedelta(days=last),
        )


def test_no_minor_consents_for_themselves() -> None:
    SchoolFactory()
    rider = RiderFactory(minor=True)

    with pytest.raises(UnableToBook, match="a guardian gives consent"):
        given(rider=rider, given_by=rider.person)


def test_a_consent_is_withdrawn_once_with_a_reason_and_given_again() -> None:
    SchoolFactory()
    one, by = RidingConsentFactory(given_date=NOW.date()), AccountFactory(manager=True)

    with pytest.raises(UnableToBook, match="Say who"):
        withdraw_consent(consent=one, reason=" ", by=by, now=NOW)
    for _ in range(2):
        withdraw_consent(consent=one, reason="Her mother, by phone", by=by, now=NOW)

    one.refresh_from_db()
    assert not one.holds_on(NOW.date())
    assert AuditEntry.objects.filter(action="withdraw consent").count() == 1
    renew_consent(consent=one, client=one.rider.client, now=NOW)
    one.refresh_from_db()
    assert one.holds_on(NOW.date())
    assert Consent.objects.count() == 1


def test_two_years_are_the_same_date_also_over_a_leap_day() -> None:
    SchoolFactory()

    kept = given(given_date=date(2027, 3, 1), expires_date=date(2029, 3, 1))

    assert kept.expires_date == date(2029, 3, 1)
