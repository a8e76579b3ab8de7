"""The limits of horses' work on their page, the heat, and doing it all the same."""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import DayHeat, Ride, School, WelfareOverride
from school.web.welfare import SET
from school.welfare.words import number
from tests.clock import at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.factories.welfare import DayHeatFactory, WelfareOverrideFactory

pytestmark = pytest.mark.django_db

WHY = "The other pony lost a shoe"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    account = AccountFactory(manager=True, person__first_name="Tjalling")
    client.force_login(account)
    return client


def usual() -> dict[str, str]:
    sent = {"tacked_up_min": "15", "gear_kg": "10"}
    for rule in SET:
        for side in ("warn", "refuse"):
            value = getattr(rule.usual, side)
            sent[f"{rule.name}-{side}"] = "" if value is None else number(value)
    return sent


def test_every_rule_is_shown_with_its_usual_figures_source_and_grade(
    manager: Browser,
) -> None:
    page = manager.get("/settings/horses-work/").content.decode()

    for rule in SET:
        assert rule.label.replace("'", "&#x27;") in page
        assert f"Grade: {rule.grade.replace(chr(39), '&#x27;')}" in page
    assert "Usual: warn at 12.5, refuse at 20" in page
    assert "Never overruled" in page


def test_limits_are_set_from_the_page(manager: Browser) -> None:
    sent = usual() | {"minutes-day-refuse": "150", "rest-warn": ""}

    assert manager.post("/settings/horses-work/", sent).status_code == 302

    assert School.objects.get().welfare == {
        "minutes-day": {"warn": 120, "refuse": 150},
        "rest": {"warn": None, "refuse": None},
    }
    page = manager.get("/settings/horses-work/").content.decode()
    assert re.search(r'name="minutes-day-refuse" value="150"', page)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"weight-refuse": "99"}, "Give a figure from 5 to 30"),
        ({"weight-refuse": "much"}, "Enter a number"),
        ({"heat-warn": "190"}, "It must warn before it refuses"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    manager: Browser, wrong: dict, says: str
) -> None:
    page = manager.post("/settings/horses-work/", usual() | wrong)

    assert page.status_code == 409
    assert says in page.content.decode()
    assert School.objects.get().welfare == {}


def test_heat_is_noted_and_shows_the_days_lessons(manager: Browser) -> None:
    today = timezone.localdate()
    RideFactory(
        lesson__title="Pony club",
        lesson__starts_at=timezone.now() + timedelta(minutes=1),
        lesson__ends_at=timezone.now() + timedelta(minutes=50),
    )

    sent = {"date": today.isoformat(), "temperature": "35", "humidity": "86"}
    assert manager.post("/heat/", sent).status_code == 302

    page = manager.get("/heat/").content.decode()
    assert "too hot to ride" in page
    assert "added up 181" in page
    assert DayHeat.objects.get().date == today


def test_a_heat_that_cannot_be_is_said(manager: Browser) -> None:
    sent = {"date": "2027-03-06", "temperature": "80", "humidity": "50"}

    page = manager.post("/heat/", sent)

    assert page.status_code == 409
    assert "Give degrees from -40 to 55." in page.content.decode()
    assert manager.post("/heat/", {}).status_code == 409


def test_the_heat_page_without_limits_speaks_of_none(manager: Browser) -> None:
    School.objects.update(welfare={"heat": {"warn": None, "refuse": None}})
    DayHeatFactory(date=timezone.localdate(), temperature_c=38, humidity_pct=90)

    page = manager.get("/heat/").content.decode()

    assert "bookings are warned of" not in page
    assert "within the limits" in page


@pytest.mark.parametrize("count", [1, 3])
def test_the_heat_page_takes_the_same_queries_for_any_day(
    manager: Browser, count: int, django_assert_num_queries
) -> None:
    for n in range(count):
        DayHeatFactory(date=timezone.localdate() + timedelta(days=n))
        RideFactory(lesson__starts_at=timezone.now() + timedelta(days=n, minutes=5))

    with django_assert_num_queries(10):
        manager.get("/heat/")


def booking(horse, rider) -> dict[str, str]:
    return {
        "title": "Evening ride",
        "kind": "private",
        "work": "flat",
        "minutes": "60",
        "places": "1",
        "date": "2027-03-06",
        "start": "16:00",
        "arena": str(ArenaFactory().pk),
        "instructor": str(InstructorFactory().pk),
        "rider_1": str(rider.pk),
        "horse_1": str(horse.pk),
    }


def test_a_refused_booking_may_be_done_all_the_same(manager: Browser) -> None:
    horse = HorseFactory(name="Onyx", max_minutes=50)
    sent = booking(horse, RiderFactory(person__first_name="Jon", weight_kg=120))

    page = manager.post("/lessons/new/", sent)

    text = page.content.decode()
    assert page.status_code == 409
    assert "Onyx with Jon would carry 23.7 % of its weight" in text
    assert 'name="overrule"' in text
    again = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    again.pop("csrfmiddlewaretoken", None)
    assert again == sent

    done = manager.post("/lessons/new/", again | {"overrule": WHY}, follow=True)

    shown = done.content.decode()
    assert "Overruled by Tjalling" in shown
    assert WHY in shown
    assert WelfareOverride.objects.count() == 2


def test_a_weekly_booking_may_be_done_all_the_same(manager: Browser) -> None:
    horse = HorseFactory(max_minutes=50)
    sent = booking(horse, RiderFactory()) | {"until": "2027-03-20"}
    assert 'name="overrule"' in manager.post("/lessons/new/", sent).content.decode()

    manager.post("/lessons/new/", sent | {"overrule": WHY})

    assert WelfareOverride.objects.count() == 3


def test_a_move_and_a_swap_may_be_done_all_the_same(manager: Browser) -> None:
    ride = RideFactory(lesson__starts_at=at("12:00"))
    other = RideFactory(horse=ride.horse, lesson__starts_at=at("16:00"))
    tired = HorseFactory(max_minutes=10)
    change = f"/board/lessons/{other.lesson_id}/change/"
    sent = {
        "date": "2027-03-06",
        "start": "13:15",
        "minutes": "60",
        "arena": str(other.lesson.arena_id),
        "instructor": str(other.lesson.instructor_id),
        f"horse_{other.pk}": str(other.horse_id),
    }
    for asked in ({"version": "1"}, {"version": "2", f"horse_{other.pk}": tired.pk}):
        page = manager.post(change, sent | asked)
        assert page.status_code == 409
        assert 'name="overrule"' in page.content.decode()
        done = manager.post(change, sent | asked | {"overrule": WHY})
        assert done.status_code == 302

    assert Ride.objects.get(pk=other.pk).horse == tired
    assert set(WelfareOverride.objects.values_list("rule", flat=True)) == {
        "rest",
        "minutes-day",
    }


def test_what_can_never_be_overruled_offers_no_reason(manager: Browser) -> None:
    horse = HorseFactory(bookable_from_date="2027-05-01")

    page = manager.post("/lessons/new/", booking(horse, RiderFactory()))

    assert page.status_code == 409
    assert 'name="overrule"' not in page.content.decode()


def test_a_lessons_limits_are_shown_to_its_instructor_and_no_other(
    client: Browser,
) -> None:
    SchoolFactory()
    ride = RideFactory(horse__weight_kg=300, rider__weight_kg=47)
    WelfareOverrideFactory(
        lesson=ride.lesson,
        horse=ride.horse,
        rule="rest",
        by=AccountFactory(person=None, username="office"),
    )
    page = f"/lessons/{ride.lesson_id}/"

    client.force_login(AccountFactory(person=ride.lesson.instructor.person))
    own = client.get(page).content.decode()
    client.force_login(AccountFactory(person=InstructorFactory().person))
    others = client.get(page).content.decode()

    assert "would jump with 19 % of its weight" in own
    assert "Overruled by office" in own
    assert "Limits of the horses" not in others
    assert "19 %" not in others


def test_a_weekly_lesson_takes_a_rider_all_the_same(manager: Browser) -> None:
    series = weekly()
    tired, rider = HorseFactory(max_minutes=10), RiderFactory()
    sent = {
        "join-rider": str(rider.pk),
        "join-horse": str(tired.pk),
        "join-first_date": series.first_date.isoformat(),
    }
    page = manager.post(f"/weekly/{series.pk}/join/", sent)
    assert 'name="overrule"' in page.content.decode()

    manager.post(f"/weekly/{series.pk}/join/", sent | {"overrule": WHY})

    assert Ride.objects.filter(rider=rider, horse=tired).exists()
