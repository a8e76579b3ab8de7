"""Writes that break the rules of plans and changeovers."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from tests.clock import NOW, at
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
    PlannedLessonFactory,
    PlanRunFactory,
    PressFactory,
)
from tests.school.models.writes import twice


def planned_twice() -> None:
    planned = PlannedLessonFactory()
    PlannedLessonFactory(plan=planned.plan, lesson=planned.lesson)


def two_published() -> None:
    twice(lambda: DayPlanFactory(state="published"))


def changeover_twice() -> None:
    plan = DayPlanFactory()
    twice(lambda: ChangeoverFactory(plan=plan, uid=UUID(int=7)))


def move_twice() -> None:
    changeover = ChangeoverFactory()
    twice(lambda: ChangeoverMoveFactory(changeover=changeover, position=1))


PLAN_BREAKS: dict[str, Callable[[], Any]] = {
    "day_plan_version_once": lambda: twice(lambda: DayPlanFactory(version=1)),
    "day_plan_one_published": two_published,
    "day_plan_state_known": lambda: DayPlanFactory(state="lost"),
    "day_plan_status_known": lambda: DayPlanFactory(status="good"),
    "day_plan_bound_below_objective": lambda: DayPlanFactory(
        status="stopped", bound_s=601
    ),
    "day_plan_proved_is_tight": lambda: DayPlanFactory(bound_s=599),
    "plan_run_one_under_way": lambda: twice(PlanRunFactory),
    "plan_run_kind_known": lambda: PlanRunFactory(kind="guess"),
    "plan_run_of_a_term_names_it": lambda: PlanRunFactory(kind="try-term"),
    "plan_run_state_known": lambda: PlanRunFactory(state="lost", ended_at=NOW),
    "plan_run_running_has_a_heartbeat": lambda: PlanRunFactory(state="running"),
    "plan_run_ended_says_when": lambda: PlanRunFactory(state="done"),
    "plan_run_failed_says_why": lambda: PlanRunFactory(state="failed", ended_at=NOW),
    "plan_run_bound_below_best": lambda: PlanRunFactory(best_s=10, bound_s=11),
    "plan_run_seconds_in_range": lambda: PlanRunFactory(seconds=201),
    "planned_lesson_once": planned_twice,
    "planned_lesson_placed_whole": lambda: PlannedLessonFactory(offset_cm=None),
    "changeover_once_a_plan": changeover_twice,
    "changeover_begins_before_it_ends": lambda: ChangeoverFactory(ends_at=at("09:45")),
    "changeover_started_before_done": lambda: ChangeoverFactory(done_at=NOW),
    "move_position_once": move_twice,
    "move_do_known": lambda: ChangeoverMoveFactory(do="throw"),
    "move_build_from_nothing": lambda: ChangeoverMoveFactory(was={}),
    "press_does_known": lambda: PressFactory(does="kick"),
    "press_outcome_known": lambda: PressFactory(outcome="lost", says="gone"),
    "press_kept_says_why": lambda: PressFactory(outcome="kept"),
    "press_before_it_is_received": lambda: PressFactory(pressed_at=at("09:46")),
}
