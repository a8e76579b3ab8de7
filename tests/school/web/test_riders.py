"""Riders' pages: what is looked at first, and what each reader may see and do."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    Consent,
    LevelSigning,
    OutboxMessage,
    Ride,
    Rider,
    RiderStop,
)
from school.queries.links import page_path
from school.services.consent_ends import write_consent_ends
from school.services.messages import deliver_due
from tests.clock import at
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def minor(**fields: Any) -> Rider:
    """A rider of eleven, today."""
    born = timezone.localdate() - timedelta(days=11 * 366)
    return RiderFactory(born_date=born, **fields)


def consent(rider: Rider, ends_in: int) -> Consent:
    last = timezone.localdate() + timedelta(days=ends_in)
    return RidingConsentFactory(
        rider=rider, given_date=last - timedelta(days=365), expires_date=last
    )


@pytest.mark.parametrize(
    ("ends_in", "says"),
    [
        (-1, "Consent to ride ended: can&#x27;t be booked"),
        (30, "Consent to ride ends on"),
        (31, ""),
    ],
)
def test_what_ends_within_thirty_days_is_said(
    manager: Browser, ends_in: int, says: str
) -> None:
    one = minor(level_signed_by=InstructorFactory(), level_signed_date=date(2026, 1, 1))
    consent(one, ends_in)

    page = manager.get("/riders/").content.decode()

    assert (says in page) if says else ("Nothing." in page)


def booked(rider: Rider, days: int, title: str) -> Ride:
    """A lesson at noon, so many days from now, booked under a consent gone since."""
    noon = at("12:00", timezone.localdate() + timedelta(days=days))
    then = RidingConsentFactory(rider=rider, name="Of the camp")
    ride = RideFactory(rider=rider, lesson__title=title, lesson__starts_at=noon)
    then.delete()
    return ride


@pytest.mark.parametrize("page", ["/riders/", "/riders/{pk}/"])
def test_a_lesson_booked_for_after_the_consents_end_is_named(
    manager: Browser, page: str
) -> None:
    one = minor()
    consent(one, 50)
    for days, title in ((61, "Later"), (51, "Poles on Friday"), (50, "Last covered")):
        booked(one, days, title)
    day = timezone.localdate() + timedelta(days=51)

    shown = manager.get(page.format(pk=one.pk)).content.decode()

    notes = shown.partition("Booked without a consent for that day")[2]
    assert notes.startswith(": <a href=")
    assert f"Poles on Friday, {day:%A} {day.day} {day:%B %Y}, 12:00</a> and 1 more" in (
        notes
    )
    assert "Consent to ride ends on" in shown
    assert "Last covered" not in notes.partition("</p>")[0]


def test_who_is_of_age_by_then_needs_no_consent(manager: Browser) -> None:
    today = timezone.localdate()
    birthday = today + timedelta(days=40)
    one = RiderFactory(born_date=birthday.replace(year=birthday.year - 18))
    consent(one, 35)
    booked(one, 40, "Of age")

    assert "Booked without" not in manager.get("/riders/").content.decode()


def test_the_list_says_until_when_and_who_signed(manager: Browser) -> None:
    one = consent(minor(), 100)
    day = one.expires_date

    page = manager.get("/riders/").content.decode()

    assert f"consent until {day.day} {day:%B %Y}" in page
    assert f"signed by {one.given_by}" in page


def test_the_riders_page_says_when_the_guardian_was_asked(manager: Browser) -> None:
    one = consent(minor(), 10)
    booked(one.rider, 2, "Soon")
    write_consent_ends(now=timezone.now())
    assert (
        "guardian was asked"
        not in manager.get(f"/riders/{one.rider_id}/").content.decode()
    )
    deliver_due(now=timezone.now())

    page = manager.get(f"/riders/{one.rider_id}/").content.decode()

    assert (
        f'The guardian was asked <a href="/messages/{OutboxMessage.objects.get().pk}/">'
        in page
    )


@pytest.mark.parametrize("count", [1, 3])
def test_the_list_asks_as_much_for_one_rider_as_for_three(
    manager: Browser, django_assert_num_queries, count: int
) -> None:
    for _ in range(count):
        rider = minor()
        consent(rider, 5)
        RiderStopFactory(rider=rider)

    with django_assert_num_queries(9):
        manager.get("/riders/")


def test_a_manager_notes_and_withdraws_a_consent(manager: Browser) -> None:
    one = minor()
    today = timezone.localdate()
    manager.post(
        f"/riders/{one.pk}/consents/",
        {
            "consent-kind": "riding",
            "consent-given_by": one.client_id,
            "consent-given_date": today,
            "consent-expires_date": today + timedelta(days=365),
        },
    )
    made = Consent.objects.get()

    page = manager.get(f"/riders/{one.pk}/").content.decode()
    assert f"signed by {one.client.person}" in page
    manager.post(
        f"/riders/{one.pk}/consents/withdraw/",
        {"consent": made.pk, "reason": "The guardian, by phone"},
    )

    made.refresh_from_db()
    assert made.withdrawn_date == today
    page = manager.get(f"/riders/{one.pk}/").content.decode()
    assert "Consent to ride withdrawn: can&#x27;t be booked" in page


def test_nobody_elses_consent_is_withdrawn_on_a_riders_page(manager: Browser) -> None:
    other = consent(minor(), 100)

    answer = manager.post(
        f"/riders/{minor().pk}/consents/withdraw/",
        {"consent": other.pk, "reason": "A slip"},
    )

    assert answer.status_code == 409
    other.refresh_from_db()
    assert other.withdrawn_date is None


def test_a_stop_is_set_by_an_instructor_and_lifted_by_the_manager_alone(
    client: Browser,
) -> None:
    SchoolFactory()
    rider = RiderFactory()
    client.force_login(AccountFactory(person=InstructorFactory().person))
    client.post(f"/riders/{rider.pk}/stop/", {"stop-reason": "Fell on the head"})
    stop = RiderStop.objects.get()

    lifts = {"lift-reason": "The doctor's letter"}
    assert client.post(f"/riders/{rider.pk}/lift/", lifts).status_code == 403
    client.force_login(AccountFactory(manager=True, person=None))
    client.post(f"/riders/{rider.pk}/lift/", lifts)

    stop.refresh_from_db()
    assert stop.lifted_reason == "The doctor's letter"


def test_an_instructor_signs_on_the_page(client: Browser) -> None:
    SchoolFactory()
    rider = RiderFactory(level="novice")
    teacher = InstructorFactory()
    client.force_login(AccountFactory(person=teacher.person))

    client.post(
        f"/riders/{rider.pk}/level/",
        {"level-level": "intermediate", "level-highest_fence_cm": 70},
    )

    assert LevelSigning.objects.get().signed_by == teacher
    page = client.get(f"/riders/{rider.pk}/").content.decode()
    assert f"signed by {teacher}" in page


def test_who_teaches_the_rider_soon_sees_what_is_sensitive_and_others_do_not(
    client: Browser,
) -> None:
    SchoolFactory()
    soon = timezone.now() + timedelta(days=3)
    ride = RideFactory(
        lesson__starts_at=soon,
        rider__weight_kg=73,
        rider__health="Asthma",
    )
    RiderStopFactory(rider=ride.rider, reason="Fell on the head")
    page = f"/riders/{ride.rider_id}/"

    def sees(teacher: Any) -> list[bool]:
        client.force_login(AccountFactory(person=teacher.person))
        text = client.get(page).content.decode()
        told = ("73 kg", "Asthma", "4 May 1992", "Fell on the head")
        return [one in text for one in told]

    assert sees(ride.lesson.instructor) == [True] * 4
    assert sees(InstructorFactory()) == [False] * 4
    long_ago = RideFactory(
        rider=ride.rider, lesson__starts_at=timezone.now() - timedelta(days=9)
    )
    assert sees(long_ago.lesson.instructor) == [False] * 4


def test_a_refused_booking_leads_to_where_it_is_mended(manager: Browser) -> None:
    one = minor()
    ride = RideFactory(lesson__starts_at=timezone.now() + timedelta(days=3))
    lesson = ride.lesson
    when = timezone.localtime(lesson.starts_at) + timedelta(hours=2)

    answer = manager.post(
        "/lessons/new/",
        {
            "title": "Group",
            "kind": "group",
            "work": "flat",
            "date": when.date(),
            "start": "10:00",
            "minutes": 45,
            "arena": lesson.arena_id,
            "instructor": lesson.instructor_id,
            "places": 4,
            "rider_1": one.pk,
        },
    )

    assert answer.status_code == 409
    page = answer.content.decode()
    assert "is under 18 and can&#x27;t be booked" in page
    assert f'href="/riders/{one.pk}/"' in page


def test_a_guardian_consents_on_their_own_page(client: Browser) -> None:
    SchoolFactory()
    one = minor(person__first_name="Nienke")
    page = page_path(one.client, now=timezone.now())
    assert "Your consent for Nienke" in client.get(page).content.decode()

    for _ in range(2):
        client.post(f"{page}riders/{one.pk}/consent/")

    made = Consent.objects.get()
    assert (made.kind, made.given_by) == ("riding", one.client.person)
    assert "Your consent for Nienke" not in client.get(page).content.decode()


def test_no_guardian_consents_for_anothers_child(client: Browser) -> None:
    SchoolFactory()
    page = page_path(minor().client, now=timezone.now())

    client.post(f"{page}riders/{minor().pk}/consent/")

    assert not Consent.objects.exists()
