"""Writes that break the rules of riders: consents, stops, levels."""

from collections.abc import Callable
from datetime import date
from typing import Any

from tests.clock import NOW
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.riders import (
    LevelSigningFactory,
    RiderStopFactory,
    RidingConsentFactory,
    SecondGuardianFactory,
)
from tests.factories.schools import SchoolFactory


def two_stops() -> None:
    RiderStopFactory(rider=RiderStopFactory().rider)


def booked(**changes: Any) -> None:
    SchoolFactory()
    RideFactory(**changes)


def booked_never_again() -> None:
    note = RiderHorseFactory(liking="never", reason="Bolted with her")
    booked(rider=note.rider, horse=note.horse)


def led_by_nobody() -> None:
    SchoolFactory(leaders=3)
    LessonFactory(kind="lead-rein", places=2)
    LessonFactory(kind="lead-rein", places=2)


def own_guardian() -> None:
    rider = RiderFactory(minor=True)
    SecondGuardianFactory(rider=rider, person=rider.person)


RIDER_BREAKS: dict[str, Callable[[], Any]] = {
    "school_expired_papers_known": lambda: SchoolFactory(expired_papers="x"),
    "school_leaders_in_range": lambda: SchoolFactory(leaders=0),
    "school_lead_rein_from_in_range": lambda: SchoolFactory(lead_rein_from_years=1),
    "school_alone_from_in_range": lambda: SchoolFactory(alone_from_years=19),
    "school_lead_rein_fence_in_range": lambda: SchoolFactory(lead_rein_fence_cm=61),
    "school_of_age_in_range": lambda: SchoolFactory(of_age_years=13),
    "lesson_level_known": lambda: LessonFactory(level="expert"),
    "consent_kind_known": lambda: RidingConsentFactory(kind="hunting"),
    "consent_given_before_it_is_withdrawn": lambda: RidingConsentFactory(
        withdrawn_date=date(2026, 9, 29), withdrawn_reason="By telephone"
    ),
    "consent_withdrawn_with_a_reason": lambda: RidingConsentFactory(
        withdrawn_date=date(2027, 3, 1)
    ),
    "second_guardian_relation_filled": lambda: SecondGuardianFactory(relation=""),
    "second_guardian_is_another": own_guardian,
    "signing_level_known": lambda: LevelSigningFactory(level="expert"),
    "signing_highest_fence_in_range": lambda: LevelSigningFactory(highest_fence_cm=161),
    "rider_stop_reason_filled": lambda: RiderStopFactory(reason=""),
    "rider_stop_lifted_by_somebody": lambda: RiderStopFactory(
        lifted_at=NOW, lifted_reason="The doctor's letter"
    ),
    "rider_stop_lifted_with_a_reason": lambda: RiderStopFactory(
        lifted_at=NOW, lifted_by=AccountFactory()
    ),
    "rider_stop_begins_before_it_ends": lambda: RiderStopFactory(
        not_before_date=date(2027, 2, 28)
    ),
    "rider_stop_one_at_a_time": two_stops,
    "ride_rider_not_stopped": lambda: booked(rider=RiderStopFactory().rider),
    "ride_rider_old_enough": lambda: booked(rider__born_date=date(2024, 5, 4)),
    "ride_minor_has_consent": lambda: booked(rider__minor=True),
    "ride_never_again_kept": booked_never_again,
    "lesson_leaders_not_exceeded": led_by_nobody,
}
