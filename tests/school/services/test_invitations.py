"""One entry a client and lesson; told anew only by what is new."""

from datetime import timedelta

import pytest

from school.models import Invitation, OutboxMessage, School
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from school.services.outbox import SOON
from tests.clock import NOW, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import ClientFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def told(lesson) -> list[tuple[str, int, str]]:
    rows = OutboxMessage.objects.filter(invitation__lesson=lesson).order_by("pk")
    return [(one.method, one.sequence, one.state) for one in rows]


def booked(**changes):
    ride = RideFactory(**changes)
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride


def test_a_booked_ride_invites_its_client_once() -> None:
    ride = booked()
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert told(ride.lesson) == [("REQUEST", 0, "waiting")]


def test_two_children_of_one_client_share_one_entry() -> None:
    client = ClientFactory()
    ride = RideFactory(rider=RiderFactory(client=client))
    RideFactory(lesson=ride.lesson, rider=RiderFactory(client=client))
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert Invitation.objects.count() == 1


def test_a_lesson_asked_for_invites_nobody() -> None:
    ride = booked(lesson__state="asked")

    assert told(ride.lesson) == []


def test_a_client_without_a_mail_address_is_not_written_to() -> None:
    ride = booked(rider__client__person__email="")

    assert told(ride.lesson) == []
    assert Invitation.objects.count() == 1


def test_a_move_after_the_invite_raises_the_sequence_and_keeps_the_uid() -> None:
    ride = booked()
    uid = Invitation.objects.get().uid
    deliver_due(now=NOW)
    move(ride.lesson, "11:00")

    assert told(ride.lesson) == [("REQUEST", 0, "sent"), ("REQUEST", 1, "waiting")]
    assert Invitation.objects.get().uid == uid


def move(lesson, start: str) -> None:
    lesson.starts_at, lesson.ends_at = at(start), at("12:30")
    lesson.save()
    lesson_changed(lesson=lesson, now=NOW)


def test_what_changed_twice_before_it_went_is_told_once() -> None:
    ride = booked()
    move(ride.lesson, "11:00")
    move(ride.lesson, "11:30")

    assert told(ride.lesson) == [
        ("REQUEST", 0, "dropped"),
        ("REQUEST", 1, "dropped"),
        ("REQUEST", 2, "waiting"),
    ]


def test_a_lesson_cancelled_before_its_invite_went_is_not_told_at_all() -> None:
    ride = booked()
    cancel(ride.lesson)

    assert told(ride.lesson) == [("REQUEST", 0, "dropped")]


def cancel(lesson) -> None:
    lesson.state, lesson.state_reason = "cancelled", "storm"
    lesson.save()
    lesson_changed(lesson=lesson, now=NOW)


def test_a_lesson_cancelled_after_its_invite_went_is_cancelled_there_too() -> None:
    ride = booked()
    deliver_due(now=NOW)
    cancel(ride.lesson)
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert told(ride.lesson) == [("REQUEST", 0, "sent"), ("CANCEL", 1, "waiting")]


def test_a_begun_try_counts_as_told() -> None:
    """It may have got through before its worker died."""
    ride = booked()
    OutboxMessage.objects.update(attempts=1)
    cancel(ride.lesson)

    assert told(ride.lesson) == [("REQUEST", 0, "dropped"), ("CANCEL", 1, "waiting")]


def test_a_rider_who_comes_back_is_invited_again_under_the_same_uid() -> None:
    ride = booked()
    uid = Invitation.objects.get().uid
    deliver_due(now=NOW)
    cancel(ride.lesson)
    deliver_due(now=NOW)
    book_again(ride.lesson)

    assert told(ride.lesson)[-1] == ("REQUEST", 2, "waiting")
    assert Invitation.objects.get().uid == uid


def book_again(lesson) -> None:
    lesson.state = "booked"
    lesson.save()
    lesson_changed(lesson=lesson, now=NOW)


def test_what_went_and_came_back_before_it_was_told_is_not_told() -> None:
    ride = booked()
    deliver_due(now=NOW)
    cancel(ride.lesson)
    book_again(ride.lesson)

    assert told(ride.lesson) == [("REQUEST", 0, "sent"), ("CANCEL", 1, "dropped")]


def test_a_lesson_moved_and_moved_back_before_it_was_told_is_not_told() -> None:
    ride = booked(lesson__starts_at=at("09:00"), lesson__ends_at=at("12:30"))
    deliver_due(now=NOW)
    move(ride.lesson, "11:00")
    move(ride.lesson, "09:00")

    assert told(ride.lesson) == [("REQUEST", 0, "sent"), ("REQUEST", 1, "dropped")]


def test_another_horse_that_is_published_is_told_and_voids_no_answer() -> None:
    """RFC 5546 section 3.2.2.2: the same SEQUENCE, a later DTSTAMP."""
    School.objects.update(publish_horses=True)
    ride = booked()
    deliver_due(now=NOW)
    Invitation.objects.update(answer="ACCEPTED")
    ride.horse = HorseFactory()
    ride.save()
    lesson_changed(lesson=ride.lesson, now=NOW)

    first, second = OutboxMessage.objects.order_by("pk")
    assert second.sequence == first.sequence == 0
    assert second.made_at > first.made_at
    assert Invitation.objects.get().answer == "ACCEPTED"


def test_another_horse_is_not_told_where_they_are_not_published() -> None:
    ride = booked()
    ride.horse = HorseFactory()
    ride.save()
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert told(ride.lesson) == [("REQUEST", 0, "waiting")]


def test_changes_are_collected_for_a_while_before_they_are_sent() -> None:
    School.objects.update(collect_min=5)
    ride = booked()

    assert deliver_due(now=NOW + timedelta(minutes=4)).sent == 0
    move(ride.lesson, "11:00")
    assert deliver_due(now=NOW + timedelta(minutes=5)).sent == 1
    assert told(ride.lesson)[-1] == ("REQUEST", 1, "sent")


def test_a_lesson_within_hours_is_told_at_once() -> None:
    School.objects.update(collect_min=60)
    booked(lesson__starts_at=NOW + SOON)

    assert deliver_due(now=NOW).sent == 1


def test_another_instructor_is_told() -> None:
    ride = booked()
    deliver_due(now=NOW)
    ride.lesson.instructor = InstructorFactory()
    ride.lesson.save()
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert told(ride.lesson)[-1] == ("REQUEST", 1, "waiting")


def test_another_title_is_not_worth_a_mail() -> None:
    ride = booked()
    ride.lesson.title = "Renamed"
    ride.lesson.save()
    lesson_changed(lesson=ride.lesson, now=NOW)

    assert told(ride.lesson) == [("REQUEST", 0, "waiting")]


@pytest.mark.parametrize("state", ["running", "done"])
def test_a_lesson_under_way_tells_no_more(state: str) -> None:
    ride = booked(lesson__state=state)

    assert told(ride.lesson) == []


def test_a_lesson_without_riders_tells_nobody() -> None:
    lesson = LessonFactory()
    lesson_changed(lesson=lesson, now=NOW)

    assert told(lesson) == []
