"""The manager's view of mails: troubles first, words of one's own, settings."""

from datetime import UTC, datetime

import pytest
from django.test import Client as Browser

from school.models import Client, MessageText, OutboxMessage, School
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


@pytest.fixture
def manager(client: Browser) -> Browser:
    client.force_login(AccountFactory(manager=True))
    return client


def booked(n: int = 1) -> list[OutboxMessage]:
    for _ in range(n):
        ride = RideFactory(rider__person__first_name="Mira")
        lesson_changed(lesson=ride.lesson, now=NOW)
    return list(OutboxMessage.objects.order_by("pk"))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_what_could_not_be_sent_comes_first_with_why(manager: Browser) -> None:
    booked()
    OutboxMessage.objects.update(state="failed", attempts=12, last_error="no such box")

    shown = text(manager.get("/messages/"))

    assert "Not sent: 1" in shown
    assert "Given up</span> after 12 tries: no such box" in shown
    assert "Try now" in shown


def test_a_mail_that_waits_for_another_try_says_when(manager: Browser) -> None:
    booked()
    OutboxMessage.objects.update(
        attempts=1,
        last_error="busy",
        next_try_at=datetime(2027, 3, 1, 11, 5, tzinfo=UTC),
    )

    assert "tried 1 time, again Mon 1 Mar, 12:05: busy" in text(
        manager.get("/messages/")
    )


def test_what_waits_and_what_went_are_told_apart(manager: Browser) -> None:
    booked(2)
    deliver_due(now=NOW, limit=1)

    shown = text(manager.get("/messages/"))

    assert "Nothing is held up." in shown
    assert "Waiting</span> goes Mon 1 Mar, 12:00" in shown
    assert "Sent</span> Mon 1 Mar, 12:00" in shown


def test_a_mail_is_shown_as_it_went(manager: Browser) -> None:
    (message,) = booked()
    assert "made when it goes" in text(manager.get(f"/messages/{message.pk}/"))
    deliver_due(now=NOW)

    shown = text(manager.get(f"/messages/{message.pk}/"))

    assert "A private jumping lesson for Mira at Example School." in shown
    assert "invite 0 of its entry" in shown


def test_a_mail_that_went_goes_again_on_request(manager: Browser) -> None:
    (message,) = booked()
    deliver_due(now=NOW)

    answer = manager.post(f"/messages/{message.pk}/again/", follow=True)

    assert "is written to again" in text(answer)
    assert OutboxMessage.objects.get().state == "waiting"


def test_an_overtaken_mail_is_not_sent_again_and_says_why(manager: Browser) -> None:
    (message,) = booked()
    OutboxMessage.objects.update(state="dropped")

    answer = manager.post(f"/messages/{message.pk}/again/", follow=True)

    assert "overtaken by a later change" in text(answer)


@pytest.mark.parametrize("path", ["/messages/99/", "/messages/texts/joke/en/"])
def test_what_is_not_there_is_not_found(manager: Browser, path: str) -> None:
    assert manager.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/messages/99/again/", "/messages/clients/99/"])
def test_nothing_is_done_to_what_is_not_there(manager: Browser, path: str) -> None:
    assert manager.post(path).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_outbox_asks_the_database_as_often_for_many(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    booked(n)
    with django_assert_num_queries(10):
        manager.get("/messages/")


WORDS = "Dear {guardian}\n{day} {start}\n{cancel}\n{caution}"
TEXT = "/messages/texts/invite/en/"


def test_a_text_is_previewed_without_being_kept(manager: Browser) -> None:
    shown = manager.post(
        TEXT, {"subject": "At {start}", "body": WORDS, "do": "preview"}
    )

    assert "Dear Sam" in shown.content.decode()
    assert "At 10:00" in shown.content.decode()
    assert not MessageText.objects.exists()


def test_a_text_that_is_kept_is_what_clients_read(manager: Browser) -> None:
    manager.post(TEXT, {"subject": "At {start}", "body": WORDS, "do": "save"})
    (message,) = booked()
    deliver_due(now=NOW)
    message.refresh_from_db()

    assert message.subject == "At 09:00"
    assert b"Dear " in bytes(message.mail)


def test_the_text_that_came_with_the_tool_can_be_taken_again(manager: Browser) -> None:
    manager.post(TEXT, {"subject": "At {start}", "body": WORDS, "do": "save"})
    shown = manager.post(TEXT, {"do": "restore"}, follow=True)

    assert "Hello {guardian}," in shown.content.decode()
    assert not MessageText.objects.exists()


@pytest.mark.parametrize(
    ("subject", "body", "says"),
    [
        ("At {start}", "{day} {start} {caution}", "must keep {cancel}"),
        ("At {start}", f"{WORDS}\n{{weight}}", "Line 5 has {weight}"),
        ("At {start}", f"{WORDS}\n{{", "Line 5 has a brace"),
        ("At {start.year}", WORDS, "Line 1 has a brace"),
        ("", WORDS, "This field is required"),
    ],
)
def test_a_text_that_cannot_be_sent_is_refused_and_nothing_typed_is_lost(
    manager: Browser, subject: str, body: str, says: str
) -> None:
    answer = manager.post(TEXT, {"subject": subject, "body": body, "do": "save"})

    assert answer.status_code == 409
    assert says in answer.content.decode()
    assert not MessageText.objects.exists()


def test_settings_of_mails_are_kept(manager: Browser) -> None:
    page = manager.get("/messages/settings/")
    values = {
        name: "" if value is None else value
        for name, value in page.context["form"].initial.items()
    }
    values |= {"remind_hours": "48", "phone": "555 0100", "remind_evening_at": ""}

    manager.post("/messages/settings/", values)

    school = School.objects.get()
    assert (school.remind_hours, school.phone) == (48, "555 0100")
    assert school.remind_evening_at is None


def test_settings_that_cannot_be_are_refused(manager: Browser) -> None:
    answer = manager.post("/messages/settings/", {"remind_hours": "lots"})

    assert "Enter a whole number" in answer.content.decode()


def test_a_clients_language_is_chosen(manager: Browser) -> None:
    ride = RideFactory()
    key = ride.rider.client_id
    manager.get("/messages/clients/")
    manager.post(
        f"/messages/clients/{key}/",
        {f"client-{key}-language": "de", f"client-{key}-calendar_by": "feed"},
    )

    assert Client.objects.values_list("language", "calendar_by").get(pk=key) == (
        "de",
        "feed",
    )


def test_an_unknown_language_is_refused(manager: Browser) -> None:
    key = RideFactory().rider.client_id
    answer = manager.post(
        f"/messages/clients/{key}/", {f"client-{key}-language": "xx"}, follow=True
    )

    assert "Choose one of the languages" in text(answer)
