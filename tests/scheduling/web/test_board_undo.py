"""What is done on the board says who is written to, and is taken back by a press."""

import re
from datetime import datetime, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    Account,
    Lesson,
    OutboxMessage,
    School,
    WelfareOverride,
)
from school.services.invitations import lesson_changed
from school.services.lesson_changes import note_booking
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.web.test_board import DAY, WEEK, address, fields

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


@pytest.mark.parametrize(
    ("asked", "did"),
    [
        ({"start": "12:00", "minutes": 45}, "moved, made shorter"),
        ({"minutes": 75}, "made longer"),
        ({"do": "cancel", "reason": "x"}, "cancelled"),
    ],
)
def test_the_last_action_is_offered_and_taken_back(
    manager: Browser, asked: dict[str, str], did: str
) -> None:
    lesson = LessonFactory(title="Morning ride")
    manager.post(address(lesson, "change/"), fields(lesson) | asked)

    page = manager.get(DAY).content.decode()
    entry = re.search(r'name="entry" value="(\d+)"', page)
    done = manager.post("/board/undo/", {"entry": entry[1]}, follow=True)

    assert f"Take back: Morning ride, {did} at" in page
    back = "Taken back: Morning ride is as it was. No mail goes."
    assert back in done.content.decode()
    lesson.refresh_from_db()
    assert (lesson.starts_at, lesson.state) == (at("09:00"), "booked")
    assert "Take back" not in manager.get(DAY).content.decode()


@pytest.mark.parametrize("day", ["2027-03-06", "soon"])
def test_with_nothing_to_take_back_it_says_so(manager: Browser, day: str) -> None:
    done = manager.post("/board/undo/", {"day": day}, follow=True)

    assert "nothing of yours to take back" in done.content.decode()


def test_what_is_given_to_another_is_offered_back_in_words(manager: Browser) -> None:
    ride = RideFactory(lesson__title="Morning ride")
    others = {
        "arena": ArenaFactory().pk,
        "instructor": InstructorFactory().pk,
        f"horse_{ride.pk}": HorseFactory().pk,
    }

    manager.post(address(ride.lesson, "change/"), fields(ride.lesson) | others)

    offered = (
        "Take back: Morning ride, given another arena, given another instructor, "
        "given another horse at 12:00"
    )
    assert offered in manager.get(DAY).content.decode()
    assert offered in manager.get(f"/lessons/{ride.lesson_id}/").content.decode()


def invited(lesson: Lesson) -> None:
    """Its clients had their invites an hour ago."""
    lesson_changed(lesson=lesson, now=NOW - timedelta(hours=1))
    sent(timezone.now())


def sent(when: datetime) -> None:
    waiting = OutboxMessage.objects.filter(state="waiting")
    waiting.update(state="sent", attempts=1, sent_at=when, mail=b"x")


def test_who_is_written_to_is_said_after_it_is_done(manager: Browser) -> None:
    ride = RideFactory()
    invited(ride.lesson)
    change = address(ride.lesson, "change/")
    fresh = Lesson.objects.get()

    nothing = manager.post(change, fields(fresh), follow=True).content.decode()
    told = manager.post(change, fields(fresh, start="12:00"), follow=True)

    assert "stays as it was; no mail goes." in nothing
    name = str(ride.rider.client.person)
    assert f"is changed. A mail goes to {name}." in told.content.decode()


def test_who_is_told_of_a_cancelling_is_said_after_it_is_done(
    manager: Browser,
) -> None:
    ride = RideFactory()
    invited(ride.lesson)
    asked = {"do": "cancel", "reason": "Frost", "version": 1}

    off = manager.post(address(ride.lesson, "change/"), asked, follow=True)

    name = str(ride.rider.client.person)
    assert f"is cancelled. A mail goes to {name}." in off.content.decode()


def test_another_horse_of_which_no_mail_goes_promises_none(manager: Browser) -> None:
    ride = RideFactory()
    invited(ride.lesson)
    asked = fields(ride.lesson) | {f"horse_{ride.pk}": HorseFactory().pk}

    done = manager.post(address(ride.lesson, "change/"), asked, follow=True)

    assert "is changed. No mail goes." in done.content.decode()


def test_mails_that_have_gone_are_not_said_to_be_taken_back(manager: Browser) -> None:
    ride = RideFactory()
    invited(ride.lesson)
    asked = fields(Lesson.objects.get(), start="12:00")
    manager.post(address(ride.lesson, "change/"), asked)
    stays = "Mails of it have gone and stay sent"

    waits = manager.get(DAY).content.decode()
    sent(timezone.now())
    gone = manager.get(DAY).content.decode()
    back = manager.post("/board/undo/", follow=True).content.decode()

    assert "Take back:" in waits
    assert stays not in waits
    assert stays in gone
    assert f"is as it was. A mail goes to {ride.rider.client.person}." in back


def test_from_the_week_one_comes_back_to_the_week(manager: Browser) -> None:
    lesson = LessonFactory()
    form = manager.get(address(lesson) + "?back=week").content.decode()
    asked = fields(lesson, start="12:00", back="week")

    done = manager.post(address(lesson, "change/"), asked)
    week = manager.get(WEEK).content.decode()
    back = manager.post("/board/undo/", {"back": "week"})

    assert f'href="{address(lesson)}?back=week"' in week
    assert form.count('name="back" value="week"') == 2
    assert "Take back:" in week
    for one in (done, back):
        assert one["Location"] == f"{WEEK}#lesson-{lesson.pk}"


def test_a_booking_is_taken_back_from_the_board(manager: Browser) -> None:
    lesson = LessonFactory(title="Mistake")
    note_booking(
        lesson=lesson, by=Account.objects.get(is_manager=True), now=timezone.now()
    )

    page = manager.get(DAY).content.decode()
    manager.post("/board/undo/")

    assert "Take back: Mistake, booked at" in page
    lesson.refresh_from_db()
    assert lesson.state == "cancelled"


OVER = "A quiet hour in walk"


def undone(manager: Browser) -> str:
    done = manager.post("/board/undo/", follow=True).content.decode()
    return done.split("<main")[1]


@pytest.mark.parametrize(
    "then",
    [
        {"start": "17:00"},
        {"date": (SATURDAY + timedelta(days=14)).isoformat()},
        {"do": "cancel", "reason": "Frost"},
        {"horse": ""},
    ],
    ids=["moved", "another-week", "cancelled", "another-horse"],
)
def test_what_was_overruled_comes_back_with_its_reason(
    manager: Browser, then: dict[str, str]
) -> None:
    horse = HorseFactory(max_lessons=1)
    RideFactory(horse=horse)
    ride = RideFactory(lesson__starts_at=at("15:00"))
    lesson, own = ride.lesson, f"horse_{ride.pk}"
    asked = fields(lesson) | {own: horse.pk}
    manager.post(address(lesson, "change/"), asked | {"overrule": OVER})
    lesson.refresh_from_db()
    later = fields(lesson) | {own: then.get("horse", horse.pk)} | then
    assert manager.post(address(lesson, "change/"), later).status_code == 302

    assert "Taken back:" in undone(manager)

    lesson.refresh_from_db()
    ride.refresh_from_db()
    assert (lesson.starts_at, lesson.state) == (at("15:00"), "booked")
    assert ride.horse == horse
    assert WelfareOverride.objects.get().reason == OVER


@pytest.mark.parametrize(
    "then", [{"instructor": None}, {"date": ""}, {"do": "cancel", "reason": "Frost"}]
)
def test_an_instructor_whose_paper_was_overruled_comes_back(
    manager: Browser, then: dict[str, object]
) -> None:
    School.objects.update(expired_papers="refuse")
    teacher = InstructorFactory(level="advanced")
    teacher.papers.create(name="Licence", expires_date=SATURDAY - timedelta(days=9))
    lesson = LessonFactory()
    asked = fields(lesson, instructor=teacher.pk, overrule="Renewed by phone")
    assert manager.post(address(lesson, "change/"), asked).status_code == 302
    lesson.refresh_from_db()
    later = fields(lesson) | then
    if "instructor" in then:
        later["instructor"] = InstructorFactory(level="advanced").pk
    if "date" in then:
        later["date"] = (SATURDAY - timedelta(days=2)).isoformat()
    assert manager.post(address(lesson, "change/"), later).status_code == 302

    assert "Taken back:" in undone(manager)

    lesson.refresh_from_db()
    assert (lesson.instructor, lesson.starts_at) == (teacher, at("09:00"))


@pytest.mark.parametrize("read", [False, True])
def test_a_move_taken_back_unread_gives_no_notice_anew(
    manager: Browser, read: bool
) -> None:
    """Nobody pays for a change that was not theirs; one nobody read is none."""
    lesson = RideFactory().lesson
    invited(lesson)
    manager.post(address(lesson, "change/"), fields(lesson, start="15:00"))
    lesson.refresh_from_db()
    assert lesson.moved_at is not None
    if read:
        sent(timezone.now())

    undone(manager)

    lesson.refresh_from_db()
    assert lesson.starts_at == at("09:00")
    assert (lesson.moved_at is not None) is read


def test_a_time_in_a_window_taken_back_is_as_open_as_before(manager: Browser) -> None:
    lesson = LessonFactory(window_from=at("09:00"), window_to=at("12:00"))
    manager.post(address(lesson, "change/"), fields(lesson, start="11:00"))

    undone(manager)

    lesson.refresh_from_db()
    assert (lesson.starts_at, lesson.time_set_at) == (at("09:00"), None)
