"""Who came and when a lesson ended: what that frees, and what it costs.

That the full fee is asked for what is missed, that 10 to 15 minutes late is too late
to ride, that a yard which cancels asks nothing: published terms of riding schools, as
the trade's handbook has them (read, not asked for). That half of the time counts as a
lesson held is the tool's own estimate.
"""

from datetime import date, timedelta

import pytest

from school.enums import RideState
from school.models import (
    AuditEntry,
    EarlyEnd,
    Lesson,
    LessonPack,
    MakeUpCredit,
    Occupancy,
    OutboxMessage,
    Outcome,
    PackUse,
    Ride,
)
from school.queries.horses import horse_loads
from school.queries.outcomes import costs_in_words
from school.services.attendance import (
    end_early,
    go_on,
    note_late,
    note_no_show,
    take_back,
)
from school.services.booking import book_lesson
from school.services.lessons import move_lesson
from school.services.refusals import UnableToBook
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory, MakeUpCreditFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.ride_logs import RiddenRideFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import TUESDAY, weekly

pytestmark = pytest.mark.django_db

BEGUN = at("09:05")


@pytest.fixture
def school():
    return SchoolFactory(make_up_days=30, late_lost_min=15)


@pytest.fixture
def rider(school):
    return RiderFactory()


def booked(rider, **changes) -> Ride:
    fields = {
        "title": "Private",
        "kind": "private",
        "work": "flat",
        "starts_at": at("09:00"),
        "minutes": 60,
        "arena": ArenaFactory(),
        "instructor": InstructorFactory(),
        "rides": [(rider, HorseFactory())],
        "by": None,
        "now": NOW,
    }
    return book_lesson(**(fields | changes)).rides.get()


def left(pack: LessonPack) -> int:
    return pack.lessons - PackUse.objects.filter(pack=pack).count()


def rule(school, **changes) -> None:
    type(school).objects.update(**changes)


def test_a_no_show_lets_the_horse_go_and_costs_the_lesson_of_the_pack(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)

    note_no_show(ride=ride, by=None, now=BEGUN)

    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.paid_by, left(pack)) == ("no-show", "pack", 9)
    assert not Occupancy.objects.filter(what="horse").exists()
    assert sum(one.minutes for one in horse_loads(SATURDAY, ZONE, tacked_min=0)) == 0


def test_without_pack_or_credit_the_fee_is_noted(rider) -> None:
    note_no_show(ride=booked(rider), by=None, now=BEGUN)

    outcome = Outcome.objects.get()
    assert costs_in_words(outcome.charge, outcome.paid_by) == "the lesson's fee"


def test_a_missed_weekly_lesson_is_paid_with_its_term(rider) -> None:
    lesson = weekly(rides=[(rider, None)]).lessons.get(series_date=TUESDAY)

    note_no_show(ride=lesson.rides.get(), by=None, now=at("17:05", TUESDAY))

    assert Outcome.objects.get().paid_by == "term"
    assert not MakeUpCredit.objects.exists()


def test_a_house_that_asks_nothing_gives_the_pack_its_lesson_back(
    school, rider
) -> None:
    rule(school, no_show_charge="free")
    pack = LessonPackFactory(client=rider.client)

    note_no_show(ride=booked(rider), by=None, now=BEGUN)

    assert left(pack) == 10
    assert Outcome.objects.get().paid_by == "nothing"


def test_a_house_that_lets_it_be_made_up_gives_a_credit_once(school, rider) -> None:
    rule(school, no_show_charge="make-up")
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)

    for _ in range(2):
        note_no_show(ride=ride, by=None, now=BEGUN)

    assert left(pack) == 9
    assert MakeUpCredit.objects.get().given_for == ride


def test_a_later_rule_does_not_change_what_was_noted(school, rider) -> None:
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)
    rule(school, no_show_charge="free")

    note_no_show(ride=ride, by=None, now=at("09:20"))

    assert Outcome.objects.get().charge == "charged"


def test_noting_twice_leaves_one_entry_in_the_audit(rider) -> None:
    ride, account = booked(rider), AccountFactory()
    before = AuditEntry.objects.count()

    for _ in range(2):
        note_no_show(ride=ride, by=account, now=BEGUN)

    entry = AuditEntry.objects.order_by("pk").last()
    assert AuditEntry.objects.count() == before + 1
    assert (entry.action, entry.by) == ("no-show", account)


def test_a_no_show_is_written_to_nobody_and_stays_in_the_calendar(rider) -> None:
    ride = booked(rider)
    before = OutboxMessage.objects.count()

    note_no_show(ride=ride, by=None, now=BEGUN)

    assert OutboxMessage.objects.count() == before
    assert not ride.lesson.invitations.filter(withdrawn=True).exists()


def test_who_came_after_all_rides_and_pays_as_booked(school, rider) -> None:
    rule(school, no_show_charge="free")
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)

    for _ in range(2):
        take_back(ride=ride, by=None, now=at("09:10"))

    ride.refresh_from_db()
    assert (ride.state, left(pack)) == (RideState.BOOKED, 9)
    assert not Outcome.objects.exists()
    assert Occupancy.objects.filter(what="horse").count() == 1


def test_a_horse_given_to_another_meanwhile_is_not_taken_back(rider) -> None:
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)
    booked(
        RiderFactory(), title="Quick one", starts_at=at("09:15"), minutes=30,
        rides=[(RiderFactory(), ride.horse)],
    )  # fmt: skip

    with pytest.raises(UnableToBook) as caught:
        take_back(ride=ride, by=None, now=at("09:20"))

    assert "goes in Quick one" in caught.value.says
    assert Outcome.objects.exists()


def test_a_lesson_made_up_already_is_not_taken_back(school, rider) -> None:
    rule(school, no_show_charge="make-up")
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)
    booked(rider, starts_at=at("12:00"), now=at("10:30"))

    with pytest.raises(UnableToBook) as caught:
        take_back(ride=ride, by=None, now=at("10:40"))

    assert caught.value.code == "made-up"


@pytest.mark.parametrize(
    ("minutes", "kind", "state"),
    [(15, "late", "booked"), (16, "lost", "missed")],
)
def test_later_than_the_rule_the_lesson_is_lost(
    rider, minutes: int, kind: str, state: str
) -> None:
    """15 minutes is the most of the 10 to 15 that published terms name."""
    ride = booked(rider)

    note_late(ride=ride, minutes=minutes, by=None, now=at("09:30"))

    ride.refresh_from_db()
    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.minutes_late) == (kind, minutes)
    assert ride.state == state


def test_an_instructor_may_let_them_ride_all_the_same(rider) -> None:
    ride = booked(rider)

    note_late(ride=ride, minutes=25, rode=True, by=None, now=at("09:30"))

    ride.refresh_from_db()
    assert (ride.state, Outcome.objects.get().kind) == ("booked", "late")


def test_who_was_noted_as_missing_may_still_come_late(rider) -> None:
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)

    note_late(ride=ride, minutes=12, by=None, now=at("09:13"))

    ride.refresh_from_db()
    assert (ride.state, Outcome.objects.get().kind) == ("booked", "late")


@pytest.mark.parametrize("minutes", [0, 241, -3])
def test_minutes_that_make_no_sense_are_refused(rider, minutes: int) -> None:
    with pytest.raises(UnableToBook) as caught:
        note_late(ride=booked(rider), minutes=minutes, by=None, now=BEGUN)

    assert caught.value.code == "minutes"


@pytest.mark.parametrize(
    ("now", "code"),
    [
        (at("08:59"), "not-begun"),
        (at("09:05", date(2027, 3, 14)), "long-over"),
    ],
    ids=["before-it-begins", "after-a-week"],
)
def test_nothing_is_noted_before_it_begins_or_long_after(rider, now, code) -> None:
    ride = booked(rider)

    with pytest.raises(UnableToBook) as caught:
        note_no_show(ride=ride, by=None, now=now)

    assert caught.value.code == code


def test_who_is_in_the_log_as_having_ridden_did_come(school) -> None:
    ridden = RiddenRideFactory()
    ride = ridden.ride

    with pytest.raises(UnableToBook) as caught:
        note_no_show(
            ride=ride, by=None, now=ride.lesson.starts_at + timedelta(minutes=9)
        )

    assert caught.value.code == "logged"


def test_a_place_given_back_is_not_noted_as_missed(school) -> None:
    ride = RideFactory(state="cancelled", cancelled_at=NOW, cancelled_reason="ill")

    with pytest.raises(UnableToBook) as caught:
        note_no_show(ride=ride, by=None, now=BEGUN)

    assert caught.value.code == "given-back"


def ended(ride: Ride, clock: str = "09:20", cause: str = "weather", **more) -> Lesson:
    return end_early(
        lesson=ride.lesson, ends_at=at(clock), cause=cause, by=None, now=at(clock),
        **more,
    )  # fmt: skip


def test_what_an_ended_lesson_held_is_free_and_only_its_minutes_count(rider) -> None:
    ride = booked(rider)

    lesson = ended(ride)

    assert lesson.state == "done"
    assert {one.taken_to for one in Occupancy.objects.all()} == {at("09:20")}
    assert sum(one.minutes for one in horse_loads(SATURDAY, ZONE, tacked_min=0)) == 20
    follows = booked(
        RiderFactory(), starts_at=at("09:30"), arena=lesson.arena,
        instructor=lesson.instructor,
    )  # fmt: skip
    assert follows.lesson.arena == lesson.arena


@pytest.mark.parametrize(
    ("clock", "cause", "charge"),
    [
        ("09:29", "weather", "free"),
        ("09:29", "yard", "free"),
        ("09:29", "horse", "free"),
        ("09:29", "rider", "charged"),
        ("09:30", "weather", "charged"),
    ],
)
def test_what_an_early_end_costs_goes_by_its_cause_and_time(
    rider, clock: str, cause: str, charge: str
) -> None:
    ended(booked(rider), clock, cause)

    assert Outcome.objects.get().charge == charge


def test_an_early_end_for_weather_gives_the_pack_its_lesson_back(rider) -> None:
    pack = LessonPackFactory(client=rider.client)

    ended(booked(rider))

    assert left(pack) == 10


def test_ending_twice_is_once_and_otherwise_is_refused(rider) -> None:
    ride = booked(rider)
    first = ended(ride)

    again = ended(ride)
    with pytest.raises(UnableToBook) as caught:
        ended(ride, "09:25")

    assert again.version == first.version
    assert caught.value.code == "ended"
    assert EarlyEnd.objects.count() == 1


@pytest.mark.parametrize("clock", ["08:59", "09:00", "10:00", "10:30"])
def test_an_end_outside_the_lesson_is_refused(rider, clock: str) -> None:
    ride = booked(rider)

    with pytest.raises(UnableToBook) as caught:
        end_early(
            lesson=ride.lesson, ends_at=at(clock), cause="rider", by=None, now=BEGUN
        )

    assert caught.value.code == "not-early"


def test_an_unknown_cause_is_refused(rider) -> None:
    with pytest.raises(UnableToBook) as caught:
        ended(booked(rider), cause="boredom")

    assert caught.value.code == "cause"


def test_a_lesson_that_goes_on_is_as_it_was(rider) -> None:
    pack = LessonPackFactory(client=rider.client)
    ride = booked(rider)
    ended(ride)

    for _ in range(2):
        lesson = go_on(lesson=ride.lesson, by=None, now=at("09:22"))

    assert (lesson.ends_at, lesson.state) == (at("10:00"), "booked")
    assert (left(pack), Outcome.objects.count()) == (9, 0)
    assert {one.taken_to for one in Occupancy.objects.all()} == {at("10:00")}


def test_a_lesson_whose_arena_is_taken_meanwhile_does_not_go_on(rider) -> None:
    ride = booked(rider)
    lesson = ended(ride)
    booked(RiderFactory(), title="Next", starts_at=at("09:30"), arena=lesson.arena)

    with pytest.raises(UnableToBook) as caught:
        go_on(lesson=lesson, by=None, now=at("09:22"))

    assert "taken by Next" in caught.value.says


def test_who_came_late_to_an_ended_lesson_pays_by_its_end(rider) -> None:
    ride = booked(rider)
    note_late(ride=ride, minutes=10, by=None, now=at("09:11"))
    ended(ride)

    assert (Outcome.objects.get().kind, Outcome.objects.get().charge) == (
        "ended-early",
        "free",
    )

    go_on(lesson=ride.lesson, by=None, now=at("09:22"))

    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.minutes_late) == ("late", 10)


def test_who_came_after_all_to_an_ended_lesson_pays_by_its_end(rider) -> None:
    ride = booked(rider)
    note_no_show(ride=ride, by=None, now=BEGUN)
    ended(ride)
    assert Outcome.objects.get().kind == "no-show"

    take_back(ride=ride, by=None, now=at("09:30"))

    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.charge) == ("ended-early", "free")


def test_a_weekly_lesson_that_ended_early_changes_no_invite(rider) -> None:
    series = weekly(rides=[(rider, None)])
    lesson = series.lessons.get(series_date=TUESDAY)
    OutboxMessage.objects.update(state="dropped")
    before = OutboxMessage.objects.count()
    end_early(
        lesson=lesson, ends_at=at("17:20", TUESDAY), cause="yard", by=None,
        now=at("17:20", TUESDAY),
    )  # fmt: skip
    other = series.lessons.get(series_date=TUESDAY + timedelta(weeks=2))

    move_lesson(
        lesson=other, starts_at=at("18:00", other.series_date), version=other.version,
        by=None, now=at("18:00", TUESDAY),
    )  # fmt: skip

    told = OutboxMessage.objects.order_by("pk")[before:]
    assert [one.day.lesson for one in told if one.day] == [other]
    assert MakeUpCredit.objects.get().given_for.lesson == lesson


def test_a_credit_that_paid_for_what_was_missed_stays_spent(rider) -> None:
    credit = MakeUpCreditFactory(client=rider.client)
    ride = booked(rider)

    note_no_show(ride=ride, by=None, now=BEGUN)

    credit.refresh_from_db()
    assert (credit.used_for, Outcome.objects.get().paid_by) == (ride, "credit")
