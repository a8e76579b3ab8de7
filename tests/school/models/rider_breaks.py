"""Writes that break the rules of riders: consents, stops, levels."""

from collections.abc import Callable
from datetime import date
from typing import Any

from tests.clock import NOW
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory
from tests.factories.riders import (
    LevelSigningFactory,
    RiderStopFactory,
    RidingConsentFactory,
)
from tests.factories.schools import SchoolFactory


def two_stops() -> None:
    RiderStopFactory(rider=RiderStopFactory().rider)


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
}
