"""Writes that break the rules of the ground's work."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from tests.clock import NOW, at
from tests.factories.plans import ChangeoverFactory, PressFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import (
    LineMoveFactory,
    SidewaysRuleFactory,
    YardRuleFactory,
    YardWorkFactory,
)


def rule_twice() -> None:
    one = YardRuleFactory()
    YardRuleFactory(arena=one.arena)


def work_twice() -> None:
    one = YardWorkFactory()
    # Its own closure lies elsewhere: the work is refused, not the arena's hour.
    YardWorkFactory(arena=one.arena, closure__closed_from=at("15:00"))


def work_of_its_rule_twice() -> None:
    one = YardWorkFactory(rule=YardRuleFactory())
    YardWorkFactory(rule=one.rule, starts_at=at("15:00"))


def line_moved_twice() -> None:
    one = LineMoveFactory()
    LineMoveFactory(line=one.line, starts_at=at("18:00"))


YARD_BREAKS: dict[str, Callable[[], Any]] = {
    "school_harrow_in_range": lambda: SchoolFactory(harrow_min=4),
    "yard_rule_kind_known": lambda: YardRuleFactory(kind="plough"),
    "yard_rule_weekday_known": lambda: YardRuleFactory(weekday=7),
    "yard_rule_minutes_in_range": lambda: YardRuleFactory(minutes=4),
    "yard_rule_once": rule_twice,
    "yard_work_kind_known": lambda: YardWorkFactory(kind="plough"),
    "yard_work_begins_before_it_ends": lambda: YardWorkFactory(ends_at=at("13:00")),
    "yard_work_once": work_twice,
    "yard_work_once_a_day_of_its_rule": work_of_its_rule_twice,
    "yard_work_harrow_holds_its_arena": lambda: YardWorkFactory(closure=None),
    "yard_work_sideways_has_its_line": lambda: LineMoveFactory(to_cm=None),
    "yard_work_line_moves_once": line_moved_twice,
    "sideways_rule_says_how_often": lambda: SidewaysRuleFactory(every_days=None),
    "sideways_rule_days_in_range": lambda: SidewaysRuleFactory(every_days=91),
    "sideways_rule_uses_in_range": lambda: SidewaysRuleFactory(every_uses=201),
    "sideways_rule_step_in_range": lambda: SidewaysRuleFactory(step_cm=40),
    "sideways_rule_has_room": lambda: SidewaysRuleFactory(most_cm=460),
    "yard_work_started_before_done": lambda: YardWorkFactory(done_at=NOW),
    "yard_work_called_off_is_not_done": lambda: YardWorkFactory(
        closure=None,
        called_off_at=NOW,
        started_at=NOW,
        done_at=NOW + timedelta(minutes=5),
    ),
    "changeover_has_its_purpose": lambda: ChangeoverFactory(purpose="evening"),
    "press_of_one_thing": lambda: PressFactory(work=YardWorkFactory()),
}
