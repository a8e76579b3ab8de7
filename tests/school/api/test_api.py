"""The API: thin over the services, errors in one shape."""

import pytest
from django.test import Client as Browser

from scheduling.models import DayPlan
from scheduling.tasks import carry_out_runs
from tests.clock import at
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True))
    return client


def patch(api: Browser, lesson, **data: object):
    return api.patch(
        f"/api/lessons/{lesson.pk}/", data, content_type="application/json"
    )


def test_a_days_lessons_are_listed_without_anything_sensitive(api: Browser) -> None:
    RideFactory(horse__name="Onyx")

    response = api.get("/api/lessons/?date=2027-03-06")

    (lesson,) = response.json()["lessons"]
    assert lesson["horses"] == ["Onyx"]
    assert set(lesson) == {
        "id", "title", "kind", "work", "state", "starts_at", "ends_at", "arena",
        "instructor", "places", "horses", "version",
    }  # fmt: skip


def test_a_wrong_day_is_named(api: Browser) -> None:
    response = api.get("/api/lessons/?date=someday")

    assert response.status_code == 400
    assert response.json()["code"] == "invalid"
    assert "date" in response.json()["fields"]


def test_a_lesson_is_moved_and_cancelled(api: Browser) -> None:
    lesson = LessonFactory()
    moved = patch(api, lesson, version=1, starts_at=at("14:00").isoformat())
    cancelled = patch(api, lesson, version=2, cancel_reason="storm")

    assert moved.json()["version"] == 2
    assert cancelled.json()["state"] == "cancelled"


def test_a_refusal_has_code_words_and_fields(api: Browser) -> None:
    busy = LessonFactory(starts_at=at("14:00"), title="Other")
    lesson = LessonFactory(arena=busy.arena)

    response = patch(api, lesson, version=1, starts_at=at("14:30").isoformat())

    assert response.status_code == 409
    assert response.json()["code"] == "arena-busy"
    assert "is taken by Other until 15:00" in response.json()["says"]
    assert response.json()["fields"]["lesson"] == busy.pk


def test_neither_start_nor_reason_is_refused(api: Browser) -> None:
    assert patch(api, LessonFactory(), version=1).status_code == 400


def test_an_unknown_lesson_is_not_found_in_the_same_shape(api: Browser) -> None:
    response = api.get("/api/lessons/99/")

    assert response.status_code == 404
    assert set(response.json()) == {"code", "says", "fields"}


def test_a_days_plan_is_asked_for_watched_and_read(api: Browser) -> None:
    LessonFactory()
    missing = api.get("/api/days/2027-03-06/plan/")
    asked = api.post("/api/days/2027-03-06/plan/")
    carry_out_runs()
    ended = api.get(f"/api/runs/{asked.json()['run']}/").json()
    read = api.get("/api/days/2027-03-06/plan/")

    assert missing.status_code == 404
    assert (asked.status_code, asked.json()["state"]) == (202, "queued")
    assert ended["state"] == "done"
    assert read.json() == ended["plan"] == DayPlan.objects.get().plan


def test_a_run_that_is_not_there_is_not_found(api: Browser) -> None:
    assert api.get("/api/runs/99/").status_code == 404


def test_a_day_that_is_none_has_no_plan(api: Browser) -> None:
    assert api.get("/api/days/someday/plan/").status_code == 404


def test_a_stranger_is_refused_in_the_same_shape(client: Browser) -> None:
    response = client.get("/api/lessons/?date=2027-03-06")

    assert response.status_code == 403
    assert set(response.json()) == {"code", "says", "fields"}
