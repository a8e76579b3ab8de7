"""Levels signed by instructors, stops lifted by managers."""

from datetime import date, timedelta

import pytest

from school.models import Account, AuditEntry, LevelSigning, RiderStop
from school.services.refusals import UnableToBook
from school.services.riders import lift_stop, set_facts, sign_level, stop_rider
from tests.clock import NOW
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(days=60)


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def teacher(level: str = "advanced", fence: int = 110) -> Account:
    instructor = InstructorFactory(level=level, highest_fence_cm=fence)
    return AccountFactory(person=instructor.person)


def test_a_level_is_signed_with_who_and_when_and_the_history_stays() -> None:
    rider, by = RiderFactory(level="novice", highest_fence_cm=40), teacher()

    sign_level(rider=rider, level="novice", highest_fence_cm=60, by=by, now=NOW)
    for _ in range(2):
        sign_level(
            rider=rider, level="intermediate", highest_fence_cm=70, by=by, now=LATER
        )

    rider.refresh_from_db()
    assert (rider.level, rider.highest_fence_cm) == ("intermediate", 70)
    assert rider.level_signed_by.person == by.person
    assert rider.level_signed_date == date(2027, 4, 30)
    signed = LevelSigning.objects.order_by("signed_date")
    assert [(one.level, one.highest_fence_cm) for one in signed] == [
        ("novice", 60),
        ("intermediate", 70),
    ]
    assert AuditEntry.objects.filter(action="sign level").count() == 2


def test_only_an_instructor_signs() -> None:
    manager = AccountFactory(manager=True)

    with pytest.raises(UnableToBook, match="Only an instructor"):
        sign_level(
            rider=RiderFactory(), level="novice", highest_fence_cm=40, by=manager,
            now=NOW,
        )  # fmt: skip


@pytest.mark.parametrize(("level", "fence"), [("advanced", 60), ("intermediate", 81)])
def test_nobody_signs_beyond_what_they_teach(level: str, fence: int) -> None:
    by = teacher("intermediate", 80)

    with pytest.raises(UnableToBook, match="You teach up to intermediate and 80 cm"):
        sign_level(
            rider=RiderFactory(), level=level, highest_fence_cm=fence, by=by, now=NOW
        )


def test_one_level_up_at_a_time_but_down_as_far_as_needed() -> None:
    """One band up at a time, signed by the coach: the handbook's own proposal."""
    rider, by = RiderFactory(level="novice"), teacher()
    sign_level(rider=rider, level="novice", highest_fence_cm=40, by=by, now=NOW)

    with pytest.raises(UnableToBook, match="one level up at a time"):
        sign_level(rider=rider, level="advanced", highest_fence_cm=90, by=by, now=LATER)

    rider.level = "advanced"
    rider.save()
    sign_level(rider=rider, level="novice", highest_fence_cm=40, by=by, now=LATER)
    rider.refresh_from_db()
    assert rider.level == "novice"


def test_the_first_signing_says_where_a_rider_is() -> None:
    rider = RiderFactory(level="novice")

    sign_level(
        rider=rider, level="advanced", highest_fence_cm=90, by=teacher(), now=NOW
    )

    rider.refresh_from_db()
    assert rider.level == "advanced"


def test_a_stop_is_noted_once_and_its_reason_stays_out_of_the_audit() -> None:
    rider, by = RiderFactory(), teacher()

    for _ in range(2):
        stop_rider(rider=rider, reason="Fell on the head", by=by, now=NOW)

    assert RiderStop.objects.count() == 1
    assert "head" not in str(AuditEntry.objects.get(action="stop").after)
    with pytest.raises(UnableToBook, match="stopped already"):
        stop_rider(rider=rider, reason="A broken wrist", by=by, now=NOW)


def test_a_stop_is_lifted_with_who_said_so() -> None:
    stop, by = RiderStopFactory(), AccountFactory(manager=True)

    with pytest.raises(UnableToBook, match="Say who"):
        lift_stop(stop=stop, reason=" ", by=by, now=NOW)
    for _ in range(2):
        lift_stop(stop=stop, reason="Her doctor, by letter", by=by, now=LATER)

    stop.refresh_from_db()
    assert (stop.lifted_by, stop.lifted_reason) == (by, "Her doctor, by letter")
    assert AuditEntry.objects.filter(action="lift stop").count() == 1


def test_a_stop_is_lifted_sooner_than_noted_only_where_that_is_meant() -> None:
    stop = RiderStopFactory(not_before_date=date(2027, 3, 22))
    by = AccountFactory(manager=True)

    with pytest.raises(UnableToBook, match="before 22 March 2027"):
        lift_stop(stop=stop, reason="Noted by mistake", by=by, now=NOW)
    lift_stop(stop=stop, reason="Noted by mistake", by=by, now=NOW, sooner=True)

    assert RiderStop.objects.get().lifted_at == NOW


def test_no_stop_begins_with_a_day_gone_by() -> None:
    with pytest.raises(UnableToBook, match="gone by"):
        stop_rider(
            rider=RiderFactory(),
            reason="Fell",
            by=teacher(),
            now=NOW,
            not_before_date=date(2027, 2, 28),
        )


def test_facts_are_set_once() -> None:
    rider, by = RiderFactory(weight_kg=40), AccountFactory(manager=True)
    facts = {
        "weight_kg": 44,
        "height_cm": 150,
        "health": "",
        "emergency_name": "An aunt",
        "emergency_phone": "001",
    }

    for _ in range(2):
        set_facts(rider=rider, facts=facts, by=by, now=NOW)

    rider.refresh_from_db()
    assert (rider.weight_kg, rider.emergency_name) == (44, "An aunt")
    assert AuditEntry.objects.filter(action="set facts").count() == 1
