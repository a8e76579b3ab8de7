"""What a client answers, and what it changes."""

from datetime import time, timedelta

import pytest

from school.enums import Answer, LessonState, RideState, WishState
from school.models import Invitation, Lesson, OutboxMessage, Ride
from school.services.answers import (
    MOST_WISHES,
    UnableToAnswer,
    cancel_until,
    give_back,
    make_wish,
    note_answer,
    withdraw_wish,
)
from school.services.invitations import lesson_changed
from tests.clock import NOW, at
from tests.factories.lessons import RideFactory
from tests.factories.people import ClientFactory, RiderFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

SECOND = timedelta(seconds=1)


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24)


def invited(**changes) -> Ride:
    ride = RideFactory(**changes)
    lesson_changed(lesson=ride.lesson, now=NOW)
    return ride


def test_the_free_time_is_counted_by_the_clock() -> None:
    """24 h to the minute: a lesson at 09:00 on Saturday, until 09:00 on Friday.

    Counted so in published terms; the hours are the school's own setting.
    """
    ride = invited()

    assert cancel_until(ride.lesson) == at("09:00") - timedelta(hours=24)


def test_an_answer_is_kept_and_leaves_the_booking() -> None:
    ride = invited()

    note_answer(
        client=ride.rider.client, lesson=ride.lesson, answer=Answer.ACCEPTED, now=NOW
    )

    assert Invitation.objects.get().answer == "ACCEPTED"
    ride.refresh_from_db()
    assert ride.state == RideState.BOOKED


def test_nobody_answers_for_a_lesson_that_is_not_theirs() -> None:
    ride = invited()

    with pytest.raises(UnableToAnswer) as caught:
        note_answer(
            client=ClientFactory(), lesson=ride.lesson, answer=Answer.ACCEPTED, now=NOW
        )

    assert caught.value.code == "not-booked"
    assert Invitation.objects.get().answer == "NEEDS-ACTION"


def test_a_private_lesson_given_back_frees_the_arena() -> None:
    ride = invited()

    done = give_back(client=ride.rider.client, lesson=ride.lesson, now=NOW)

    lesson = Lesson.objects.get()
    assert (done.late, done.lesson_cancelled) == (False, True)
    assert lesson.state == LessonState.CANCELLED
    assert lesson.state_reason == "given back by the client"
    assert Ride.objects.get().state == RideState.CANCELLED


def test_a_group_goes_on_without_who_gave_the_place_back() -> None:
    ride = invited(lesson__kind="group")

    done = give_back(client=ride.rider.client, lesson=ride.lesson, now=NOW)

    assert not done.lesson_cancelled
    assert Lesson.objects.get().state == LessonState.BOOKED


def test_a_client_gives_back_no_place_but_their_own() -> None:
    ride = invited(lesson__kind="shared")
    other = RideFactory(lesson=ride.lesson)

    give_back(
        client=ride.rider.client, lesson=ride.lesson, rides=[other.pk, ride.pk], now=NOW
    )

    other.refresh_from_db()
    assert other.state == RideState.BOOKED
    assert Lesson.objects.get().state == LessonState.BOOKED


def test_one_of_two_children_stays() -> None:
    client = ClientFactory()
    one = invited(lesson__kind="shared", rider=RiderFactory(client=client))
    two = RideFactory(lesson=one.lesson, rider=RiderFactory(client=client))

    done = give_back(client=client, lesson=one.lesson, rides=[one.pk], now=NOW)

    two.refresh_from_db()
    assert two.state == RideState.BOOKED
    assert done.names == [one.rider.person.first_name]


def test_the_last_free_moment_is_free() -> None:
    ride = invited()
    until = cancel_until(ride.lesson)

    assert not give_back(client=ride.rider.client, lesson=ride.lesson, now=until).late


def test_a_moment_later_it_is_asked_first() -> None:
    ride = invited()
    late = cancel_until(ride.lesson) + SECOND

    with pytest.raises(UnableToAnswer, match="until Fri 5 Mar 09:00") as caught:
        give_back(client=ride.rider.client, lesson=ride.lesson, now=late)

    assert caught.value.code == "late"
    assert Lesson.objects.get().state == LessonState.BOOKED


def test_who_knows_that_it_is_late_gives_back_all_the_same() -> None:
    ride = invited()
    late = cancel_until(ride.lesson) + SECOND

    done = give_back(
        client=ride.rider.client, lesson=ride.lesson, late_is_known=True, now=late
    )

    assert done.late
    assert Ride.objects.get().cancelled_reason == "given back late by the client"


def test_nothing_is_given_back_once_the_lesson_has_begun() -> None:
    ride = invited()

    with pytest.raises(UnableToAnswer) as caught:
        give_back(
            client=ride.rider.client,
            lesson=ride.lesson,
            late_is_known=True,
            now=ride.lesson.starts_at,
        )

    assert caught.value.code == "started"


@pytest.mark.parametrize("state", ["running", "done"])
def test_nothing_is_given_back_of_a_lesson_that_runs(state: str) -> None:
    ride = invited(lesson__state=state)

    with pytest.raises(UnableToAnswer) as caught:
        give_back(client=ride.rider.client, lesson=ride.lesson, now=NOW)

    assert caught.value.code == "over"


def test_giving_back_twice_is_told_once() -> None:
    ride = invited()
    for _ in range(2):
        give_back(client=ride.rider.client, lesson=ride.lesson, now=NOW)

    waiting = OutboxMessage.objects.filter(state="waiting")
    assert waiting.count() <= 1


def wish(**changes):
    fields = {
        "rider": changes.pop("rider", None) or RiderFactory(),
        "work": "jumping",
        "weekday": 5,
        "from_at": time(9),
        "to_at": time(12),
        "now": NOW,
    }
    return make_wish(**(fields | changes))


def test_the_same_wish_twice_is_one() -> None:
    rider = RiderFactory()

    assert wish(rider=rider) == wish(rider=rider)


def test_a_wish_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(UnableToAnswer) as caught:
        wish(to_at=time(9))

    assert caught.value.code == "times"


def test_more_wishes_than_anybody_means_are_refused() -> None:
    rider = RiderFactory()
    for minute in range(MOST_WISHES):
        wish(rider=rider, from_at=time(8, minute))

    with pytest.raises(UnableToAnswer) as caught:
        wish(rider=rider)

    assert caught.value.code == "too-many"


def test_a_wish_is_withdrawn_once() -> None:
    one = wish()
    for later in (1, 2):
        done = withdraw_wish(wish=one, now=NOW + timedelta(hours=later))

    assert done.state == WishState.WITHDRAWN
    assert done.state_at == NOW + timedelta(hours=1)
