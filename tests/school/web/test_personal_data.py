"""A client's data handed out and erased; weight, health and birth date kept to few."""

import io
import json
import zipfile
from datetime import date, timedelta

import pytest
from django.apps import apps
from django.test import Client as Browser
from django.utils import timezone

from school.enums import FeedKind
from school.models import (
    AuditEntry,
    Consent,
    Lesson,
    OutboxMessage,
    Person,
    Rider,
    WaitingWish,
)
from school.queries.links import page_path
from school.services.feeds import find_feed, make_feed
from school.services.invitations import lesson_changed
from school.services.personal_data import UnableToErase, erase_client, export_client
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.riders import RiderStopFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingWishFactory
from tests.factories.welfare import WelfareOverrideFactory
from tests.test_sweeps import GET, ROLES, account, things

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(days=30)


def known_client(**more):
    """Return a ride of a girl whose father is the client, with all that is kept."""
    SchoolFactory()
    father = ClientFactory(
        person__first_name="Gerlof", person__last_name="Vanderzee", **more
    )
    rider = RiderFactory(
        client=father,
        person__first_name="Wendelmoet",
        person__last_name="Vanderzee",
        health="Wears a brace on the left wrist",
        emergency_name="Aunt Sietske",
        weight_kg=57,
    )
    ride = RideFactory(rider=rider, lesson__title="Private for Wendelmoet")
    Consent.objects.create(
        rider=rider,
        name="Photos of Wendelmoet",
        given_by=father.person,
        given_date=date(2027, 1, 1),
        expires_date=date(2028, 1, 1),
    )
    WaitingWishFactory(rider=rider, note="Wendelmoet would like Onyx")
    WelfareOverrideFactory(
        lesson=ride.lesson, horse=ride.horse, reason="Wendelmoet asked"
    )
    lesson_changed(lesson=ride.lesson, now=NOW)
    AccountFactory(person=father.person, username="gerlof")
    return ride


def everything() -> str:
    """Return every text of the database that a person could be told from."""

    found = []
    for model in apps.get_app_config("school").get_models():
        for row in model._default_manager.values():
            for value in row.values():
                if isinstance(value, memoryview | bytes):
                    value = bytes(value).decode("utf-8", "replace")
                found.append(str(value))
    return "\n".join(found)


def test_an_export_holds_all_that_is_kept_and_no_secret() -> None:
    ride = known_client()
    client = ride.rider.client
    _, url = make_feed(kind=FeedKind.CLIENT, holder=client.person, now=NOW)

    body = export_client(client=client, by=AccountFactory(), now=NOW)

    with zipfile.ZipFile(io.BytesIO(body)) as packed:
        data = {
            name.removesuffix(".json"): json.loads(packed.read(name))
            for name in packed.namelist()
        }
    (rider,) = data["riders"]
    assert (rider["weight_kg"], rider["health"]) == (57, ride.rider.health)
    assert data["rides"][0]["lesson__title"] == "Private for Wendelmoet"
    assert {one["first_name"] for one in data["people"]} == {"Gerlof", "Wendelmoet"}
    assert len(data["consents"]) == len(data["wishes"]) == len(data["mails"]) == 1
    told = json.dumps(data)
    assert "digest" not in told
    assert "password" not in told
    assert url.rsplit("/", 1)[1] not in told
    assert AuditEntry.objects.filter(action="export data").count() == 1


def test_an_export_tells_of_nobody_else() -> None:
    ride = known_client()
    RideFactory(lesson=ride.lesson, rider__person__first_name="Somebodyelse")

    body = export_client(client=ride.rider.client, by=AccountFactory(), now=NOW)

    with zipfile.ZipFile(io.BytesIO(body)) as packed:
        for name in packed.namelist():
            assert b"Somebodyelse" not in packed.read(name)


def test_after_erasure_nothing_tells_who_it_was_and_the_history_stays() -> None:
    ride = known_client()
    client = ride.rider.client
    feed, url = make_feed(kind=FeedKind.CLIENT, holder=client.person, now=NOW)
    link = page_path(client, now=NOW)
    by = AccountFactory(username="office", person__first_name="Office")

    for _ in range(2):
        erase_client(client=client, by=by, now=LATER)

    left = everything()
    for gone in (
        "Gerlof", "gerlof", "Wendelmoet", "Vanderzee", "brace", "Sietske",
        ride.rider.client.person.email, ride.rider.person.email,
    ):  # fmt: skip
        assert gone not in left, gone
    assert Lesson.objects.get().title == "Private for Erased"
    ride.refresh_from_db()
    assert ride.horse is not None
    rider = Rider.objects.get()
    assert (rider.born_date, rider.height_cm) == (date(1900, 1, 1), None)
    token = url.rsplit("/", 1)[1].removesuffix(".ics")
    assert find_feed(kind=feed.kind, token=token) is None
    browser = Browser()
    assert "Erased" not in browser.get(link).content.decode()
    assert not AccountFactory._meta.model.objects.get(person=client.person).is_active
    assert not OutboxMessage.objects.filter(state="waiting").exists()
    assert WaitingWish.objects.get().state == "withdrawn"
    assert AuditEntry.objects.filter(action="erase").count() == 1


def test_nobody_is_erased_while_a_lesson_is_to_come() -> None:
    ride = known_client()

    with pytest.raises(UnableToErase, match="Private for Wendelmoet on Sat 6 Mar"):
        erase_client(client=ride.rider.client, by=AccountFactory(), now=NOW)

    assert Person.objects.filter(first_name="Wendelmoet").exists()


def test_who_works_here_is_not_erased() -> None:
    SchoolFactory()
    instructor = InstructorFactory()
    manager = AccountFactory(manager=True)
    for person in (instructor.person, manager.person):
        with pytest.raises(UnableToErase, match="works here"):
            erase_client(client=ClientFactory(person=person), by=manager, now=NOW)


def test_the_page_exports_and_erases_only_with_the_name(client: Browser) -> None:
    ride = known_client()
    Lesson.objects.update(
        starts_at=timezone.now() - timedelta(days=9),
        ends_at=timezone.now() - timedelta(days=9) + timedelta(hours=1),
    )
    client.force_login(AccountFactory(manager=True, person=None))
    page = f"/clients/{ride.rider.client_id}/data/"

    packed = client.post(f"{page}export/")
    assert packed["Content-Type"] == "application/zip"
    assert client.post(f"{page}erase/", {"name": "Jon"}).status_code == 409
    assert client.post(f"{page}erase/", {}).status_code == 409
    done = client.post(f"{page}erase/", {"name": "gerlof"}, follow=True)

    assert "without the person" in done.content.decode()
    assert client.get("/clients/99999/data/").status_code == 404


def test_the_page_says_why_nothing_is_erased(client: Browser) -> None:
    ride = known_client()
    Lesson.objects.update(
        starts_at=timezone.now() + timedelta(days=9),
        ends_at=timezone.now() + timedelta(days=9, hours=1),
    )
    client.force_login(AccountFactory(manager=True, person=None))

    page = client.post(
        f"/clients/{ride.rider.client_id}/data/erase/", {"name": "Gerlof"}
    )

    assert page.status_code == 409
    assert "still to come" in page.content.decode()


MARKERS = (
    "173 kg",
    "173.0",
    ">173<",
    "31 December 1987",
    "1987-12-31",
    "Marked-health",
    "Marked-stop",
)
"""A weight, a birth date and a note on health that nothing else holds."""


@pytest.fixture
def marked() -> dict[str, str]:
    addresses = things()
    Rider.objects.update(
        weight_kg=173, born_date=date(1987, 12, 31), health="Marked-health"
    )
    for rider in Rider.objects.all():
        RiderStopFactory(rider=rider, reason="Marked-stop")
    return addresses


@pytest.mark.parametrize("role", [one for one in ROLES if one != "manager"])
def test_no_page_or_answer_tells_weight_birth_date_or_health(
    client: Browser, marked: dict[str, str], role: str
) -> None:
    if role != "stranger":
        client.force_login(account(role))

    for name in sorted(GET):
        response = client.get(marked[name])
        body = b"".join(response) if response.streaming else response.content
        text = body.decode("utf-8", "replace")
        for marker in MARKERS:
            assert marker not in text, (name, marker)


def test_the_lessons_instructor_and_the_manager_do_see_them(
    client: Browser, marked: dict[str, str]
) -> None:
    lesson = Lesson.objects.get(rides__isnull=False)
    for who in (
        AccountFactory(person=lesson.instructor.person),
        AccountFactory(manager=True, person=None),
    ):
        client.force_login(who)
        text = client.get(marked["lesson"]).content.decode()
        assert "173 kg" in text
        assert "31 December 1987" in text
        assert "Marked-health" in text
        text = client.get(marked["rider"]).content.decode()
        assert all(one in text for one in ("173 kg", "31 December 1987"))
        assert all(one in text for one in ("Marked-health", "Marked-stop"))


@pytest.mark.parametrize("kind", ["client", "instructor", "horse", "arena"])
def test_no_feed_and_no_mail_tells_them(
    client: Browser, marked: dict[str, str], kind: str
) -> None:
    lesson = Lesson.objects.get(rides__isnull=False)
    ride = lesson.rides.select_related("rider__client__person", "horse").get()
    holder = {
        "client": ride.rider.client.person,
        "instructor": lesson.instructor.person,
        "horse": ride.horse,
        "arena": lesson.arena,
    }[kind]
    _, url = make_feed(kind=kind, holder=holder, now=NOW)

    feed = client.get("/agenda/" + url.split("/agenda/")[1])
    told = str(list(OutboxMessage.objects.values_list("told", "mail", "subject")))

    assert feed.status_code == 200
    for marker in MARKERS:
        assert marker not in feed.content.decode()
        assert marker not in told
