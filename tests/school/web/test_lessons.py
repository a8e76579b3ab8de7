"""The pages of a lesson: what is refused is said, and nothing typed is lost."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from school.models import Lesson, LessonGrid
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory(local_bodies="the federation")
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def booking(**changes: object) -> dict[str, object]:
    rider, horse = RiderFactory(), HorseFactory(name="Onyx")
    return {
        "title": "Evening jump",
        "date": "2027-03-06",
        "start": "11:00",
        "kind": "private",
        "work": "jumping",
        "minutes": 60,
        "arena": ArenaFactory(name="Hall").pk,
        "instructor": InstructorFactory().pk,
        "places": 1,
        "rider_1": rider.pk,
        "horse_1": horse.pk,
    } | changes


def test_a_lesson_is_booked_with_its_rider_and_horse(manager: Browser) -> None:
    response = manager.post("/lessons/new/", booking(), follow=True)

    lesson = Lesson.objects.get()
    assert "Evening jump is booked." in response.content.decode()
    assert lesson.starts_at == at("11:00")
    assert lesson.rides.get().horse.name == "Onyx"


def test_a_horse_booked_twice_is_refused_by_name_and_keeps_the_form(
    manager: Browser,
) -> None:
    data = booking()
    RideFactory(
        horse_id=data["horse_1"],
        lesson__title="Pony club",
        lesson__starts_at=at("11:30"),
    )

    response = manager.post("/lessons/new/", data)

    page = response.content.decode()
    assert response.status_code == 409
    assert "Onyx goes in Pony club until 12:30." in page
    assert 'value="Evening jump"' in page
    assert 'value="2027-03-06"' in page
    assert Lesson.objects.count() == 1


def test_a_lesson_is_booked_every_week_but_on_days_named(manager: Browser) -> None:
    response = manager.post(
        "/lessons/new/",
        booking(until="2027-04-03", not_on="2027-03-20, 2027-03-27"),
        follow=True,
    )

    starts = [one.starts_at for one in Lesson.objects.order_by("starts_at")]
    assert "booked every week, 3 lessons." in response.content.decode()
    assert starts == [
        at("11:00", date(2027, m, d)) for m, d in ((3, 6), (3, 13), (4, 3))
    ]


def test_a_week_that_clashes_is_named_and_none_is_booked(manager: Browser) -> None:
    data = booking(until="2027-04-03")
    LessonFactory(
        arena_id=data["arena"], starts_at=at("11:30", date(2027, 3, 20)), title="Clinic"
    )

    response = manager.post("/lessons/new/", data)

    assert "Sat 20 Mar:" in response.content.decode()
    assert "taken by Clinic until 12:30." in response.content.decode()
    assert Lesson.objects.count() == 1


def test_a_day_that_is_none_is_named(manager: Browser) -> None:
    response = manager.post("/lessons/new/", booking(until="2027-04-03", not_on="May"))

    assert "May is no day" in response.content.decode()
    assert not Lesson.objects.exists()


def test_a_field_left_out_is_named_and_nothing_is_written(manager: Browser) -> None:
    response = manager.post("/lessons/new/", booking(title=""))

    assert "This field is required." in response.content.decode()
    assert not Lesson.objects.exists()


def test_the_managers_way_to_change_a_lesson_is_its_form_on_the_board(
    manager: Browser,
) -> None:
    lesson, done = LessonFactory(), LessonFactory(state="done")

    form = f'href="/board/lessons/{lesson.pk}/"'

    assert form in manager.get(f"/lessons/{lesson.pk}/").content.decode()
    assert "/board/" not in manager.get(f"/lessons/{done.pk}/").content.decode()


def test_what_is_not_there_is_said(manager: Browser) -> None:
    assert manager.get("/lessons/99/").status_code == 404


def jumping(line_cm: int = 5500, wings: int = 28) -> Lesson:
    ride = RideFactory(lesson__title="Jump", horse__name="Onyx")
    LineFactory(arena=ride.lesson.arena, length_cm=line_cm, name="Centre")
    StorePieceFactory(piece="wing", working=wings)
    load_library(now=NOW)
    return ride.lesson


def attach(browser: Browser, lesson: Lesson, slug: str, **more: str):
    exercise = Exercise.objects.get(slug=slug)
    data = {"exercise": exercise.pk, "tradition": "schooling"} | more
    return browser.post(f"/lessons/{lesson.pk}/grid/", data, follow=True)


def test_a_grid_is_attached_drawn_and_fitted(manager: Browser) -> None:
    lesson = jumping()

    page = attach(manager, lesson, "placing-pole-double").content.decode()

    assert "The grid is attached." in page
    assert page.count("<svg") == 3
    assert page.count("Check every distance on the ground") == 1
    assert '<span class="tag good">fits</span>' in page


def test_a_grid_too_long_for_the_arena_is_refused_with_the_cure(
    manager: Browser,
) -> None:
    lesson = jumping(line_cm=2000)

    page = attach(manager, lesson, "both-ways-row").content.decode()

    assert "The grid does not fit Jump" in page
    assert "the longest line, Centre in" in page
    assert "leave an element out" in page
    assert not LessonGrid.objects.exists()


def test_a_grid_with_more_wings_than_the_store_has_is_refused(
    manager: Browser,
) -> None:
    lesson = jumping(wings=2)

    page = attach(manager, lesson, "placing-pole-double").content.decode()

    assert "The row needs more than the store has: 4 wings of 2." in page
    assert not LessonGrid.objects.exists()


def test_what_does_not_fit_is_overruled_with_a_reason_that_is_shown(
    manager: Browser,
) -> None:
    lesson = jumping()
    rider = lesson.rides.get().rider
    rider.highest_fence_cm = 40
    rider.save()
    name = rider.person.first_name
    refused = attach(manager, lesson, "placing-pole-double").content.decode()
    assert f"Use it all the same, for height for {name}: why?" in refused

    page = attach(
        manager,
        lesson,
        "placing-pole-double",
        **{f"reason:height for {name}": "rode it last week"},
    ).content.decode()

    assert "Reason: rode it last week" in page


def test_a_grid_is_taken_away_again(manager: Browser) -> None:
    lesson = jumping()
    attach(manager, lesson, "placing-pole-double")
    manager.post(f"/lessons/{lesson.pk}/grid/remove/")

    assert not LessonGrid.objects.exists()


def test_a_running_lessons_grid_stays(manager: Browser) -> None:
    lesson = LessonFactory(state="running")

    response = manager.post(f"/lessons/{lesson.pk}/grid/remove/")

    assert "its grid stays" in response.content.decode()


@pytest.mark.parametrize(
    ("who", "sees"),
    [("teacher", True), ("other-teacher", False), ("own-client", False)],
)
def test_weight_and_birth_date_are_seen_by_few(
    client: Browser, who: str, sees: bool
) -> None:
    SchoolFactory()
    ride = RideFactory(rider__weight_kg=47, rider__person__first_name="Mira")
    RideFactory(lesson=ride.lesson, rider__person__first_name="Otherchild")
    person = {
        "teacher": ride.lesson.instructor.person,
        "other-teacher": InstructorFactory().person,
        "own-client": ride.rider.client.person,
    }[who]
    client.force_login(AccountFactory(person=person))

    page = client.get(f"/lessons/{ride.lesson_id}/").content.decode()

    assert "Mira" in page
    assert ("47 kg" in page) is sees
    assert ("Otherchild" in page) is (who != "own-client")


def test_a_client_sees_own_riders_and_until_when_to_cancel(client: Browser) -> None:
    SchoolFactory()
    soon = timezone.now().replace(microsecond=0)
    ride = RideFactory(
        rider__person__first_name="Mira", lesson__starts_at=soon + timedelta(days=3)
    )
    RideFactory(lesson=ride.lesson, rider__person__first_name="Otherchild")
    RideFactory(rider=ride.rider, lesson__starts_at=soon + timedelta(hours=3))
    client.force_login(AccountFactory(person=ride.rider.client.person))

    page = client.get("/my-riders/", follow=True).content.decode()

    assert "Otherchild" not in page
    assert "Mira" in page
    assert page.count("free until") == 2
    assert page.count("which is over") == 1


@pytest.mark.parametrize("n", [1, 3])
def test_an_instructors_page_takes_a_constant_number_of_queries(
    client: Browser, django_assert_num_queries, n: int
) -> None:
    SchoolFactory()
    instructor = InstructorFactory()
    for k in range(n):
        start = timezone.now() + timedelta(days=2, hours=2 * k)
        RideFactory(lesson__instructor=instructor, lesson__starts_at=start)
    client.force_login(AccountFactory(person=instructor.person))

    with django_assert_num_queries(12):
        client.get("/my-lessons/")


def test_free_ground_on_the_board_names_start_and_arena_of_a_booking(
    manager: Browser,
) -> None:
    arena = ArenaFactory(name="Ring")

    page = manager.get(
        f"/lessons/new/?date=2027-03-06&start=10:15&arena={arena.pk}"
    ).content.decode()

    assert 'value="10:15"' in page
    assert f'<option value="{arena.pk}" selected>Ring</option>' in page


def test_a_lesson_asked_for_is_booked_by_a_press(manager: Browser) -> None:
    lesson = LessonFactory(state="asked")
    page = manager.get(f"/lessons/{lesson.pk}/").content.decode()
    assert "Book it and tell the clients" in page

    for _ in range(2):
        assert manager.post(f"/lessons/{lesson.pk}/book/").status_code == 302

    lesson.refresh_from_db()
    assert lesson.state == "booked"


def test_an_asked_lesson_over_a_limit_is_booked_only_with_a_reason(
    manager: Browser,
) -> None:
    horse = HorseFactory(max_lessons=1)
    RideFactory(horse=horse)
    ride = RideFactory(
        horse=horse, lesson__state="asked", lesson__starts_at=at("15:00")
    )
    address = f"/lessons/{ride.lesson_id}/book/"

    refused = manager.post(address)
    assert refused.status_code == 409
    assert "Do it all the same?" in refused.content.decode()

    assert manager.post(address, {"overrule": "In walk only"}).status_code == 302


def test_an_instructor_attaches_a_grid_over_a_limit_only_with_a_reason(
    client: Browser,
) -> None:
    SchoolFactory(
        welfare={"efforts": {"warn": 1, "refuse": 5}}, tradition="continental"
    )
    load_library(now=NOW)
    for place in ("barn", "ring"):
        StorePieceFactory(working=10, place=place)
    ride = RideFactory()
    LineFactory(arena=ride.lesson.arena)
    client.force_login(AccountFactory(person=ride.lesson.instructor.person))
    asked = {
        "exercise": Exercise.objects.get(slug="placing-pole-double").pk,
        "tradition": "schooling",
    }
    address = f"/lessons/{ride.lesson_id}/grid/"

    refused = client.post(address, asked)

    page = refused.content.decode()
    assert refused.status_code == 409
    assert "Do it all the same?" in page
    assert not LessonGrid.objects.exists()
    assert client.post(address, asked | {"overrule": "Half"}).status_code == 302
    assert LessonGrid.objects.exists()


def test_a_lesson_is_booked_within_a_window(manager: Browser) -> None:
    manager.post(
        "/lessons/new/", booking(start="", window_from="15:00", window_to="18:00")
    )

    lesson = Lesson.objects.get()
    assert lesson.starts_at == lesson.window_from == at("15:00")
    assert lesson.window_to == at("18:00")
    page = manager.get(f"/lessons/{lesson.pk}/").content.decode()
    assert "15:00 to 18:00" in page


def test_a_window_of_one_time_is_a_fixed_time(manager: Browser) -> None:
    manager.post(
        "/lessons/new/", booking(start="", window_from="15:00", window_to="15:00")
    )

    assert Lesson.objects.get().window_from is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"start": ""}, "Say when it starts"),
        ({"window_from": "15:00"}, "Say both"),
        ({"window_from": "15:00", "window_to": "14:00"}, "until a later time"),
        ({"window_from": "20:00", "window_to": "21:00"}, "may start from"),
    ],
    ids=["no-start", "half", "backwards", "start-outside"],
)
def test_a_window_that_makes_no_sense_is_said(
    manager: Browser, change: dict, says: str
) -> None:
    page = manager.post("/lessons/new/", booking(**change)).content.decode()

    assert says in page
    assert not Lesson.objects.exists()


def test_a_weekly_lesson_is_booked_within_a_window(manager: Browser) -> None:
    data = booking(start="", window_from="15:00", window_to="18:00", until="2027-03-20")

    manager.post("/lessons/new/", data)

    lessons = Lesson.objects.order_by("starts_at")
    assert len(lessons) > 1
    for one in lessons:
        assert one.window_from == one.starts_at
        assert one.window_to == one.starts_at + timedelta(hours=3)
