"""Who the database books nobody for, whoever writes: the code says it in words.

Judged by the code's own answer (`MayRide`), which the tests of services hold. SQLite
knows no zones: there it refuses only what no zone's calendar allows.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, connection, transaction

from school.enums import LessonKind
from school.models import Lesson, Ride, School
from school.services.lessons import Move, move_lessons
from school.services.may_ride import MayRide
from tests.clock import NOW, SATURDAY, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def taken(ride: Ride | Lesson) -> bool:
    """Say whether the database takes a row as it is now."""
    try:
        with transaction.atomic():
            ride.save()
    except IntegrityError:
        return False
    return True


def on(day: date, hour: int = 10) -> Lesson:
    """A lesson on a day, by the school's clock."""
    zone = ZoneInfo(School.objects.get().zone)
    starts_at = datetime(day.year, day.month, day.day, hour, tzinfo=zone)
    return LessonFactory(starts_at=starts_at)


@pytest.mark.parametrize(
    "zone", ["Europe/Berlin", "Pacific/Auckland", "Pacific/Midway"]
)
@pytest.mark.parametrize("hour", [0, 10, 22])
@pytest.mark.parametrize("days", range(-3, 4))
@pytest.mark.parametrize(
    "turn",
    [
        "given",
        "expires",
        "withdrawn",
        "of age",
        "stopped",
        "old enough",
    ],
)
def test_the_database_refuses_the_days_that_the_code_refuses(
    turn: str, days: int, hour: int, zone: str
) -> None:
    """Around the day on which each rule turns, at both ends of the clock."""
    School.objects.update(zone=zone)
    born = date(2015, 5, 4)
    if turn == "of age":
        born = date(SATURDAY.year - 18, SATURDAY.month, SATURDAY.day)
    if turn == "old enough":
        born = date(SATURDAY.year - 4, SATURDAY.month, SATURDAY.day)
    rider = RiderFactory(born_date=born)
    if turn in {"given", "expires", "withdrawn", "old enough"}:
        withdrawn = turn == "withdrawn"
        RidingConsentFactory(
            rider=rider,
            given_date=SATURDAY if turn == "given" else date(2026, 1, 1),
            expires_date=SATURDAY if turn == "expires" else date(2029, 1, 1),
            withdrawn_date=SATURDAY if withdrawn else None,
            withdrawn_reason="By telephone" if withdrawn else "",
        )
    if turn == "stopped":
        rider = RiderFactory()
        RiderStopFactory(rider=rider, from_date=SATURDAY)
    lesson = on(SATURDAY + days * DAY, hour)
    day = SATURDAY + days * DAY

    allowed = MayRide([rider]).refusal(day, lesson.kind) is None
    kept = taken(Ride(lesson=lesson, rider=rider))

    if connection.vendor == "postgresql" or allowed or abs(days) > 2:
        assert kept == allowed


def test_who_rides_led_only_is_not_booked_alone() -> None:
    School.objects.update(alone_from_years=8)
    rider = RidingConsentFactory(rider__born_date=date(2021, 1, 1)).rider

    led = LessonFactory(kind=LessonKind.LEAD_REIN, places=1)
    assert taken(Ride(lesson=led, rider=rider))
    assert not taken(Ride(lesson=LessonFactory(starts_at=at("11:00")), rider=rider))

    led.kind = LessonKind.PRIVATE
    assert not taken(led)


def test_what_was_booked_before_a_stop_stays_and_is_moved_within_its_day() -> None:
    ride = RideFactory()
    RiderStopFactory(rider=ride.rider)
    ride.lesson.starts_at, ride.lesson.ends_at = at("11:00"), at("12:00")

    assert taken(ride.lesson)
    ride.horse = HorseFactory()
    assert taken(ride)


def test_who_missed_a_lesson_did_come_after_all() -> None:
    ride = RideFactory(state="missed")
    RiderStopFactory(rider=ride.rider)
    ride.state = "booked"

    assert taken(ride)


def test_a_place_given_back_is_not_taken_up_again_by_who_is_stopped() -> None:
    ride = RideFactory(state="cancelled", cancelled_at=NOW, cancelled_reason="ill")
    RiderStopFactory(rider=ride.rider)
    ride.state, ride.cancelled_at, ride.cancelled_reason = "booked", None, None

    assert not taken(ride)


def test_a_place_is_not_handed_to_who_is_stopped() -> None:
    ride = RideFactory()
    ride.rider = RiderStopFactory().rider

    assert not taken(ride)


def test_a_ride_does_not_follow_its_lesson_to_a_day_without_consent() -> None:
    ride = RideFactory(rider=RidingConsentFactory().rider)
    later = date(2027, 10, 9) - SATURDAY
    ride.lesson.starts_at += later
    ride.lesson.ends_at += later

    assert not taken(ride.lesson)


@pytest.mark.parametrize("state", ["asked", "cancelled"])
def test_a_lesson_is_not_booked_with_who_is_stopped(state: str) -> None:
    ride = RideFactory(lesson__state=state, lesson__state_reason="Frost")
    RiderStopFactory(rider=ride.rider)
    ride.lesson.state = "booked"

    assert not taken(ride.lesson)


def test_a_lesson_is_done_with_who_was_stopped_in_it() -> None:
    ride = RideFactory()
    RiderStopFactory(rider=ride.rider)
    ride.lesson.state = "done"

    assert taken(ride.lesson)


def test_a_stop_that_was_lifted_keeps_nobody_away() -> None:
    stop = RiderStopFactory(
        lifted_at=NOW, lifted_by=AccountFactory(), lifted_reason="The doctor's letter"
    )

    assert taken(Ride(lesson=LessonFactory(), rider=stop.rider))


def test_another_consent_than_to_ride_is_none() -> None:
    rider = RidingConsentFactory(kind="photographs").rider

    assert not taken(Ride(lesson=LessonFactory(), rider=rider))


def test_never_again_is_kept_when_the_horse_is_given_later() -> None:
    note = RiderHorseFactory(liking="never", reason="Bolted with her")
    ride = RideFactory(rider=note.rider)
    ride.horse = note.horse

    assert not taken(ride)


def test_rather_not_is_no_never_again() -> None:
    note = RiderHorseFactory(liking="rather-not")

    assert taken(Ride(lesson=LessonFactory(), rider=note.rider, horse=note.horse))


def test_leaders_are_counted_moment_by_moment() -> None:
    School.objects.update(leaders=3)
    LessonFactory(kind="lead-rein", places=2, starts_at=at("09:00"))
    LessonFactory(kind="lead-rein", places=2, starts_at=at("11:00"))

    between = {"kind": "lead-rein", "starts_at": at("09:30"), "ends_at": at("11:30")}
    LessonFactory(places=1, **between)
    with pytest.raises(IntegrityError, match="lesson_leaders_not_exceeded"):
        LessonFactory(places=1, **between)


def test_fewer_leaders_than_before_leave_what_is_booked_as_it_is() -> None:
    lesson = LessonFactory(kind="lead-rein", places=3)
    School.objects.update(leaders=2)
    lesson.title = "Ponies led"

    assert taken(lesson)
    lesson.starts_at, lesson.ends_at = at("14:00"), at("15:00")
    assert not taken(lesson)


def test_two_led_lessons_change_places() -> None:
    School.objects.update(leaders=3)
    first = LessonFactory(kind="lead-rein", places=3, starts_at=at("09:00"))
    second = LessonFactory(kind="lead-rein", places=3, starts_at=at("11:00"))

    move_lessons(
        moves=[Move(first, at("11:00")), Move(second, at("09:00"))], by=None, now=NOW
    )

    first.refresh_from_db()
    assert first.starts_at == at("11:00")
