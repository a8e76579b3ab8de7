"""What is allowed up to a limit is allowed at the limit itself, and no further.

Half-open times, last days that count, and the largest group: common practice, no
source. Each of these comparisons was once turned over without any other test noticing.
"""

from datetime import date, time, timedelta
from typing import Any

import pytest

from school.enums import ConsentKind, RideState
from school.models import (
    InstructorAbsence,
    LessonPack,
    Outcome,
    PackUse,
    Ride,
    School,
)
from school.services.attendance import CORRECT_WITHIN, end_early, note_late
from school.services.booking import book_lesson
from school.services.charges import RANGES, set_charges
from school.services.consents import LONGEST, give_consent
from school.services.offers import offer_place
from school.services.packs import change_pack
from school.services.refusals import UnableToBook
from school.services.reminders import reminder_moments
from school.services.rides import cancel_ride
from school.services.who_fits import who_fits
from school.tables.columns import Kind
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.packs import LessonPackFactory, MakeUpCreditFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.factories.tables import person
from tests.factories.waiting import WaitingWishFactory
from tests.school.services.table_files import take, whats

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(late_lost_min=15, ended_counts_percent=50)


def booked(**changes: Any) -> Ride | None:
    """Book an hour on Saturday at nine."""
    fields = {
        "title": "Group",
        "kind": "group",
        "work": "jumping",
        "starts_at": at("09:00"),
        "minutes": 60,
        "arena": ArenaFactory(opens_at=time(6), closes_at=time(22)),
        "instructor": InstructorFactory(),
        "by": None,
        "now": NOW,
    }
    return book_lesson(**(fields | changes)).rides.first()


# --- booking -------------------------------------------------------------------------


def test_a_group_is_as_large_as_its_instructor_teaches() -> None:
    ines = InstructorFactory(group_limit=3)

    booked(instructor=ines, places=3)
    with pytest.raises(UnableToBook, match="up to 3 riders, not 4"):
        booked(instructor=ines, places=4, starts_at=at("13:00"))


@pytest.mark.parametrize(("first", "last"), [("07:00", "09:00"), ("10:00", "12:00")])
def test_an_instructor_teaches_until_they_are_out_and_once_they_are_back(
    first: str, last: str
) -> None:
    ines = InstructorFactory()
    InstructorAbsence.objects.create(
        instructor=ines, absent_from=at(first), absent_to=at(last), reason="Dentist"
    )

    booked(instructor=ines)


def test_a_horse_is_ridden_from_the_very_day_it_may_be() -> None:
    young = HorseFactory(bookable_from_date=SATURDAY)

    ride = booked(rides=[(RiderFactory(), young)])

    assert ride is not None


@pytest.mark.parametrize("other", ["08:00", "10:00"])
def test_a_horse_without_rest_goes_from_one_lesson_into_the_next(other: str) -> None:
    horse = HorseFactory(rest_min=0)
    RideFactory(horse=horse, lesson__starts_at=at(other), lesson__work="flat")

    booked(rides=[(RiderFactory(), horse)], work="flat")


@pytest.mark.parametrize(
    ("minutes", "fine"), [(9, False), (10, True), (240, True), (241, False)]
)
def test_a_lesson_has_from_ten_minutes_to_four_hours(minutes: int, fine: bool) -> None:
    if fine:
        booked(minutes=minutes)
        return
    with pytest.raises(UnableToBook, match="10 to 240"):
        booked(minutes=minutes)


def test_a_stop_holds_from_its_very_day() -> None:
    stop = RiderStopFactory(from_date=SATURDAY)

    with pytest.raises(UnableToBook, match="can't be overruled"):
        booked(rides=[(stop.rider, None)])


@pytest.mark.parametrize(("kind", "age"), [("lead-rein", 4), ("group", 7)])
def test_a_rider_is_old_enough_on_the_birthday(kind: str, age: int) -> None:
    School.objects.update(lead_rein_from_years=4, alone_from_years=7, leaders=4)
    small = RiderFactory(
        born_date=SATURDAY.replace(year=SATURDAY.year - age), level="novice"
    )
    RidingConsentFactory(rider=small)

    assert booked(kind=kind, work="flat", rides=[(small, None)]) is not None


def test_a_place_is_given_back_until_the_lesson_begins() -> None:
    fields: dict[str, Any] = {"reason": "Ill", "by": None}
    one = RideFactory(lesson__starts_at=at("09:00"))
    with pytest.raises(UnableToBook, match="began at"):
        cancel_ride(ride=one, now=at("09:00"), **fields)

    cancel_ride(ride=one, now=at("08:59"), **fields)

    one.refresh_from_db()
    assert one.state == RideState.CANCELLED


# --- the waiting list ----------------------------------------------------------------


@pytest.mark.parametrize(("first", "last"), [(9, 10), (8, 9)])
def test_a_wish_is_met_by_the_first_and_the_last_start_it_names(
    first: int, last: int
) -> None:
    HorseFactory(weight_kg=600)
    WaitingWishFactory(from_at=time(first), to_at=time(last))

    (one,) = who_fits(LessonFactory(kind="group", starts_at=at("09:00")), NOW)

    assert one.fits


def test_who_is_as_far_as_the_lesson_and_its_instructor_fits() -> None:
    HorseFactory(weight_kg=600)
    WaitingWishFactory(rider__level="intermediate", from_at=time(8), to_at=time(10))
    place = LessonFactory(
        kind="group",
        starts_at=at("09:00"),
        level="intermediate",
        instructor__level="intermediate",
    )

    (one,) = who_fits(place, NOW)

    assert one.fits


def test_an_offer_that_ends_now_is_over_and_another_can_be_made() -> None:
    wish, lesson = WaitingWishFactory(), LessonFactory(kind="group", places=2)
    one = offer_place(wish=wish, lesson=lesson, by=None, now=NOW)

    again = offer_place(wish=wish, lesson=lesson, by=None, now=one.ends_at)

    assert again.ends_at > one.ends_at


# --- what pays -----------------------------------------------------------------------


def left(pack: LessonPack) -> int:
    return pack.lessons - PackUse.objects.filter(pack=pack).count()


@pytest.mark.parametrize(
    "days",
    [
        {"bought_date": SATURDAY, "expires_date": date(2027, 5, 1)},
        {"bought_date": date(2027, 1, 1), "expires_date": SATURDAY},
    ],
)
def test_a_pack_pays_on_its_first_and_on_its_last_day(days: dict[str, date]) -> None:
    rider = RiderFactory()
    pack = LessonPackFactory(client=rider.client, **days)

    booked(rides=[(rider, None)])

    assert left(pack) == 9


def test_a_lesson_to_make_up_pays_on_its_last_day() -> None:
    rider = RiderFactory()
    credit = MakeUpCreditFactory(client=rider.client, expires_date=SATURDAY)

    ride = booked(rides=[(rider, None)])

    credit.refresh_from_db()
    assert credit.used_for == ride


def test_a_weekly_lesson_is_paid_with_its_term_and_leaves_the_pack_alone() -> None:
    rider = RiderFactory()
    pack = LessonPackFactory(client=rider.client)

    weekly(rides=[(rider, None)])

    assert left(pack) == 10


def test_a_pack_is_cut_to_what_it_has_paid_for_and_no_further() -> None:
    rider = RiderFactory()
    pack = LessonPackFactory(client=rider.client)
    for clock in ("09:00", "11:00"):
        booked(rides=[(rider, None)], starts_at=at(clock))
    fields: dict[str, Any] = {
        "pack": pack,
        "name": pack.name,
        "expires_date": pack.expires_date,
        "by": None,
        "now": NOW,
    }

    assert change_pack(**fields, lessons=2).lessons == 2
    with pytest.raises(UnableToBook, match="2 of its lessons"):
        change_pack(**fields, lessons=1)


@pytest.mark.parametrize("name", RANGES)
@pytest.mark.parametrize("end", [0, 1])
def test_a_rule_of_the_house_may_be_set_to_either_end(name: str, end: int) -> None:
    value = RANGES[name][end]

    set_charges(charges={name: value}, by=None, now=NOW)  # type: ignore[typeddict-item]

    assert getattr(School.objects.get(), name) == value


# --- reminders -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("quiet", "starts", "reminded"),
    [
        # Over midnight: from its first minute, and no longer in its last.
        ((time(21), time(8)), "21:00", "Sat 08:00"),
        ((time(21), time(8)), "08:00", "Fri 08:00"),
        ((time(12), time(14)), "12:00", "Fri 14:00"),
        ((time(12), time(14)), "14:00", "Fri 14:00"),
    ],
)
def test_quiet_hours_begin_with_their_first_minute_and_end_with_their_last(
    school: School, quiet: tuple[time, time], starts: str, reminded: str
) -> None:
    school.remind_hours, school.remind_evening_at, school.notice_hours = 24, None, 2
    school.quiet_from, school.quiet_to = quiet

    moment = reminder_moments(school, at(starts))["hours"]

    assert f"{moment.astimezone(ZONE):%a %H:%M}" == reminded


def test_a_reminder_put_off_to_the_start_itself_goes_before_the_quiet(
    school: School,
) -> None:
    school.remind_hours, school.remind_evening_at, school.notice_hours = 1, None, 0
    school.quiet_from, school.quiet_to = time(21), time(8)

    moment = reminder_moments(school, at("08:00"))["hours"]

    assert f"{moment.astimezone(ZONE):%a %H:%M}" == "Fri 20:59"


# --- tables and consents -------------------------------------------------------------


def test_who_is_of_age_today_needs_no_guardian_in_a_table() -> None:
    by = AccountFactory(manager=True, person=None)
    rows = [person(1, Born="2009-03-01"), person(2, Born="2009-03-02")]

    assert whats(take(Kind.PEOPLE, rows, by)) == ["new", "refused"]


def test_a_consent_may_last_as_long_as_is_said() -> None:
    rider = RiderFactory()
    fields: dict[str, Any] = {
        "rider": rider,
        "kind": ConsentKind.RIDING,
        "given_by": rider.person,
        "by": None,
        "now": NOW,
    }
    longest = NOW.date() + LONGEST

    assert give_consent(**fields, expires_date=longest).expires_date == longest
    with pytest.raises(UnableToBook, match="two years later at most"):
        give_consent(**fields, expires_date=longest + timedelta(days=1))


# --- who came ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("minutes", "state"), [(15, RideState.BOOKED), (16, RideState.MISSED)]
)
def test_who_comes_as_late_as_the_house_allows_still_rides(
    minutes: int, state: RideState
) -> None:
    ride = booked(rides=[(RiderFactory(), HorseFactory())])
    assert ride is not None

    # Noted at the moment the lesson begins, at the earliest.
    note_late(ride=ride, minutes=minutes, by=None, now=at("09:00"))

    ride.refresh_from_db()
    assert ride.state == state


@pytest.mark.parametrize(("late", "taken"), [(0, True), (1, False)])
def test_who_came_is_noted_for_a_week_to_the_minute(late: int, taken: bool) -> None:
    ride = booked(rides=[(RiderFactory(), HorseFactory())])
    assert ride is not None
    now = at("09:00") + CORRECT_WITHIN + timedelta(minutes=late)

    if not taken:
        with pytest.raises(UnableToBook):
            note_late(ride=ride, minutes=5, by=None, now=now)
        return
    note_late(ride=ride, minutes=5, by=None, now=now)
    assert Outcome.objects.get().kind == "late"


@pytest.mark.parametrize(("clock", "charge"), [("09:30", "charged"), ("09:29", "free")])
def test_a_lesson_of_which_half_was_ridden_counts_as_held(
    clock: str, charge: str
) -> None:
    ride = booked(rides=[(RiderFactory(), HorseFactory())])
    assert ride is not None

    end_early(
        lesson=ride.lesson, ends_at=at(clock), cause="weather", by=None,
        now=at(clock) + timedelta(minutes=1),
    )  # fmt: skip

    assert Outcome.objects.get().charge == charge
