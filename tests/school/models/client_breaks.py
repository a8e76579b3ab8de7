"""Writes that break the rules of what clients see and answer."""

from collections.abc import Callable
from datetime import date, time
from typing import Any

from school.models import PackUse
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import RideFactory
from tests.factories.matching import RiderConfidenceFactory, RiderHorseFactory
from tests.factories.outcomes import EarlyEndFactory, OutcomeFactory
from tests.factories.packs import LessonPackFactory, MakeUpCreditFactory
from tests.factories.prices import LessonPriceFactory
from tests.factories.replies import ReplyFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import plan, weekly
from tests.factories.terms import TermBreakFactory, TermFactory
from tests.factories.waiting import WaitingOfferFactory, WaitingWishFactory


def offer_twice() -> None:
    one = WaitingOfferFactory()
    WaitingOfferFactory(wish=one.wish, lesson=one.lesson)


def reply_twice() -> None:
    one = ReplyFactory()
    ReplyFactory(key=one.key)


def pack_overspent() -> None:
    pack = LessonPackFactory(lessons=1)
    for _ in range(2):
        PackUse.objects.create(pack=pack, ride=RideFactory(), used_at=NOW)


def price_twice() -> None:
    for _ in range(2):
        LessonPriceFactory(kind="group", minutes=60)


def credit_for_itself() -> None:
    ride = RideFactory()
    MakeUpCreditFactory(given_for=ride, used_for=ride, used_at=NOW)


def liking_twice() -> None:
    one = RiderHorseFactory()
    RiderHorseFactory(rider=one.rider, horse=one.horse)


def carried_twice() -> None:
    SchoolFactory()
    term = TermFactory()
    old = weekly()
    for _ in range(2):
        weekly(term=term, carried_from=old, plan=plan(arena=ArenaFactory()))


def break_twice() -> None:
    term = TermBreakFactory().term
    TermBreakFactory(term=term)


CLIENT_BREAKS: dict[str, Callable[[], Any]] = {
    "rider_horse_once": liking_twice,
    "rider_horse_liking_known": lambda: RiderHorseFactory(liking="maybe"),
    "rider_horse_never_has_its_reason": lambda: RiderHorseFactory(reason=""),
    "rider_confidence_in_range": lambda: RiderConfidenceFactory(confidence=6),
    "wish_work_known": lambda: WaitingWishFactory(work="driving"),
    "wish_state_known": lambda: WaitingWishFactory(state="lost"),
    "wish_on_a_weekday": lambda: WaitingWishFactory(weekday=7),
    "wish_begins_before_it_ends": lambda: WaitingWishFactory(to_at=time(9)),
    "offer_state_known": lambda: WaitingOfferFactory(state="lost"),
    "offer_made_before_it_ends": lambda: WaitingOfferFactory(ends_at=NOW),
    "offer_once_a_wish_and_lesson": offer_twice,
    "reply_once": reply_twice,
    "pack_not_overspent": pack_overspent,
    "pack_name_filled": lambda: LessonPackFactory(name=""),
    "pack_lessons_in_range": lambda: LessonPackFactory(lessons=0),
    "pack_bought_before_it_expires": lambda: LessonPackFactory(
        expires_date=date(2027, 2, 1)
    ),
    "credit_reason_filled": lambda: MakeUpCreditFactory(reason=""),
    "credit_use_whole": lambda: MakeUpCreditFactory(used_at=NOW),
    "credit_pays_another_ride": credit_for_itself,
    "school_make_up_days_in_range": lambda: SchoolFactory(make_up_days=367),
    "outcome_kind_known": lambda: OutcomeFactory(kind="asleep"),
    "outcome_charge_known": lambda: OutcomeFactory(charge="double"),
    "outcome_paid_by_known": lambda: OutcomeFactory(paid_by="cash"),
    "outcome_minutes_late_in_range": lambda: OutcomeFactory(
        kind="late", minutes_late=241
    ),
    "outcome_late_says_how_late": lambda: OutcomeFactory(kind="lost"),
    "early_end_cause_known": lambda: EarlyEndFactory(cause="boredom"),
    "school_late_fee_in_range": lambda: SchoolFactory(late_fee=-1),
    "school_no_show_fee_in_range": lambda: SchoolFactory(no_show_fee=-1),
    "school_late_fee_percent_in_range": lambda: SchoolFactory(late_fee_percent=101),
    "school_no_show_percent_in_range": lambda: SchoolFactory(no_show_fee_percent=101),
    "lesson_price_once": price_twice,
    "lesson_price_kind_known": lambda: LessonPriceFactory(kind="class"),
    "lesson_price_minutes_in_range": lambda: LessonPriceFactory(minutes=9),
    "lesson_price_amount_in_range": lambda: LessonPriceFactory(amount=-1),
    "outcome_amount_in_range": lambda: OutcomeFactory(amount=-1, currency="EUR"),
    "outcome_amount_is_a_fee_in_a_currency": lambda: OutcomeFactory(amount=30),
    "school_late_lost_in_range": lambda: SchoolFactory(late_lost_min=0),
    "school_ended_counts_in_range": lambda: SchoolFactory(ended_counts_percent=101),
    "school_late_cancel_charge_known": lambda: SchoolFactory(late_cancel_charge="x"),
    "school_no_show_charge_known": lambda: SchoolFactory(no_show_charge="x"),
    "school_lost_charge_known": lambda: SchoolFactory(lost_charge="x"),
    "school_ended_rider_charge_known": lambda: SchoolFactory(ended_rider_charge="x"),
    "school_ended_horse_charge_known": lambda: SchoolFactory(ended_horse_charge="x"),
    "term_name_filled": lambda: TermFactory(name=""),
    "term_begins_before_it_ends": lambda: TermFactory(last_date=date(2027, 3, 7)),
    "term_no_two_at_once": lambda: (
        TermFactory(),
        TermFactory(
            name="Next", first_date=date(2027, 5, 16), last_date=date(2027, 7, 1)
        ),
    ),
    "term_break_name_filled": lambda: TermBreakFactory(name=""),
    "term_break_begins_before_it_ends": lambda: TermBreakFactory(
        last_date=date(2027, 4, 11)
    ),
    "term_break_once": break_twice,
    "term_break_within_its_term": lambda: TermBreakFactory(last_date=date(2027, 5, 17)),
    "series_carried_once_a_term": carried_twice,
    "reply_answer_known": lambda: ReplyFactory(answer="MAYBE"),
    "reply_state_known": lambda: ReplyFactory(state="lost"),
    "reply_proposal_whole": lambda: ReplyFactory(proposed_starts_at=NOW),
    "reply_applied_has_its_invitation": lambda: ReplyFactory(state="applied"),
    "reply_held_says_why": lambda: ReplyFactory(state="held"),
    "reply_settled_has_its_moment": lambda: ReplyFactory(state="settled"),
}
