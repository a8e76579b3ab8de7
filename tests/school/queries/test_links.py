"""Signed links: whom they name, what they open, and when they end."""

from datetime import timedelta

import pytest
from django.test import override_settings

from school.queries.links import InvalidLink, find_link, lesson_url, page_url
from school.services.links import withdraw_links
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import ClientFactory

pytestmark = pytest.mark.django_db


def token_of(url: str) -> str:
    return url.partition("/my/")[2].partition("/")[0]


def refused(token: str, now=NOW) -> str:
    with pytest.raises(InvalidLink) as caught:
        find_link(token, now=now)
    return caught.value.code


def test_a_page_link_names_its_client_and_no_lesson() -> None:
    client = ClientFactory()

    link = find_link(token_of(page_url(client, now=NOW)), now=NOW)

    assert (link.client, link.lesson_id) == (client, None)


def test_a_lesson_link_names_its_lesson_and_the_page_it_asks_on() -> None:
    ride = RideFactory()
    url = lesson_url(ride.rider.client, ride.lesson, action="cancel")

    link = find_link(token_of(url), now=NOW)

    assert link.lesson_id == ride.lesson_id
    assert url.endswith(f"/lessons/{ride.lesson_id}/cancel/")


def test_the_same_link_is_made_again_for_a_mail_that_is_made_again() -> None:
    client = ClientFactory()

    assert page_url(client, now=NOW) == page_url(client, now=NOW + timedelta(hours=3))


def test_a_page_link_ends_after_half_a_year() -> None:
    token = token_of(page_url(ClientFactory(), now=NOW))

    assert find_link(token, now=NOW + timedelta(days=179))
    assert refused(token, NOW + timedelta(days=180)) == "expired"


def test_a_lesson_link_ends_two_days_after_its_lesson() -> None:
    ride = RideFactory()
    token = token_of(lesson_url(ride.rider.client, ride.lesson))

    assert find_link(token, now=ride.lesson.ends_at + timedelta(hours=47))
    assert refused(token, ride.lesson.ends_at + timedelta(hours=48)) == "expired"


def test_links_closed_by_the_school_open_nothing_and_a_new_one_does() -> None:
    client = ClientFactory()
    old = token_of(page_url(client, now=NOW))

    fresh = withdraw_links(client=client, by=None, now=NOW)

    assert refused(old) == "withdrawn"
    assert find_link(token_of(page_url(fresh, now=NOW)), now=NOW).client == client


@pytest.mark.parametrize(
    "change",
    [
        lambda token: token[1:],
        lambda token: token[:-1],
        lambda token: "x" + token,
        lambda token: token.replace(".", ":"),
        lambda token: token.swapcase(),
        lambda token: "",
        lambda token: "x" * 100_000,
    ],
    ids=["first-off", "last-off", "more", "other-sign", "case", "empty", "endless"],
)
def test_a_changed_link_opens_nothing(change) -> None:
    token = token_of(page_url(ClientFactory(), now=NOW))

    assert refused(change(token)) == "broken"


def test_a_link_signed_with_another_key_opens_nothing() -> None:
    client = ClientFactory()
    with override_settings(SECRET_KEY="another key, long enough to be one" * 2):
        token = token_of(page_url(client, now=NOW))

    assert refused(token) == "broken"


def test_a_link_of_a_client_who_is_gone_opens_nothing() -> None:
    client = ClientFactory()
    token = token_of(page_url(client, now=NOW))
    client.delete()

    assert refused(token) == "withdrawn"
