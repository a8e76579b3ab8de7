"""The page of all pages leads to each page that needs nothing chosen first."""

import re

import pytest
from django.test import Client as Browser

from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


def test_every_link_of_all_pages_opens(client: Browser) -> None:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))

    body = client.get("/all-pages/").content.decode()

    links = re.findall(r'<dt><a href="([^"]+)"', body)
    assert len(links) > 10
    for link in links:
        assert client.get(link, follow=True).status_code == 200, link


def test_all_pages_are_a_press_away(client: Browser) -> None:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))

    assert 'href="/all-pages/"' in client.get("/clients/").content.decode()
