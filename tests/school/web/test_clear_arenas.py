"""A lesson that finds its arena clear: said on its page, for weekly lessons too."""

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.convert.days import day_document
from scheduling.queries.days import day_rows
from school.models import AuditEntry, Lesson
from tests.clock import NOW, SATURDAY
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def test_beginners_are_said_to_need_a_clear_arena_and_are_planned_so(
    manager: Browser,
) -> None:
    lesson = LessonFactory(work="flat", title="First lesson")

    page = manager.post(
        f"/lessons/{lesson.pk}/clear/", {"needs_clear": "on"}, follow=True
    ).content.decode()

    assert "Nothing may stand in the arena" in page
    (planned,) = day_document(day_rows(SATURDAY))["lessons"]
    assert planned["needs_clear"] is True
    assert LessonFactory(starts_at=NOW).needs_clear is False


def test_it_is_set_once_of_a_lesson_and_of_those_to_come(manager: Browser) -> None:
    series = weekly()
    first, second, *_ = series.lessons.order_by("starts_at")
    clear = {"needs_clear": "on"}

    for _ in range(2):
        manager.post(f"/lessons/{second.pk}/clear/", clear)
    assert AuditEntry.objects.filter(action="ask clear").count() == 1
    page = manager.post(
        f"/lessons/{first.pk}/clear/", clear | {"later": "on"}, follow=True
    ).content.decode()

    assert not Lesson.objects.filter(needs_clear=False).exists()
    assert f"Set for {series.lessons.count() - 1} lessons." in page
    manager.post(f"/lessons/{first.pk}/clear/", {})
    assert Lesson.objects.filter(needs_clear=False).get() == first


def test_what_has_begun_or_is_off_stays_as_it_was(manager: Browser) -> None:
    lesson = LessonFactory(state="cancelled", state_reason="ill")

    manager.post(f"/lessons/{lesson.pk}/clear/", {"needs_clear": "on"})

    lesson.refresh_from_db()
    assert not lesson.needs_clear


def test_a_lesson_takes_a_grid_or_a_clear_arena(manager: Browser) -> None:
    ride = RideFactory(lesson__needs_clear=True, lesson__title="First jumps")
    load_library(now=NOW)
    exercise = Exercise.objects.get(slug="placing-pole-double")
    data = {"exercise": exercise.pk, "tradition": "schooling"}

    refused = manager.post(f"/lessons/{ride.lesson_id}/grid/", data)

    assert refused.status_code == 409
    assert "Nothing may stand while First jumps" in refused.content.decode()
    Lesson.objects.update(needs_clear=False)
    LineFactory(arena=ride.lesson.arena)
    StorePieceFactory()
    page = manager.post(f"/lessons/{ride.lesson_id}/grid/", data, follow=True)
    assert "What may stand" not in page.content.decode()
    manager.post(f"/lessons/{ride.lesson_id}/clear/", {"needs_clear": "on"})
    assert not Lesson.objects.get().needs_clear
