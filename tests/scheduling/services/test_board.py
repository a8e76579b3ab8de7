"""What would come of something is said before, and nothing of it stays."""

from datetime import timedelta
from functools import partial

import pytest

from scheduling.models import DayPlan
from scheduling.services.board import day_of, foretell
from scheduling.services.plans import make_plan, publish_plan
from school.models import (
    AuditEntry,
    Invitation,
    Lesson,
    LessonGrid,
    OutboxMessage,
    School,
)
from school.services.booking import book_lesson
from school.services.invitations import lesson_changed
from school.services.lesson_changes import Change, broken_by, change_lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    ArenaFactory,
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


def tried(lesson, *, now=NOW, dates=(SATURDAY,), version=None, **change):
    change = Change(version=version or lesson.version, **change)
    return foretell(
        do=partial(change_lesson, lesson=lesson, change=change, by=None, now=now),
        dates=dates,
        now=now,
        lesson=lesson,
        broken=partial(broken_by, lesson=lesson, change=change),
    )


def test_nothing_that_is_foretold_stays():
    SchoolFactory()
    ride = RideFactory()

    foretold = tried(ride.lesson, starts_at=at("12:00"))

    assert foretold.broken == ()
    assert len(foretold.mails) == 1
    assert Lesson.objects.get().starts_at == at("09:00")
    assert not OutboxMessage.objects.exists()
    assert not AuditEntry.objects.exists()


def test_what_is_foretold_of_mails_is_what_goes():
    SchoolFactory()
    ride = RideFactory(rider__client__person__first_name="Wieke")
    RideFactory(lesson=ride.lesson, rider__client__person__email="")

    foretold = tried(ride.lesson, starts_at=at("12:00"))
    change = Change(version=1, starts_at=at("12:00"))
    change_lesson(lesson=ride.lesson, change=change, by=None, now=NOW)

    assert [one.client for one in foretold.mails] == [
        str(one.client.person) for one in OutboxMessage.objects.all()
    ]
    assert foretold.mails[0].client == "Wieke Example"
    assert len(foretold.untold) == 1


def test_every_rule_that_would_be_broken_is_said():
    SchoolFactory()
    busy = RideFactory(horse__name="Onyx", lesson__starts_at=at("12:00"))
    ride = RideFactory(horse=busy.horse)

    foretold = tried(
        ride.lesson,
        starts_at=at("12:00"),
        arena=busy.lesson.arena,
        instructor=busy.lesson.instructor,
    )

    assert len(foretold.broken) == 3
    assert any("Onyx goes in" in one for one in foretold.broken)


def test_what_was_changed_meanwhile_is_told_as_such():
    SchoolFactory()
    lesson = LessonFactory(version=3)

    assert tried(lesson, version=2, starts_at=at("12:00")).changed_meanwhile


@pytest.mark.parametrize("clock", ["13:30", "14:00", "15:00"])
def test_the_added_reset_is_that_of_the_day_planned_anew(clock: str):
    small_day(windows=False)
    first = Lesson.objects.order_by("starts_at").first()
    before = make_plan(date=SATURDAY, by=None, now=NOW).reset_s

    foretold = tried(first, starts_at=at(clock))
    change = Change(version=1, starts_at=at(clock))
    change_lesson(lesson=first, change=change, by=None, now=NOW)
    after = make_plan(date=SATURDAY, by=None, now=NOW)

    assert after.status == "proved"
    assert foretold.added_s == after.reset_s - before


def test_minutes_are_counted_whole_when_added_and_when_saved():
    small_day(windows=False)
    last = Lesson.objects.order_by("starts_at").last()
    LessonGrid.objects.filter(lesson=last).delete()
    last = Lesson.objects.get(pk=last.pk)
    grid_of(last)

    foretold = tried(last, starts_at=at("14:00"))

    assert foretold.added_min == -(-foretold.added_s // 60)
    assert foretold.saved_min == -foretold.added_s // 60


def test_a_move_to_another_day_counts_both_days():
    small_day(windows=False)
    first = Lesson.objects.order_by("starts_at").first()
    sunday = SATURDAY + timedelta(days=1)

    foretold = tried(first, starts_at=at("09:00", sunday), dates=(SATURDAY, sunday))

    assert foretold.added_s is not None


def test_changeovers_that_lose_their_time_are_warned_of():
    small_day(windows=False)
    _, second, _ = Lesson.objects.order_by("starts_at")

    foretold = tried(second, starts_at=at("10:00"))

    assert foretold.added_s is None
    assert foretold.added_min is None
    assert "no longer find the time" in foretold.warnings[0]


def test_a_day_without_time_for_changeovers_before_can_not_be_reckoned():
    small_day(windows=False)
    _, second, third = Lesson.objects.order_by("starts_at")
    change = Change(version=1, starts_at=at("10:00"))
    change_lesson(lesson=second, change=change, by=None, now=NOW)

    assert (
        "leaves the changeovers no time"
        in tried(third, starts_at=at("13:00")).warnings[0]
    )


def test_records_that_make_no_day_file_can_not_be_reckoned():
    small_day(windows=False)
    School.objects.update(handling={"no-such-thing_s": 3})
    first = Lesson.objects.order_by("starts_at").first()

    assert "can't be reckoned" in tried(first, starts_at=at("14:00")).warnings[0]


def test_what_a_move_brings_with_it_is_warned_of():
    small_day(windows=False)
    plan = make_plan(date=SATURDAY, by=None, now=NOW)
    publish_plan(plan=plan, by=None, now=NOW)
    lesson = Lesson.objects.order_by("starts_at").first()
    lesson_changed(lesson=lesson, now=NOW)
    Invitation.objects.update(answer="ACCEPTED")
    name = Invitation.objects.get(lesson=lesson).client.person.first_name

    foretold = tried(lesson, starts_at=at("14:00"), now=at("08:00"))

    assert [one.split(" ")[0] for one in foretold.warnings] == [name, "The"]
    assert "reset list" in foretold.warnings[-1]
    assert DayPlan.objects.get().state == "published"


def test_a_grid_fitted_to_other_horses_is_warned_of():
    small_day(windows=False)
    lesson = Lesson.objects.order_by("starts_at").first()
    ride = lesson.rides.get()
    fitted = {"gaps": [{"horses": [{"horse": ride.horse.name}]}]}
    LessonGrid.objects.filter(lesson=lesson).update(fitted=fitted)

    swapped = tried(lesson, horses={ride.pk: HorseFactory(name="Onyx")})
    moved = tried(lesson, starts_at=at("14:00"))

    assert f"fitted to {ride.horse.name}; with Onyx" in swapped.warnings[0]
    assert moved.warnings == ()


def test_a_grid_moved_to_an_arena_without_its_pieces_says_what_is_fetched():
    hall, _, _ = small_day(windows=False)
    lesson = Lesson.objects.order_by("starts_at").first()
    two = LineFactory(arena__name="Arena two").arena
    for arena, working, broken in ((hall, 20, 0), (two, 2, 6)):
        place = KeepingPlaceFactory(name=arena.name, arena=arena)
        StorePieceFactory(piece="cup", place=place, working=working, broken=broken)

    moved = tried(lesson, arena=two)
    stays = tried(lesson, starts_at=at("14:00"))

    # A cross and a vertical of 60 cm have two cups each.
    assert moved.warnings == (
        "Arena two's cups: 2 work (6 of 8 are broken), this grid needs 4: "
        "fetch 2 from Hall.",
    )
    assert stays.warnings == ()


def test_a_cancelling_tells_and_asks_nobody_again():
    SchoolFactory()
    ride = RideFactory()
    lesson_changed(lesson=ride.lesson, now=NOW)
    OutboxMessage.objects.update(state="sent", attempts=1, sent_at=NOW, mail=b"x")
    Invitation.objects.update(answer="ACCEPTED")

    foretold = tried(ride.lesson, reason="Frost")

    assert [one.about for one in foretold.mails] == ["Lesson cancelled"]
    assert foretold.warnings == ()
    assert Lesson.objects.get().state == "booked"


def test_a_booking_is_foretold_too():
    SchoolFactory()
    arena, teacher = ArenaFactory(), InstructorFactory()

    foretold = foretell(
        do=partial(
            book_lesson, title="New", kind="private", work="flat",
            starts_at=at("09:00"), minutes=60, arena=arena, instructor=teacher,
            by=None, now=NOW,
        ),
        dates=[SATURDAY],
        now=NOW,
    )  # fmt: skip

    assert (foretold.broken, foretold.added_s) == ((), 0)
    assert not Lesson.objects.exists()


def test_a_moment_belongs_to_its_local_day():
    SchoolFactory()

    assert day_of(at("00:10")) == SATURDAY
