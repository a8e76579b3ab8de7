"""A lesson changed as one: the horse follows, nothing is overwritten, all goes back."""

from datetime import timedelta

import pytest

from school.models import (
    AuditEntry,
    Lesson,
    Occupancy,
    OutboxMessage,
    Ride,
)
from school.services.invitations import lesson_changed
from school.services.lesson_changes import (
    Change,
    broken_by,
    change_lesson,
    last_action,
    note_booking,
    undo_last,
)
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=5)


@pytest.fixture(autouse=True)
def school():
    return SchoolFactory()


@pytest.fixture
def manager():
    return AccountFactory(manager=True, person__first_name="Hedda")


def changed(lesson, *, by=None, now=NOW, version=None, **change) -> Lesson:
    version = lesson.version if version is None else version
    return change_lesson(
        lesson=lesson, change=Change(version=version, **change), by=by, now=now
    )


def held(horse) -> list:
    rows = Occupancy.objects.filter(what="horse", which=horse.pk)
    return [(one.taken_from, one.taken_to) for one in rows]


def test_the_horse_follows_its_lesson():
    ride = RideFactory()

    changed(ride.lesson, starts_at=at("11:00"))

    assert held(ride.horse) == [(at("11:00"), at("12:00"))]


def test_a_move_that_double_books_a_horse_is_refused_by_name():
    first = RideFactory(horse__name="Onyx", lesson__title="Morning ride")
    second = RideFactory(horse=first.horse, lesson__starts_at=at("11:00"))

    with pytest.raises(UnableToBook, match="Onyx goes in Morning ride until 10:00"):
        changed(second.lesson, starts_at=at("09:30"))

    assert held(first.horse) == [
        (at("09:00"), at("10:00")),
        (at("11:00"), at("12:00")),
    ]


def test_place_time_length_teacher_and_horse_change_at_once(manager):
    ride = RideFactory()
    arena, teacher, horse = ArenaFactory(), InstructorFactory(), HorseFactory()

    lesson = changed(
        ride.lesson,
        by=manager,
        starts_at=at("10:00"),
        minutes=45,
        arena=arena,
        instructor=teacher,
        horses={ride.pk: horse},
    )

    ride.refresh_from_db()
    assert (lesson.starts_at, lesson.ends_at) == (at("10:00"), at("10:45"))
    assert (lesson.arena, lesson.instructor, ride.horse) == (arena, teacher, horse)
    assert held(horse) == [(at("10:00"), at("10:45"))]


def test_another_horse_is_asked_only_about_where_the_lesson_goes():
    busy = RideFactory()
    ride = RideFactory(lesson__starts_at=at("09:00"))

    changed(ride.lesson, starts_at=at("12:00"), horses={ride.pk: busy.horse})

    assert Ride.objects.get(pk=ride.pk).horse == busy.horse


def test_a_horse_given_up_is_not_asked_about_where_the_lesson_goes():
    busy = RideFactory(lesson__starts_at=at("12:00"))
    ride = RideFactory(horse=busy.horse)
    other = HorseFactory()

    changed(ride.lesson, starts_at=at("12:00"), horses={ride.pk: other})

    assert held(other) == [(at("12:00"), at("13:00"))]


def test_two_riders_change_horses_with_each_other():
    one = RideFactory()
    two = RideFactory(lesson=one.lesson)

    changed(one.lesson, horses={one.pk: two.horse, two.pk: one.horse})

    assert Ride.objects.get(pk=one.pk).horse == two.horse
    assert Ride.objects.get(pk=two.pk).horse == one.horse


def test_a_horse_may_be_taken_from_a_rider():
    ride = RideFactory()

    changed(ride.lesson, horses={ride.pk: None})

    assert Ride.objects.get(pk=ride.pk).horse is None
    assert held(ride.horse) == []


def test_what_changes_nothing_leaves_no_entry():
    ride = RideFactory()

    changed(ride.lesson, starts_at=at("09:00"), horses={ride.pk: ride.horse})

    assert not AuditEntry.objects.exists()


def test_the_second_of_two_managers_is_told_what_changed_and_by_whom(manager):
    ride = RideFactory(lesson__arena__name="Hall", horse__name="Onyx")
    ring, horse = ArenaFactory(name="Ring"), HorseFactory(name="Biscuit")
    seen = ride.lesson.version
    changed(
        ride.lesson,
        by=manager,
        starts_at=at("10:30"),
        arena=ring,
        horses={ride.pk: horse},
    )

    with pytest.raises(UnableToBook) as refused:
        changed(ride.lesson, version=seen, starts_at=at("14:00"))

    assert refused.value.code == "changed-meanwhile"
    for words in (
        "Hedda moved it at 12:00",
        "starts Sat 6 Mar 10:30, was Sat 6 Mar 09:00",
        "arena Ring, was Hall",
        "horse Biscuit, was Onyx",
    ):
        assert words in refused.value.says
    assert Lesson.objects.get().starts_at == at("10:30")


def test_a_change_by_nobody_and_by_one_without_a_person_is_told_too():
    lesson = LessonFactory()
    seen = lesson.version
    lesson = changed(lesson, starts_at=at("10:00"))
    account = AccountFactory(person=None, username="office")
    changed(lesson, by=account, reason="Frost")

    with pytest.raises(UnableToBook) as refused:
        changed(lesson, version=seen, starts_at=at("14:00"))

    assert "The school's rules moved it" in refused.value.says
    assert "office cancelled it" in refused.value.says


def test_every_broken_rule_is_named():
    arena = ArenaFactory(name="Hall")
    LessonFactory(arena=arena, title="Early", starts_at=at("12:00"))
    busy = RideFactory(horse__name="Onyx", lesson__starts_at=at("12:00"))
    ride = RideFactory()

    says = broken_by(
        lesson=ride.lesson,
        change=Change(
            version=1,
            starts_at=at("12:00"),
            arena=arena,
            minutes=30,
            instructor=busy.lesson.instructor,
            horses={ride.pk: busy.horse},
        ),
    )

    assert len(says) == 3
    assert "Hall is taken by Early" in says[0]
    assert "Onyx goes in" in says[2]


def test_a_ride_without_a_horse_breaks_no_rule_of_horses():
    ride = RideFactory(horse=None)

    assert broken_by(lesson=ride.lesson, change=Change(version=1)) == []


def test_a_change_is_taken_back_whole(manager):
    ride = RideFactory()
    was = (ride.lesson.starts_at, ride.lesson.arena, ride.lesson.instructor)
    changed(
        ride.lesson,
        by=manager,
        starts_at=at("12:00"),
        minutes=30,
        arena=ArenaFactory(),
        instructor=InstructorFactory(),
        horses={ride.pk: HorseFactory()},
    )

    lesson = undo_last(by=manager, now=LATER)

    assert (lesson.starts_at, lesson.arena, lesson.instructor) == was
    assert lesson.ends_at == at("10:00")
    assert held(ride.horse) == [(at("09:00"), at("10:00"))]
    assert last_action(manager, LATER) is None


def test_a_rider_who_had_no_horse_has_none_again(manager):
    ride = RideFactory(horse=None)
    changed(ride.lesson, by=manager, horses={ride.pk: HorseFactory()})

    undo_last(by=manager, now=LATER)

    assert Ride.objects.get().horse is None


def test_what_was_not_yet_sent_is_not_sent_when_it_is_taken_back(manager):
    ride = RideFactory()
    lesson_changed(lesson=ride.lesson, now=NOW)
    OutboxMessage.objects.update(state="sent", attempts=1, sent_at=NOW, mail=b"x")
    changed(ride.lesson, by=manager, starts_at=at("12:00"))
    assert OutboxMessage.objects.filter(state="waiting").count() == 1

    undo_last(by=manager, now=LATER)

    assert OutboxMessage.objects.filter(state="waiting").count() == 0


def test_cancelling_is_taken_back_if_the_place_is_still_free(manager):
    ride = RideFactory()
    changed(ride.lesson, by=manager, reason="Frost")

    lesson = undo_last(by=manager, now=LATER)

    assert lesson.state == "booked"
    assert held(ride.horse) == [(at("09:00"), at("10:00"))]


def test_cancelling_is_not_taken_back_where_somebody_has_the_place(manager):
    ride = RideFactory(lesson__title="Morning ride")
    changed(ride.lesson, by=manager, reason="Frost")
    LessonFactory(arena=ride.lesson.arena, title="Quicker")

    with pytest.raises(UnableToBook, match="taken by Quicker until 10:00"):
        undo_last(by=manager, now=LATER)

    assert Lesson.objects.get(title="Morning ride").state == "cancelled"


def test_a_booking_is_taken_back_as_a_cancelling(manager):
    lesson = LessonFactory()
    note_booking(lesson=lesson, by=manager, now=NOW)

    assert undo_last(by=manager, now=LATER).state == "cancelled"


def test_steps_are_taken_back_one_after_another(manager):
    lesson = LessonFactory()
    lesson = changed(lesson, by=manager, starts_at=at("10:00"))
    changed(lesson, by=manager, starts_at=at("11:00"))

    assert undo_last(by=manager, now=LATER).starts_at == at("10:00")
    assert undo_last(by=manager, now=LATER).starts_at == at("09:00")
    with pytest.raises(UnableToBook, match="nothing of yours"):
        undo_last(by=manager, now=LATER)


def test_what_another_changed_since_is_not_undone_over_their_head(manager):
    other = AccountFactory(manager=True, person__first_name="Maud")
    lesson = changed(LessonFactory(), by=manager, starts_at=at("10:00"))
    changed(lesson, by=other, starts_at=at("15:00"))

    with pytest.raises(UnableToBook, match="Maud moved it"):
        undo_last(by=manager, now=LATER)

    assert Lesson.objects.get().starts_at == at("15:00")


def test_only_what_was_offered_is_taken_back(manager):
    lesson = changed(LessonFactory(), by=manager, starts_at=at("10:00"))
    offered = last_action(manager, NOW)
    changed(lesson, by=manager, starts_at=at("11:00"))

    with pytest.raises(UnableToBook, match="something else since"):
        undo_last(by=manager, now=LATER, entry_id=offered.pk)


def test_what_is_long_ago_is_not_offered(manager):
    changed(LessonFactory(), by=manager, starts_at=at("10:00"))

    assert last_action(manager, NOW + timedelta(hours=13)) is None
