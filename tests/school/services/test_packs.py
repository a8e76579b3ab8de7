"""What pays a ride, and what comes back when it is not ridden."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from school.models import AuditEntry, LessonPack, MakeUpCredit, PackUse, Ride
from school.services.answers import give_back
from school.services.booking import book_lesson
from school.services.lessons import cancel_lesson, move_lesson
from school.services.packs import give_credit, sell_pack, settle_lesson
from school.services.refusals import UnableToBook
from school.services.rides import add_ride
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.packs import LessonPackFactory, MakeUpCreditFactory
from tests.factories.people import ClientFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(notice_hours=24, make_up_days=30)


@pytest.fixture
def rider():
    return RiderFactory()


def booked(rider, **changes) -> Ride:
    fields = {
        "title": "Private",
        "kind": "private",
        "work": "jumping",
        "starts_at": at("09:00"),
        "minutes": 60,
        "arena": ArenaFactory(),
        "instructor": InstructorFactory(),
        "rides": [(rider, None)],
        "by": None,
        "now": NOW,
    }
    return book_lesson(**(fields | changes)).rides.get()


def left(pack: LessonPack) -> int:
    return pack.lessons - PackUse.objects.filter(pack=pack).count()


def test_a_booked_ride_is_paid_by_the_pack_that_ends_first(rider) -> None:
    later = LessonPackFactory(client=rider.client, expires_date=date(2027, 12, 31))
    sooner = LessonPackFactory(client=rider.client)

    booked(rider)

    assert (left(sooner), left(later)) == (9, 10)


def test_a_credit_goes_before_a_pack(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    MakeUpCreditFactory(client=rider.client)

    ride = booked(rider)

    assert MakeUpCredit.objects.get().used_for == ride
    assert left(pack) == 10


def test_a_credit_pays_to_its_last_day_and_not_after(rider) -> None:
    MakeUpCreditFactory(client=rider.client, expires_date=date(2027, 3, 5))
    booked(rider)
    assert MakeUpCredit.objects.get().used_for is None

    MakeUpCredit.objects.update(expires_date=date(2027, 3, 6))
    ride = booked(rider, starts_at=at("11:00"))
    assert MakeUpCredit.objects.get().used_for == ride


@pytest.mark.parametrize(
    "pack",
    [
        {"expires_date": date(2027, 3, 5)},
        {"bought_date": date(2027, 3, 7)},
        {"client": None},
    ],
    ids=["ended", "not-yet", "anothers"],
)
def test_a_pack_that_does_not_fit_pays_nothing(rider, pack: dict) -> None:
    owner = ClientFactory() if "client" in pack else rider.client
    LessonPackFactory(**(pack | {"client": owner}))

    booked(rider)

    assert not PackUse.objects.exists()


def test_an_empty_pack_pays_nothing(rider) -> None:
    pack = LessonPackFactory(client=rider.client, lessons=1)
    booked(rider)

    booked(rider, starts_at=at("11:00"))

    assert left(pack) == 0


def test_settling_twice_changes_nothing(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)

    settle_lesson(lesson=ride.lesson, now=NOW)

    assert left(pack) == 9


def test_a_place_given_back_in_time_costs_nothing(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)

    give_back(client=rider.client, lesson=ride.lesson, now=NOW)

    assert left(pack) == 10
    assert not MakeUpCredit.objects.exists()


def test_a_place_given_back_late_is_paid(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)
    late = ride.lesson.starts_at - timedelta(hours=2)

    give_back(client=rider.client, lesson=ride.lesson, late_is_known=True, now=late)

    assert left(pack) == 9


def test_a_place_in_a_lesson_that_was_moved_late_is_given_back_free(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)
    late = ride.lesson.starts_at - timedelta(hours=3)
    moved = move_lesson(
        lesson=ride.lesson, starts_at=at("11:00"), version=1, by=None, now=late
    )

    give_back(client=rider.client, lesson=moved, now=late + timedelta(minutes=30))

    assert left(pack) == 10


def test_another_arena_at_the_same_time_gives_no_more_notice(rider) -> None:
    ride = booked(rider)
    late = ride.lesson.starts_at - timedelta(hours=3)
    moved = move_lesson(
        lesson=ride.lesson, starts_at=at("09:00"), arena=ArenaFactory(), version=1,
        by=None, now=late,
    )  # fmt: skip

    with pytest.raises(UnableToBook):
        give_back(client=rider.client, lesson=moved, now=late)


def test_a_time_within_the_window_that_was_agreed_gives_no_more_notice(rider) -> None:
    ride = booked(rider, window_from=at("09:00"), window_to=at("12:00"))
    late = ride.lesson.starts_at - timedelta(hours=3)

    moved = move_lesson(
        lesson=ride.lesson, starts_at=at("11:00"), version=1, by=None, now=late
    )

    assert moved.moved_at is None


def test_what_the_school_cancels_costs_nothing_however_late(rider) -> None:
    """Cancelled by the yard: make-up or credit, no fee (terms of two schools)."""
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)
    late = ride.lesson.starts_at - timedelta(hours=1)

    cancel_lesson(lesson=ride.lesson, reason="storm", by=None, now=late)

    assert left(pack) == 10


def test_a_credit_spent_on_a_lesson_given_back_can_be_spent_again(rider) -> None:
    credit = MakeUpCreditFactory(client=rider.client)
    ride = booked(rider)

    give_back(client=rider.client, lesson=ride.lesson, now=NOW)

    credit.refresh_from_db()
    assert (credit.used_for, credit.used_at) == (None, None)


def test_a_week_given_back_in_time_is_a_lesson_to_make_up(rider) -> None:
    """One make-up with over 24 h notice, within some weeks (terms of two schools)."""
    lesson = weekly(rides=[(rider, None)]).lessons.order_by("series_date").first()

    give_back(client=rider.client, lesson=lesson, now=NOW)

    credit = MakeUpCredit.objects.get()
    assert credit.client == rider.client
    assert credit.expires_date == lesson.series_date + timedelta(days=30)


def test_a_school_without_make_up_gives_none(rider) -> None:
    SchoolFactory._meta.model.objects.update(make_up_days=0)
    lesson = weekly(rides=[(rider, None)]).lessons.order_by("series_date").first()

    give_back(client=rider.client, lesson=lesson, now=NOW)

    assert not MakeUpCredit.objects.exists()


def test_a_place_taken_up_again_takes_its_credit_back(rider) -> None:
    lesson = weekly(rides=[(rider, None)]).lessons.order_by("series_date").first()
    give_back(client=rider.client, lesson=lesson, now=NOW)

    add_ride(lesson=lesson, rider=rider, horse=None, by=None, now=NOW)

    assert not MakeUpCredit.objects.exists()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": " "}, "name"),
        ({"lessons": 0}, "lessons"),
        ({"lessons": 101}, "lessons"),
        ({"expires_date": date(2027, 3, 1)}, "expires"),
    ],
    ids=["no-name", "none", "too-many", "ends-first"],
)
def test_a_pack_that_makes_no_sense_is_refused(changes: dict, code: str) -> None:
    fields = {
        "client": ClientFactory(),
        "name": "Ten",
        "lessons": 10,
        "bought_date": date(2027, 3, 1),
        "expires_date": date(2027, 6, 1),
        "by": None,
        "now": NOW,
    }
    assert sell_pack(**fields).lessons == 10

    with pytest.raises(UnableToBook) as caught:
        sell_pack(**(fields | changes))

    assert caught.value.code == code


def test_a_credit_by_hand_says_why() -> None:
    fields = {
        "client": ClientFactory(),
        "expires_date": date(2027, 6, 1),
        "by": None,
        "now": NOW,
    }
    assert give_credit(reason="the horse went lame", **fields).used_for is None

    with pytest.raises(UnableToBook):
        give_credit(reason=" ", **fields)


def test_a_form_that_comes_twice_notes_one_pack_and_one_credit(rider) -> None:
    token = uuid4()
    for _ in range(2):
        pack = sell_pack(
            client=rider.client, name="Ten lessons", lessons=10, token=token,
            bought_date=NOW.date(), expires_date=date(2027, 5, 31), by=None, now=NOW,
        )  # fmt: skip
        credit = give_credit(
            client=rider.client, reason="lame horse", token=token,
            expires_date=date(2027, 5, 31), by=None, now=NOW,
        )  # fmt: skip

    assert LessonPack.objects.get() == pack
    assert MakeUpCredit.objects.get() == credit
    assert AuditEntry.objects.count() == 2
