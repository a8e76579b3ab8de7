"""After the ride: logged by buttons, corrected, and what follows from it."""

from datetime import timedelta
from urllib.parse import parse_qs

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.enums import Happened
from school.models import Lesson, LessonGrid, RideLog
from school.services.remedies import the_faults
from school.web.ride_logs import HELPED_AS, remedies_query
from tests.clock import SATURDAY, at
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.ride_logs import (
    STAGES,
    RiddenRideFactory,
    RideLogFactory,
    RideNoteFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

KNOCK_BEHIND, STOP = 1, 4
"""Places of faults in the form."""


@pytest.fixture
def lesson() -> Lesson:
    SchoolFactory()
    starts = timezone.now().replace(minute=0, second=0, microsecond=0)
    lesson = LessonFactory(title="Jump", starts_at=starts - timedelta(hours=2))
    RideFactory(lesson=lesson, horse__name="Onyx", rider__person__first_name="Mira")
    attach(lesson)
    return lesson


def attach(lesson: Lesson, revision=None) -> LessonGrid:
    return LessonGrid.objects.create(
        lesson=lesson,
        revision=revision or ExerciseRevisionFactory(spec={"aim": "To see"}),
        tradition="schooling",
        start=STAGES[1]["elements"],
        end=STAGES[-1]["elements"],
        fitted={
            "stages": STAGES,
            "gaps": [
                {"before": 1, "meaning": "one-stride", "built_cm": 600, "horses": []}
            ],
        },
        approach_cm=700,
        runout_cm=700,
    )


@pytest.fixture
def browser(client: Browser, lesson: Lesson) -> Browser:
    client.force_login(AccountFactory(username="vera", person=lesson.instructor.person))
    return client


def url(lesson: Lesson) -> str:
    return f"/lessons/{lesson.pk}/log/"


def sent(lesson: Lesson, **fields) -> dict:
    ride = lesson.rides.get().pk
    usual = {
        "token": "00000000-0000-0000-0000-000000000007",
        "corrects": "0",
        "stage": "3",
        "passes": "2",
    }
    return usual | {
        name.replace("ride_", f"ride-{ride}-").replace("_", "-"): value
        for name, value in fields.items()
    }


def test_the_form_begins_as_if_all_went_well(browser: Browser, lesson: Lesson) -> None:
    page = browser.get(url(lesson)).content.decode()

    assert "Onyx with Mira" in page
    assert 'name="stage" value="3" checked' in page
    assert 'name="passes" value="2" checked' in page
    assert 'value="good" checked' in page
    assert "6.00 m, as built" in page


def test_one_press_logs_the_lesson(browser: Browser, lesson: Lesson) -> None:
    response = browser.post(url(lesson), sent(lesson), follow=True)

    page = response.content.decode()
    assert "Logged." in page
    assert "Stage 3 of 3:" in page
    assert RideLog.objects.get().logged_by.username == "vera"


def test_a_press_twice_is_one_log(browser: Browser, lesson: Lesson) -> None:
    for _ in range(2):
        assert browser.post(url(lesson), sent(lesson)).status_code == 302

    assert RideLog.objects.count() == 1


def test_what_happened_is_shown_with_what_helps(
    browser: Browser, lesson: Lesson
) -> None:
    fields = {
        "ride_went": "mixed",
        f"ride_{KNOCK_BEHIND}": "1",
        f"ride_{KNOCK_BEHIND}_at": ["2"],
        f"ride_{KNOCK_BEHIND}_often": "1",
        f"ride_{STOP}": "1",
        "ride_passes": "1",
        "gap_2": "15",
        "note": "left rein",
    }

    page = browser.post(url(lesson), sent(lesson, **fields), follow=True)

    text = page.content.decode()
    assert "Knock behind, more than once at 2, the vertical 60 cm" in text
    assert "?fault=knocks%20behind" in text
    assert f"/lessons/{lesson.pk}/remedies/?fault=knocks-behind&amp;element=2" in text
    assert "the gap before element 2 6.15 m" in text
    assert "left rein" in text
    assert "2 knocks and 1 stop at stage 3: one stage back." in text


@pytest.mark.parametrize("what", Happened.values)
def test_everything_that_happens_has_remedies(what: str) -> None:
    asked = parse_qs(remedies_query(HELPED_AS.get(what, what), 2))

    assert the_faults().by_slug(asked["fault"][0]) is not None


def test_a_correction_begins_with_what_was_logged(
    browser: Browser, lesson: Lesson
) -> None:
    fields = {f"ride_{STOP}": "1", f"ride_{STOP}_at": "1", "ride_passes": "1"}
    browser.post(url(lesson), sent(lesson, gap_2="-10", **fields))

    form = browser.get(f"{url(lesson)}?correct=1").content.decode()
    ride = lesson.rides.get().pk
    assert 'name="corrects" value="1"' in form
    assert f'name="ride-{ride}-{STOP}" value="1" checked' in form
    assert '<option value="-10" selected>' in form
    assert '<option value="1" selected>' in form

    again = sent(lesson, stage="1") | {
        "token": "00000000-0000-0000-0000-000000000008",
        "corrects": "1",
    }
    page = browser.post(url(lesson), again, follow=True).content.decode()
    assert "Stage 1 of 3:" in page
    assert "correction 1" in page


def test_who_wrote_in_the_meantime_is_shown_and_nothing_is_lost(
    browser: Browser, lesson: Lesson
) -> None:
    browser.post(url(lesson), sent(lesson))

    mine = sent(lesson, stage="1", note="mine") | {"token": "not a token"}
    refused = browser.post(url(lesson), mine)

    page = refused.content.decode()
    assert refused.status_code == 409
    assert "vera logged this lesson while you were writing" in page
    assert "Stage 3 of 3:" in page
    assert 'name="stage" value="1" checked' in page
    assert 'value="mine"' in page
    assert 'name="corrects" value="1"' in page


def test_nonsense_is_refused_and_what_was_entered_stays(
    browser: Browser, lesson: Lesson
) -> None:
    refused = browser.post(
        url(lesson), sent(lesson, stage="9", note="kept", corrects="many")
    )

    assert refused.status_code == 409
    assert "Choose a stage from 1 to 3." in refused.content.decode()
    assert 'value="kept"' in refused.content.decode()
    assert not RideLog.objects.exists()


def test_a_grid_that_was_not_jumped_is_logged_as_that(
    browser: Browser, lesson: Lesson
) -> None:
    page = browser.post(url(lesson), sent(lesson, stage="0"), follow=True)

    assert "The grid was not jumped." in page.content.decode()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"starts_at": timezone.now() + timedelta(hours=1)},
            "Log it once it has begun",
        ),
        ({"state": "asked"}, "is asked for: there is nothing to log"),
    ],
)
def test_before_its_time_the_page_says_when(
    browser: Browser, lesson: Lesson, change: dict, says: str
) -> None:
    starts = change.get("starts_at", lesson.starts_at)
    change = change | {"ends_at": starts + timedelta(hours=1), "starts_at": starts}
    Lesson.objects.filter(pk=lesson.pk).update(**change)

    assert says in browser.get(url(lesson)).content.decode()
    assert says in browser.post(url(lesson), sent(lesson)).content.decode()
    assert not RideLog.objects.exists()


def test_without_a_grid_there_is_nothing_to_log(
    browser: Browser, lesson: Lesson
) -> None:
    lesson.grid.delete()

    assert "has no grid" in browser.get(url(lesson)).content.decode()
    assert browser.get("/lessons/999/log/").status_code == 404


def test_another_instructor_may_not_log(client: Browser, lesson: Lesson) -> None:
    client.force_login(AccountFactory(person=InstructorFactory().person))

    assert client.get(url(lesson)).status_code == 403
    assert client.post(url(lesson), sent(lesson)).status_code == 403
    assert not RideLog.objects.exists()


def test_the_lessons_page_leads_to_the_log(browser: Browser, lesson: Lesson) -> None:
    page = f"/lessons/{lesson.pk}/"
    assert "Log the ride" in browser.get(page).content.decode()

    browser.post(url(lesson), sent(lesson))

    assert "See the log" in browser.get(page).content.decode()


def test_an_instructor_is_asked_for_what_is_not_logged(
    browser: Browser, lesson: Lesson
) -> None:
    for days in (-8, 1):
        other = LessonFactory(
            title="Other",
            instructor=lesson.instructor,
            starts_at=lesson.starts_at + timedelta(days=days),
        )
        attach(other)

    def asked() -> str:
        page = browser.get("/my-lessons/").content.decode()
        return page.partition("To be logged")[2].partition("</section>")[0]

    assert "Jump" in asked()
    assert "Other" not in asked()
    browser.post(url(lesson), sent(lesson))
    assert asked() == ""


def test_a_distance_that_is_no_choice_is_kept_in_a_correction(
    browser: Browser, lesson: Lesson
) -> None:
    browser.post(url(lesson), sent(lesson, gap_2="-25"))

    form = browser.get(f"{url(lesson)}?correct=1").content.decode()

    assert '<option value="-25" selected>5.75 m, 25 cm shorter</option>' in form


def test_the_next_lesson_is_told_how_far_to_go(
    browser: Browser, lesson: Lesson
) -> None:
    browser.post(url(lesson), sent(lesson, stage="2"))
    ride = lesson.rides.get()
    coming = LessonFactory(
        instructor=lesson.instructor, starts_at=timezone.now() + timedelta(days=3)
    )
    RideFactory(lesson=coming, horse=ride.horse, rider=ride.rider)
    stranger = RideFactory(lesson=coming)
    attach(coming, lesson.grid.revision)

    page = browser.get(f"/lessons/{coming.pk}/").content.decode()

    assert "2 good passes at stage 2: one stage on." in page
    assert f"{stranger.horse.name} with" in page
    assert "New to this exercise" in page
    assert "For the ride as a whole: stage 1 of 3." in page


def test_a_lesson_without_horses_has_nothing_suggested(
    browser: Browser, lesson: Lesson
) -> None:
    coming = LessonFactory(
        instructor=lesson.instructor, starts_at=timezone.now() + timedelta(days=3)
    )
    attach(coming, lesson.grid.revision)

    assert "How far to go" not in browser.get(f"/lessons/{coming.pk}/").content.decode()


def test_a_horses_history_says_what_it_jumped_and_worked(
    browser: Browser, lesson: Lesson
) -> None:
    browser.post(
        url(lesson), sent(lesson, **{f"ride_{STOP}": "1", "ride_went": "mixed"})
    )
    horse = lesson.rides.get().horse

    page = browser.get(f"/horses/{horse.pk}/history/").content.decode()

    assert "stage 3 of 3 (Higher, up to 60 cm), 2 passes, 13 efforts: mixed" in page
    assert "Stop" in page
    assert "<td>60</td>" in page
    assert browser.get("/horses/999/history/").status_code == 404


def test_a_riders_history_names_the_horses(browser: Browser, lesson: Lesson) -> None:
    browser.post(url(lesson), sent(lesson, ride_went="not-ridden"))
    rider = lesson.rides.get().rider

    page = browser.get(f"/riders/{rider.pk}/history/").content.decode()

    assert "On Onyx, did not jump" in page
    assert browser.get("/riders/999/history/").status_code == 404


def test_the_register_of_a_day_past_names_every_horse(
    browser: Browser, lesson: Lesson
) -> None:
    RiddenRideFactory(
        ride__horse__name="Acorn",
        ride__horse__max_minutes=50,
        log__lesson__starts_at=at("09:00", SATURDAY - timedelta(days=365)),
    )
    day = (SATURDAY - timedelta(days=365)).isoformat()

    page = browser.get(f"/register/{day}/").content.decode()

    assert "Acorn" in page
    assert "over the limit" in page
    assert "No lesson: Onyx." in page
    assert browser.get("/register/someday/").status_code == 404


def test_the_pages_take_a_constant_number_of_queries(
    browser: Browser, lesson: Lesson, django_assert_num_queries
) -> None:
    ride = lesson.rides.get()

    def ask(*numbers: int) -> None:
        paths = (
            f"{url(lesson)}?correct=1",
            url(lesson),
            f"/lessons/{lesson.pk}/",
            f"/horses/{ride.horse_id}/history/",
            f"/riders/{ride.rider_id}/history/",
        )
        for path, number in zip(paths, numbers, strict=True):
            with django_assert_num_queries(number):
                browser.get(path)

    log = RideLogFactory(lesson=lesson)
    RideNoteFactory(ridden=RiddenRideFactory(log=log, ride=ride))
    expected = (14, 18, 31, 13, 11)
    ask(*expected)
    for hours in (30, 54):
        earlier = RideFactory(
            lesson__starts_at=lesson.starts_at - timedelta(hours=hours),
            horse=ride.horse,
            rider=ride.rider,
        )
        RideNoteFactory(
            ridden=RiddenRideFactory(
                ride=earlier, log=RideLogFactory(lesson=earlier.lesson)
            )
        )
        more = RideFactory(lesson=lesson)
        RideNoteFactory(ridden=RiddenRideFactory(log=log, ride=more))
    ask(*expected)
