"""Presses on work of the ground: once, in any order, and nothing lost."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, transaction
from PIL import Image

from scheduling.models import Press
from scheduling.queries.presses import kept_presses
from scheduling.services.changeovers import UnableToReset
from scheduling.services.presses import Sent, take_press
from school.models import AuditEntry
from school.services.yard import call_off
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.plans import ChangeoverFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import YardWorkFactory

pytestmark = pytest.mark.django_db

BACK = at("14:00")


@pytest.fixture
def work():
    SchoolFactory()
    return YardWorkFactory(arena__name="Hall")


def press(work, does, clock="13:00", **other):
    values = {"uid": uuid4(), "phone": UUID(int=7), "number": 1} | other
    sent = Sent(does=does, work=work.pk, pressed_at=at(clock), **values)
    return take_press(sent=sent, by=None, now=BACK)


def test_started_and_done_at_the_moments_they_were_pressed(work):
    press(work, "start")
    press(work, "done", "13:28")

    work.refresh_from_db()
    assert (work.started_at, work.done_at) == (at("13:00"), at("13:28"))


def test_the_same_press_sent_twice_is_one(work):
    uid = uuid4()

    assert press(work, "start", uid=uid) == press(work, "start", uid=uid)

    assert AuditEntry.objects.filter(action="start").count() == 1


def test_what_was_so_already_is_said(work):
    press(work, "done", "13:20")

    again = press(work, "done", "13:30")
    late = press(work, "start", "13:31")

    assert again.outcome == "already"
    assert again.says.endswith(":20 already.")
    assert late.outcome == "already"


def test_done_without_a_start_is_done(work):
    press(work, "done", "13:20")

    work.refresh_from_db()
    assert work.started_at == work.done_at == at("13:20")


def test_trouble_is_kept_once_in_words(work):
    press(work, "trouble", what="The ground", says="too  wet")
    again = press(work, "trouble", what="The ground", says="too wet")

    work.refresh_from_db()
    assert work.note == "The ground: too wet"
    assert again.outcome == "already"


def test_trouble_without_a_word_is_asked_again(work):
    with pytest.raises(UnableToReset, match="what is the trouble"):
        press(work, "trouble")

    assert not Press.objects.exists()


def test_a_press_on_what_was_called_off_is_kept_as_a_note(work):
    call_off(work=work, by=None, now=at("12:00"))

    kept = press(work, "done")

    assert kept.outcome == "kept"
    assert "called off at 12:00" in kept.says
    assert kept_presses(SATURDAY) == [kept]


def test_a_press_of_the_next_day_is_kept_as_a_note(work):
    sent = Sent(
        uid=uuid4(),
        phone=None,
        number=1,
        does="start",
        work=work.pk,
        pressed_at=at("08:00", SATURDAY + timedelta(days=1)),
    )

    kept = take_press(sent=sent, by=None, now=at("09:00", SATURDAY + timedelta(days=1)))

    assert kept.outcome == "kept"
    assert "that day is over" in kept.says


def test_starting_while_the_arena_is_ridden_in_says_whose_it_is(work):
    LessonFactory(arena=work.arena, title="Ponies", starts_at=at("14:00"))
    sent = Sent(
        uid=uuid4(),
        phone=None,
        number=1,
        does="start",
        work=work.pk,
        pressed_at=at("14:10"),
    )

    answer = take_press(sent=sent, by=None, now=at("14:10"))

    assert answer.outcome == "taken"
    assert "Hall is booked for Ponies until" in answer.says


def test_a_tick_on_what_has_no_steps_is_kept_as_a_note(work):
    assert press(work, "tick").outcome == "kept"


def test_work_nobody_knows_is_said(work):
    work.pk += 99

    with pytest.raises(UnableToReset, match="not known here"):
        press(work, "start")


def test_a_photo_is_kept_with_its_work(work, settings, tmp_path):
    settings.PHOTO_DIR = tmp_path / "photos"
    path = tmp_path / "one.jpg"
    Image.new("RGB", (40, 30)).save(path)

    kept = press(work, "photo", photo=path.read_bytes())

    assert (kept.outcome, kept.work) == ("taken", work)


def test_a_press_is_on_one_thing():
    with pytest.raises(IntegrityError), transaction.atomic():
        Press.objects.create(
            uid=uuid4(),
            number=1,
            date=SATURDAY,
            does="start",
            changeover=ChangeoverFactory(),
            work=YardWorkFactory(),
            did="Started",
            pressed_at=NOW,
            received_at=NOW,
            outcome="taken",
        )
