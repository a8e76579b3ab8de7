"""What a booking would break and cost, said in its form before it is done."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from school.models import AuditEntry, Lesson, LessonSeries, OutboxMessage, School
from tests.clock import SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import YardWorkFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db
TRY = "/lessons/new/try/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def asked(**changes: object) -> dict[str, object]:
    return {
        "date": SATURDAY.isoformat(),
        "start": "14:30",
        "title": "New ride",
        "kind": "private",
        "work": "flat",
        "minutes": 60,
        "places": 1,
    } | changes


def said(manager: Browser, **changes: object) -> str:
    answer = manager.post(TRY, asked(**changes), headers={"HX-Request": "true"})
    assert answer.status_code == 200
    return answer.content.decode()


def test_what_it_costs_is_said_and_nothing_is_written(manager: Browser) -> None:
    arena, _, lessons = small_day()
    rider = RiderFactory(client__person__first_name="Wieke")

    part = said(
        manager, arena=arena.pk, instructor=InstructorFactory().pk, rider_1=rider.pk
    )

    assert "Adds no changing of fences" in part
    assert "1 mail: Wieke Example (invite to a lesson)" in part
    assert Lesson.objects.count() == len(lessons)
    assert not AuditEntry.objects.exists()
    assert not OutboxMessage.objects.exists()


def test_every_rule_it_breaks_is_said_at_once(manager: Browser) -> None:
    ride = RideFactory(horse__name="Onyx", lesson__arena__name="Hall")
    lesson = ride.lesson

    part = said(
        manager,
        start="09:30",
        arena=lesson.arena_id,
        instructor=lesson.instructor_id,
        rider_1=RiderFactory().pk,
        horse_1=ride.horse_id,
    )

    assert "Not possible" in part
    assert "Hall is taken by" in part
    assert f"{lesson.instructor.person.first_name} is in {lesson.title}" in part
    assert "Onyx goes in" in part


def test_a_limit_of_the_horses_work_that_warns_is_said(manager: Browser) -> None:
    horse = HorseFactory(name="Onyx", rest_min=0)
    RideFactory(horse=horse, lesson__starts_at=at("13:20"))

    part = said(
        manager,
        arena=ArenaFactory().pk,
        instructor=InstructorFactory().pk,
        rider_1=RiderFactory().pk,
        horse_1=horse.pk,
    )

    assert "Onyx would rest 10 minutes between two lessons" in part


def test_every_week_the_days_that_are_taken_are_said(manager: Browser) -> None:
    arena, teacher = ArenaFactory(), InstructorFactory()
    weeks = {"until": (SATURDAY + timedelta(days=21)).isoformat()}
    free = said(manager, arena=arena.pk, instructor=teacher.pk, **weeks)
    later = at("14:30", SATURDAY + timedelta(days=14))
    RideFactory(lesson__arena=arena, lesson__starts_at=later)

    taken = said(manager, arena=arena.pk, instructor=teacher.pk, **weeks)

    assert "Every week" in free
    assert "20 Mar" in taken
    assert "Every week" not in taken
    assert not LessonSeries.objects.exists()


def test_what_is_not_filled_in_yet_is_named(manager: Browser) -> None:
    part = said(manager, title="")

    assert "once these are filled in: title, arena, instructor." in part


def test_without_scripts_the_form_comes_back_with_what_it_would_do(
    manager: Browser,
) -> None:
    arena, _, _ = small_day()
    data = asked(arena=arena.pk, instructor=InstructorFactory().pk)

    page = manager.post(TRY, data).content.decode()

    assert "<h1>Book a lesson</h1>" in page
    assert "Adds no changing of fences" in page
    assert 'value="New ride"' in page


def test_an_address_may_fill_in_the_whole_form(manager: Browser) -> None:
    rider, horse = RiderFactory(), HorseFactory()
    data = asked(work="jumping", rider_1=rider.pk, horse_1=horse.pk)

    page = manager.get("/lessons/new/", data).content.decode()

    assert 'value="2027-03-06"' in page
    assert 'value="14:30"' in page
    for key in ("jumping", rider.pk, horse.pk):
        assert f'<option value="{key}" selected>' in page


def test_trying_takes_as_many_queries_for_any_number_of_lessons(
    manager: Browser,
) -> None:
    arena, _, lessons = small_day()
    data = asked(arena=arena.pk, instructor=InstructorFactory().pk)
    counts = []
    for n in (3, 1):
        for one in lessons[n:]:
            Lesson.objects.filter(pk=one.pk).update(state="cancelled", state_reason="-")
        with CaptureQueriesContext(connection) as queries:
            manager.post(TRY, data, headers={"HX-Request": "true"})
        counts.append(len(queries))

    # How many differs between the databases; that they are constant does not.
    assert counts[0] == counts[1] <= 120


def test_a_harrow_it_leaves_no_time_for_is_named(manager: Browser) -> None:
    work = YardWorkFactory(arena__name="Hall", starts_at=at("15:30"))

    part = said(
        manager,
        arena=work.arena_id,
        instructor=InstructorFactory().pk,
        work="jumping",
    )

    assert "New ride jumps in Hall until Sat 6 Mar 15:30" in part


def test_a_weekly_lesson_names_the_days_with_too_little_light(
    manager: Browser,
) -> None:
    # Amsterdam, 52 N 5 E: by the almanac the sun sets there about 18:27 on 6 March,
    # 18:40 on 13 March and 18:52 on 20 March (from memory).
    School.objects.update(latitude=52.0, longitude=5.0)
    until = (SATURDAY + timedelta(days=14)).isoformat()

    part = said(
        manager,
        arena=ArenaFactory(name="Meadow").pk,
        instructor=InstructorFactory().pk,
        start="17:15",
        until=until,
    )

    assert "Too little light on 2 of 3 days (6 March, 13 March)." in part
    assert "Meadow has no lights" in part
