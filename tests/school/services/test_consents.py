import pytest

from school.models import Consent
from school.services.consents import LASTS, renew_consent
from tests.clock import NOW
from tests.factories.packs import ConsentFactory
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
