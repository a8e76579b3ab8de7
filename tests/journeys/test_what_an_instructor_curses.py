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
from school.models import LessonGrid, Ride, RideLog, School
from school.queries.links import page_url
from school.services.grids import attach_grid
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
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
