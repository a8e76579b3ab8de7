"""Who may be booked at all: consent for minors, and nobody who is stopped.

That a guardian consents before the first ride and renews it yearly is the handbook's
own proposal; written permission under age is what a French club's form and English
centres' terms ask for. That a rider is off at once with a suspected concussion, and
not back before 21 days, is from the British bodies' guidance of March 2023.
"""

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from school.models import Consent, Lesson, Ride, Rider
from school.queries.riders import years_between
from school.services.booking import book_lesson
from school.services.consents import withdraw_consent
from school.services.lessons import (
    UnableToBook,
    cancel_lesson,
    move_lesson,
    restore_lesson,
)
from school.services.may_ride import check_may_ride
from school.services.rides import add_ride
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory

NINE = at("09:00")

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def refused(riders: list[Rider], starts_at: datetime = NINE) -> UnableToBook:
    with pytest.raises(UnableToBook) as caught:
        check_may_ride(riders, starts_at, "group")
    return caught.value


def test_a_minor_without_a_consent_is_not_booked_whatever_reason_is_given() -> None:
    rider = RiderFactory(minor=True, person__first_name="Nienke")

    with pytest.raises(UnableToBook) as caught:
        book_lesson(
            title="Private",
            kind="private",
            work="flat",
            starts_at=at("09:00"),
            minutes=45,
            arena=ArenaFactory(),
            instructor=InstructorFactory(),
            rides=[(rider, None)],
            by=AccountFactory(manager=True),
            now=NOW,
            overrule="She is very good",
        )

    error = caught.value
    assert (error.code, error.overridable) == ("no-consent", False)
    assert error.fields == {"rider": rider.pk}
    assert error.says.startswith(
        "Nienke is under 18 and can't be booked for 6 March 2027: no guardian has "
        "given consent to it."
    )
    assert not Lesson.objects.exists()


def test_a_minor_with_a_consent_and_one_of_age_without_are_booked() -> None:
    minor = RidingConsentFactory().rider

    check_may_ride([minor, RiderFactory()], at("09:00"), "group")


def test_a_consent_to_something_else_is_none_to_ride() -> None:
    minor = RidingConsentFactory(kind="photographs", name="Photographs").rider

    assert refused([minor]).code == "no-consent"


def test_a_consent_holds_to_its_last_day_and_not_a_day_longer() -> None:
    minor = RidingConsentFactory(expires_date=SATURDAY).rider

    check_may_ride([minor], at("19:00"), "group")

    error = refused([minor], at("09:00", SATURDAY + timedelta(days=1)))
    assert "the guardian's consent ended on 6 March 2027" in error.says


def test_a_withdrawn_consent_holds_no_more_from_that_day() -> None:
    minor = RidingConsentFactory(
        withdrawn_date=SATURDAY, withdrawn_reason="By telephone"
    ).rider

    check_may_ride([minor], at("09:00", SATURDAY - timedelta(days=1)), "group")

    assert "withdrew it on 6 March 2027" in refused([minor]).says


def test_who_is_of_age_on_the_day_of_the_lesson_needs_no_consent() -> None:
    rider = RiderFactory(born_date=date(2009, 3, 6))

    check_may_ride([rider], at("09:00"), "group")

    assert refused([rider], at("09:00", SATURDAY - timedelta(days=1))).code == (
        "no-consent"
    )


@given(
    born=st.dates(date(1940, 1, 1), date(2020, 12, 31)),
    later=st.integers(0, 40_000),
)
def test_an_age_is_the_birthdays_that_were(born: date, later: int) -> None:
    day = born + timedelta(days=later)

    birthdays = sum(
        (born.month, born.day) <= (12, 31)
        and (year, born.month, born.day) <= (day.year, day.month, day.day)
        for year in range(born.year + 1, day.year + 1)
    )

    assert years_between(born, day) == birthdays


def test_who_is_stopped_gets_no_place_until_it_is_lifted() -> None:
    stop = RiderStopFactory(rider__person__first_name="Nienke")
    lesson = LessonFactory()

    with pytest.raises(UnableToBook) as caught:
        add_ride(lesson=lesson, rider=stop.rider, horse=None, by=None, now=NOW)
    assert caught.value.says.startswith(
        "Nienke has been stopped from riding since 1 March 2027."
    )
    assert not caught.value.overridable
    assert stop.reason not in caught.value.says

    stop.lifted_at, stop.lifted_by = NOW, AccountFactory()
    stop.lifted_reason = "The doctor's letter"
    stop.save()
    add_ride(lesson=lesson, rider=stop.rider, horse=None, by=None, now=NOW)
    assert Ride.objects.count() == 1


def test_a_stop_does_not_end_by_its_day_alone() -> None:
    stop = RiderStopFactory(not_before_date=date(2027, 3, 2))

    assert refused([stop.rider]).code == "stopped"


def test_a_lesson_is_moved_within_its_day_though_the_consent_has_gone() -> None:
    consent = RidingConsentFactory()
    ride = RideFactory(rider=consent.rider)
    withdraw_consent(consent=consent, reason="By telephone", by=None, now=NOW)

    moved = move_lesson(
        lesson=ride.lesson, starts_at=at("11:00"), version=1, by=None, now=NOW
    )
    assert moved.starts_at == at("11:00")

    with pytest.raises(UnableToBook, match=r"under 18.* withdrew it on 1 March"):
        move_lesson(
            lesson=moved,
            starts_at=at("11:00", SATURDAY + timedelta(days=7)),
            version=moved.version,
            by=None,
            now=NOW,
        )


def test_a_cancelled_lesson_is_not_taken_back_with_who_is_stopped() -> None:
    ride = RideFactory()
    lesson = cancel_lesson(lesson=ride.lesson, reason="Frost", by=None, now=NOW)
    RiderStopFactory(rider=ride.rider)

    with pytest.raises(UnableToBook, match="stopped from riding"):
        restore_lesson(lesson=lesson, state="booked", by=None, now=NOW)


@pytest.mark.parametrize("count", [1, 4])
def test_any_number_of_riders_is_asked_for_in_three_queries(
    count: int, django_assert_num_queries
) -> None:
    riders = [RidingConsentFactory().rider for _ in range(count)]
    list(Consent.objects.all())

    # The school's zone and its age are read apart.
    with django_assert_num_queries(4):
        check_may_ride(riders, at("09:00"), "group")
