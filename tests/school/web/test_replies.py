"""The manager's page of answers that wait."""

import pytest
from django.test import Client as Browser

from school.models import Invitation, Ride
from school.services.inbox import take_mail
from school.services.invitations import lesson_changed
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
from tests.school.calendars.reply_mails import (
    CLIENT,
    answer_lines,
    calendar_text,
    reply_mail,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True))
    return client


def waiting(n: int = 1, sender: str = "other@elsewhere.net", **changes):
    for k in range(n):
        email = CLIENT if k == 0 else f"client{k}@example.org"
        ride = RideFactory(rider__client__person__email=email)
        lesson_changed(lesson=ride.lesson, now=NOW)
        uid = Invitation.objects.get(lesson=ride.lesson).uid
        lines = answer_lines(
            uid=str(uid), attendee=email, partstat="DECLINED", **changes
        )
        raw = reply_mail(
            calendar_text([lines]), sender=sender, message_id=f"<{k}@elsewhere.net>"
        )
        (reply,) = take_mail(raw, now=NOW)
    return reply


def test_what_waits_is_shown_with_why(manager: Browser) -> None:
    waiting(more=["COMMENT:<b>sorry</b>"])

    page = manager.get("/replies/").content.decode()

    assert "Sent from another address than the one invited." in page
    assert "&lt;b&gt;sorry&lt;/b&gt;" in page
    assert "other@elsewhere.net" in page


def test_a_reply_is_taken_as_the_clients(manager: Browser) -> None:
    reply = waiting()

    manager.post(f"/replies/{reply.pk}/settle/", {"do": "take"})

    assert Ride.objects.get().state == "cancelled"
    assert "Nothing waits." in manager.get("/replies/").content.decode()


def test_a_reply_is_settled_without_being_taken(manager: Browser) -> None:
    reply = waiting()

    manager.post(f"/replies/{reply.pk}/settle/", {"do": "settle"})

    reply.refresh_from_db()
    assert (reply.state, Ride.objects.get().state) == ("settled", "booked")
    assert reply.settled_by.is_manager


def test_a_strangers_answer_can_only_be_settled(manager: Browser) -> None:
    reply = waiting(organiser=None)
    type(reply).objects.update(code="stranger")

    page = manager.get("/replies/").content.decode()
    response = manager.post(f"/replies/{reply.pk}/settle/", {"do": "take"})

    assert "answer</button>" not in page
    assert response.status_code == 409
    assert Ride.objects.get().state == "booked"


@pytest.mark.parametrize("n", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    waiting(n)
    manager.get("/replies/")

    with django_assert_num_queries(9):
        manager.get("/replies/")
