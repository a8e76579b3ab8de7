"""The day by arena, its plan, and the reset list."""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser

from scheduling.models import Changeover, ChangeoverMove, DayPlan
from scheduling.queries.changeovers import trouble_at
from scheduling.services.plans import make_plan
from school.models import ArenaClosure, School
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.yard import YardWorkFactory

pytestmark = pytest.mark.django_db
DAY = f"/day/{SATURDAY.isoformat()}/"
RESETS = f"/resets/{SATURDAY.isoformat()}/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def published(n: int = 1) -> list[Changeover]:
    plan = DayPlanFactory(state="published")
    made = []
    for k in range(n):
        start = at("10:00") + timedelta(hours=k)
        one = ChangeoverFactory(
            plan=plan,
            lesson=LessonFactory(starts_at=start, title=f"Group {k}"),
            starts_at=start - timedelta(minutes=15),
            ends_at=start - timedelta(minutes=3),
        )
        ChangeoverMoveFactory(changeover=one, position=1)
        made.append(one)
    return made


def test_the_day_shows_lessons_changeovers_closures_and_what_was_saved(
    manager: Browser,
) -> None:
    RideFactory(lesson__title="Morning ride", horse__name="Onyx")
    published()
    ArenaClosure.objects.create(
        arena=ArenaFactory(),
        closed_from=at("12:00"),
        closed_to=at("13:00"),
        reason="harrowing",
    )

    page = manager.get(DAY).content.decode()

    for words in (
        "Morning ride",
        "Changeover for Group 0",
        "Closed: harrowing",
        "<strong>10</strong> min",
        "<strong>15</strong> min",
        "<strong>5</strong> min",
        "Proved: no order of this day needs less.",
        "Onyx",
        "12 min</text>",
    ):
        assert words in page


def test_a_plan_not_proved_says_that_a_better_one_may_exist(manager: Browser) -> None:
    DayPlanFactory(
        state="published", status="stopped", bound_s=500, as_booked_reset_s=None
    )

    page = manager.get(DAY).content.decode()

    assert "a better one may exist" in page
    assert "as booked" not in page


def test_a_day_without_lessons_says_so(manager: Browser) -> None:
    assert "No lessons on this day." in manager.get(DAY).content.decode()


@pytest.mark.parametrize(
    "path",
    [
        "/day/tomorrow/",
        "/resets/2027-02-30/",
        "/week/0001-01-01/",
        "/day/9999-12-31/",
    ],
)
def test_a_day_that_is_none_is_not_found(manager: Browser, path: str) -> None:
    assert manager.get(path).status_code == 404


def planned() -> DayPlan:
    return make_plan(date=SATURDAY, by=None, now=NOW)


def test_a_manager_publishes_a_plan(manager: Browser) -> None:
    LessonFactory()
    plan = planned()

    done = manager.post(f"/plans/{plan.pk}/publish/", follow=True)

    plan.refresh_from_db()
    assert plan.state == "published"
    assert "The plan is published" in done.content.decode()


def test_a_plan_of_a_day_that_changed_is_not_published(manager: Browser) -> None:
    lesson = LessonFactory()
    plan = planned()
    lesson.ends_at += timedelta(minutes=30)
    lesson.save()

    response = manager.post(f"/plans/{plan.pk}/publish/")

    assert response.status_code == 409
    plan.refresh_from_db()
    assert plan.state == "draft"


def test_a_plan_that_is_not_there_is_not_published(manager: Browser) -> None:
    assert manager.post("/plans/99/publish/").status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_day_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    published(n)
    for k in range(n):
        YardWorkFactory(starts_at=at(f"1{k}:00"), note="The ground")
    manager.get(DAY)

    with django_assert_num_queries(27):
        manager.get(DAY)


@pytest.mark.parametrize("n", [1, 3])
def test_the_reset_list_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    published(n)
    for k in range(n):
        YardWorkFactory(starts_at=at(f"1{k}:00"), note="The ground")

    with django_assert_num_queries(17):
        manager.get(RESETS)


@pytest.fixture
def groundsperson(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(person=GroundspersonFactory().person))
    return client


def test_the_reset_list_says_what_where_and_when(groundsperson: Browser) -> None:
    published(3)

    page = groundsperson.get(RESETS).content.decode()

    for words in (
        "09:45 to 09:57, 12 min",
        "Bring</strong> 2 wings (12 kg, one person), 2 poles (12 kg, one person)",
        "Build a cross (40 cm high) at 12.40 m from the end by the gate.",
        "for Group 0 at 10:00",
        ">Now<",
        ">Next<",
        ">Later<",
    ):
        assert words in page


def test_a_move_is_ticked_and_unticked(groundsperson: Browser) -> None:
    published()
    move = ChangeoverMove.objects.get()

    groundsperson.post(f"/moves/{move.pk}/tick/", {"ticked": "1"})
    move.refresh_from_db()
    assert move.ticked_at is not None

    groundsperson.post(f"/moves/{move.pk}/tick/", {"ticked": "0"})
    move.refresh_from_db()
    assert move.ticked_at is None


def test_a_changeover_is_started_and_done(groundsperson: Browser) -> None:
    (one,) = published()
    groundsperson.post(f"/changeovers/{one.pk}/start/")
    response = groundsperson.post(f"/changeovers/{one.pk}/done/")

    one.refresh_from_db()
    assert one.started_at is not None
    assert one.done_at is not None
    assert response["Location"] == f"{RESETS}#changeover-{one.pk}"
    assert "1 of 1 done." in groundsperson.get(RESETS).content.decode()


def test_work_for_a_replaced_plan_is_refused_in_words(groundsperson: Browser) -> None:
    (one,) = published()
    DayPlan.objects.update(state="replaced")

    groundsperson.post(f"/changeovers/{one.pk}/start/")

    one.refresh_from_db()
    assert one.started_at is None
    assert "Not done." in groundsperson.get(RESETS).content.decode()


@pytest.mark.parametrize(
    "path", ["/changeovers/99/start/", "/moves/99/tick/", "/changeovers/99/done/"]
)
def test_what_is_not_there_is_not_found(groundsperson: Browser, path: str) -> None:
    assert groundsperson.post(path).status_code == 404


def test_a_school_of_feet_gets_its_reset_list_and_drawing_in_feet(
    manager: Browser,
) -> None:
    School.objects.update(length_unit="feet", height_unit="feet")
    (one,) = published()

    for page in (RESETS, f"/changeovers/{one.pk}/"):
        body = manager.get(page).content.decode()
        assert " ft" in body
        assert not re.search(r"\d (m|cm)\b", body), page


def trouble(browser: Browser, one: Changeover, **says: str):
    return browser.post(f"/changeovers/{one.pk}/trouble/", says)


def test_trouble_is_kept_once_and_seen_by_manager_and_instructor(
    groundsperson: Browser,
) -> None:
    (one,) = published()

    for _ in range(2):
        trouble(groundsperson, one, what="A piece is broken", says="two  cups")

    one.refresh_from_db()
    assert one.note == "A piece is broken: two cups"
    assert one.note in groundsperson.get(RESETS).content.decode()
    day = groundsperson.get(DAY).content.decode()
    assert "Trouble: Changeover for Group 0" in day
    assert trouble_at(one.lesson) == ["A piece is broken: two cups"]


def test_trouble_adds_to_what_was_said_before(groundsperson: Browser) -> None:
    (one,) = published()

    trouble(groundsperson, one, what="Not this way")
    trouble(groundsperson, one, what="The ground", says="deep by the gate")

    one.refresh_from_db()
    assert one.note.splitlines() == ["Not this way", "The ground: deep by the gate"]


def test_trouble_without_a_word_or_of_a_replaced_plan_is_refused(
    groundsperson: Browser,
) -> None:
    (one,) = published()

    trouble(groundsperson, one, what=" ")
    assert "Say in a few words" in groundsperson.get(RESETS).content.decode()
    DayPlan.objects.update(state="replaced")
    trouble(groundsperson, one, what="Not this way")

    one.refresh_from_db()
    assert one.note == ""


def test_the_list_leads_to_the_picture_of_each_changeover(
    groundsperson: Browser,
) -> None:
    (one,) = published()

    assert (
        f'href="/changeovers/{one.pk}/"' in groundsperson.get(RESETS).content.decode()
    )


def test_the_week_says_the_minutes_that_the_day_says(manager: Browser) -> None:
    for one in published(3):
        one.seconds = 610
        one.save()
    DayPlan.objects.update(reset_s=3 * 610, objective_s=3 * 610, bound_s=3 * 610)

    week = manager.get(f"/week/{SATURDAY.isoformat()}/").content.decode()

    # Each alone is rounded up to 11 minutes; together they are 30.5.
    assert "31 min of changing fences" in week
    assert "<strong>31</strong> min" in manager.get(DAY).content.decode()
