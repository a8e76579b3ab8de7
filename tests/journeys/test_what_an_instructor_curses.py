"""What would make an instructor throw the tool away, through the pages they work on.

What is not here is shown elsewhere: `test_curses.py` says where.
"""

import re
from datetime import timedelta
from email import message_from_bytes

import pytest
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.services.plans import make_plan
from school.models import Lesson, LessonGrid, Ride, RideLog, School
from school.queries.links import page_url
from school.services.grids import attach_grid
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling import days
from tests.scheduling.rows import grid_of, small_day
from tests.school.web.test_ride_logs import KNOCK_BEHIND, attach, sent

pytestmark = pytest.mark.django_db


def signed_in(ride: Ride) -> Browser:
    browser = Browser()
    browser.force_login(AccountFactory(person=ride.lesson.instructor.person))
    return browser


def with_library_grid(ride: Ride) -> Ride:
    LineFactory(arena=ride.lesson.arena)
    StorePieceFactory()
    load_library(now=NOW)
    revision = Exercise.objects.get(slug="placing-pole-double").current
    attach_grid(lesson=ride.lesson, revision=revision, by=None, now=NOW)
    return ride


def test_a_school_of_holes_reads_holes_and_a_cross_by_its_name() -> None:
    """Holes from 30 cm on, each 5 cm: invented wings."""
    SchoolFactory(height_unit="holes", first_hole_cm=30, hole_cm=5)
    ride = with_library_grid(RideFactory())

    page = signed_in(ride).get(f"/lessons/{ride.lesson_id}/").content.decode()
    drawn = re.findall(r"<text[^>]*>(hole \d+)</text>", page)

    assert drawn
    assert "cross" in page
    assert not re.search(r"<text[^>]*>\d+ cm</text>", page)


def test_a_day_never_leaves_a_grid_standing_in_the_way_of_beginners() -> None:
    arena, _, _ = small_day()
    beginners = LessonFactory(
        title="First lesson", work="flat", arena=arena, starts_at=at("13:30")
    )
    jumping = LessonFactory(title="Jump after", arena=arena, starts_at=at("15:00"))
    RideFactory(lesson=jumping)
    grid_of(jumping)
    manager = Browser()
    manager.force_login(AccountFactory(manager=True, person=None))
    manager.post(f"/lessons/{beginners.pk}/clear/", {"needs_clear": "on"})

    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=60).plan

    assert plan["broken"] == []
    (before,) = [
        one for one in plan["resets"] if one["for"] == f"lesson-{beginners.pk}"
    ]
    assert {one["do"] for one in before["moves"]} == {"strip"}
    assert before["to"] <= "13:30"


def beginners_after_jumping(clock: str) -> tuple[Lesson, Lesson]:
    """Book jumping from 09:00 to 10:00, and beginners who need it clear, at a time."""
    SchoolFactory()
    jumping = LessonFactory(title="Jump first", starts_at=at("09:00"))
    clear = LessonFactory(
        title="First lesson",
        work="flat",
        arena=jumping.arena,
        starts_at=at(clock),
        needs_clear=True,
    )
    return jumping, clear


def as_manager() -> Browser:
    browser = Browser()
    browser.force_login(AccountFactory(manager=True, person=None))
    return browser


IN_THE_WAY = "Its fences stand in the way of First lesson, which needs the arena clear"


def test_booking_says_that_a_grid_would_stand_in_the_way() -> None:
    _, clear = beginners_after_jumping("13:00")
    asked = {
        "date": SATURDAY.isoformat(),
        "start": "11:55",
        "title": "Jump before",
        "kind": "private",
        "work": "jumping",
        "minutes": 60,
        "places": 1,
        "arena": clear.arena_id,
        "instructor": InstructorFactory().pk,
    }

    page = as_manager().post("/lessons/new/try/", asked).content.decode()

    assert f"{IN_THE_WAY} at 13:00" in page
    assert "and there are 5, from 12:55 to 13:00" in page


def test_the_board_says_that_a_grid_would_stand_in_the_way() -> None:
    _, clear = beginners_after_jumping("13:00")
    change = {
        "version": clear.version,
        "date": SATURDAY.isoformat(),
        "start": "10:05",
        "minutes": 60,
        "arena": clear.arena_id,
        "instructor": clear.instructor_id,
    }

    page = as_manager().post(f"/board/lessons/{clear.pk}/try/", change)

    assert f"{IN_THE_WAY} at 10:05" in page.content.decode()
    assert "and there are 5, from 10:00 to 10:05" in page.content.decode()


@pytest.mark.parametrize(
    ("clock", "room"),
    [
        ("10:30", "room to take the fences off from 10:00 to 10:30, 30 minutes"),
        ("10:00", "no room between to take the fences off"),
    ],
)
def test_a_lessons_page_says_whose_fences_stand_and_when_they_can_go(
    clock: str, room: str
) -> None:
    for lesson in beginners_after_jumping(clock):
        browser = Browser()
        browser.force_login(AccountFactory(person=lesson.instructor.person))
        page = browser.get(f"/lessons/{lesson.pk}/").content.decode()
        assert room in page
        assert "needs the arena clear" in page


def test_a_lesson_between_them_takes_its_part_of_the_room() -> None:
    _, clear = beginners_after_jumping("12:00")
    LessonFactory(work="flat", arena=clear.arena, starts_at=at("10:15"))
    browser = Browser()
    browser.force_login(AccountFactory(person=clear.instructor.person))

    page = browser.get(f"/lessons/{clear.pk}/").content.decode()

    assert "from 11:15 to 12:00, 45 minutes" in page


def test_no_page_speaks_of_fences_that_are_off_already() -> None:
    _, clear = beginners_after_jumping("10:30")
    second = LessonFactory(
        work="flat", arena=clear.arena, starts_at=at("12:00"), needs_clear=True
    )
    elsewhere = LessonFactory(work="flat", needs_clear=True)

    for lesson in (second, elsewhere):
        page = as_manager().get(f"/lessons/{lesson.pk}/").content.decode()
        assert "needs the arena clear" not in page


def test_the_planner_puts_beginners_where_no_grid_stands() -> None:
    """Between two alike, theirs would cost a taking off and a building again."""
    same = days.grid(days.cross(), days.vertical(600))
    plan = days.ordered(
        days.day(
            days.lesson("first", "09:00", grid=same),
            days.loose("beginners", "10:30", "15:00", needs_clear=True),
            days.lesson("second", "12:00", grid=same),
        )
    )

    assert plan["status"] == "proved"
    starts = {one["id"]: one["start"] for one in plan["lessons"]}
    assert starts["beginners"] > "13:00"
    assert [one["for"] for one in plan["resets"]] == ["first", "beginners"]


def test_a_knocked_pole_is_no_change_of_the_instructors() -> None:
    SchoolFactory()
    starts = timezone.now().replace(minute=0, second=0, microsecond=0)
    lesson = LessonFactory(starts_at=starts - timedelta(hours=2))
    ride = RideFactory(lesson=lesson, horse__name="Onyx")
    built = attach(lesson)
    fields = {
        "ride_went": "mixed",
        f"ride_{KNOCK_BEHIND}": "1",
        f"ride_{KNOCK_BEHIND}_at": ["2"],
        "ride_passes": "1",
    }

    page = signed_in(ride).post(
        f"/lessons/{lesson.pk}/log/", sent(lesson, **fields), follow=True
    )

    assert "Knock behind" in page.content.decode()
    assert RideLog.objects.get().measured == []
    after = LessonGrid.objects.get()
    assert (after.start, after.end, after.changes) == (built.start, built.end, [])


def test_no_client_reads_a_height_before_the_lesson_is_ridden() -> None:
    SchoolFactory()
    School.objects.update(publish_horses=True)
    starts = timezone.now().replace(minute=0, second=0, microsecond=0)
    ride = with_library_grid(
        RideFactory(
            lesson__starts_at=starts + timedelta(days=3),
            rider__client__person__email="sam@example.org",
        )
    )
    lesson_changed(lesson=ride.lesson, now=NOW)
    deliver_due(now=NOW)
    mine = "/my/" + page_url(ride.rider.client, now=NOW).partition("/my/")[2]

    written = message_from_bytes(mail.outbox[0].message().as_bytes())
    texts = [
        part.get_payload(decode=True).decode()
        for part in written.walk()
        if not part.is_multipart()
    ]
    browser = Browser()
    pages = [mine, f"{mine}lessons/{ride.lesson_id}/"]
    texts += [browser.get(one).content.decode() for one in pages]

    assert len(texts) >= 5
    assert not [one for one in texts if re.search(r"\d ?cm\b|hole \d|\bfence", one)]
