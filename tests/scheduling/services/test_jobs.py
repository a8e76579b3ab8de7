"""What the worker searches for: the rest of a day that has begun, and what if."""

from datetime import timedelta

import pytest

from scheduling.models import Changeover, DayPlan, PlanRun, Standing
from scheduling.queries.days import day_rows
from scheduling.services import jobs
from scheduling.services.changeovers import (
    correct_standing,
    finish_changeover,
    start_changeover,
)
from scheduling.services.jobs import bands_of
from scheduling.services.plans import make_plan, publish_plan
from scheduling.services.progress import day_so_far
from scheduling.services.runs import ask_run, carry_out_run, take_up_run
from school.models import Lesson, LessonGrid, School
from school.services.lessons import cancel_lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory
from tests.scheduling.days import cross, pole, vertical
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


def published() -> DayPlan:
    small_day()
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    return publish_plan(plan=plan, by=None, now=NOW)


def searched(kind: str, now, **changes) -> PlanRun:
    ask_run(date=SATURDAY, kind=kind, by=None, now=now, **changes)
    run = take_up_run(now=now)
    return carry_out_run(run=run, clock=lambda: now, beat_every_s=0.02)


def in_order() -> list[Lesson]:
    return list(Lesson.objects.order_by("starts_at", "pk"))


def test_a_plan_of_a_day_that_stayed_as_it_is_moves_nothing():
    published()

    run = searched("replan", NOW)

    assert run.state == "done"
    assert run.result == {"gains": [], "conflict": None}
    assert run.plan.state == "draft"


def test_after_a_cancellation_a_new_plan_is_made_and_not_published():
    plan = published()
    cancel_lesson(lesson=in_order()[1], reason="ill", by=None, now=NOW)

    run = searched("replan", NOW)

    assert run.plan.lessons.count() == 2
    assert run.plan.reset_s <= plan.reset_s
    assert DayPlan.objects.get(state="published") == plan


def test_what_has_begun_stays_and_the_new_plan_can_be_published():
    published()
    first = in_order()[0]
    for one in Changeover.objects.filter(lesson=first):
        start_changeover(changeover=one, by=None, now=at("08:30"))
        finish_changeover(changeover=one, by=None, now=at("08:45"))
    late = LessonFactory(
        arena=first.arena,
        starts_at=at("16:00"),
        title="Late",
        instructor=first.instructor,
    )
    grid_of(late, cross(0), vertical(600))
    now = first.starts_at + timedelta(minutes=10)

    run = searched("replan", now)

    new = run.plan
    kept = {one.lesson_id: one for one in new.lessons.all()}
    assert kept[first.pk].starts_at == first.starts_at
    assert kept[first.pk].line is not None
    done = Changeover.objects.filter(plan=new, lesson=first)
    assert done.count() == 1
    publish_plan(plan=new, by=None, now=now)
    assert done.get().done_at is not None


def test_a_lesson_that_is_to_stay_stays():
    published()
    School.objects.update(moved_start_s=0)
    second = in_order()[1]

    run = searched("replan", NOW, keep=[second.pk])

    assert run.plan.lessons.get(lesson=second).starts_at == second.starts_at


def test_without_a_published_plan_the_whole_day_is_ordered():
    small_day()

    run = searched("replan", NOW)

    assert run.plan.status == "proved"
    assert {one["lesson"] for one in run.result["gains"]}


def test_what_stands_now_follows_the_day():
    plan = published()
    line = f"line-{plan.changeovers.first().line_id}"
    first = in_order()[0]
    one = Changeover.objects.get(lesson=first)

    def standing(now) -> list[dict]:
        return day_so_far(day_rows(SATURDAY), plan, now).standing.get(line)

    before = standing(at("08:00"))
    start_changeover(changeover=one, by=None, now=at("08:10"))
    under_way = standing(at("08:12"))
    begun = standing(first.starts_at + timedelta(minutes=1))

    wanted = [m.now for m in one.moves.order_by("position") if m.now]
    assert before is None
    assert under_way == wanted
    assert [e["at_cm"] for e in begun] == [e["at_cm"] for e in wanted]


def test_a_correction_counts_from_when_it_was_made():
    plan = published()
    line = plan.changeovers.first().line
    first = in_order()[0]
    now = first.starts_at + timedelta(minutes=20)

    correct_standing(line=line, elements=[pole(900)], by=AccountFactory(), now=now)

    so_far = day_so_far(day_rows(SATURDAY), plan, now + timedelta(minutes=1))
    assert so_far.standing[f"line-{line.pk}"] == Standing.objects.get().elements


def test_a_changeover_under_way_keeps_the_crew_as_long_as_it_takes():
    plan = published()
    one = plan.changeovers.order_by("starts_at").first()
    start_changeover(changeover=one, by=None, now=at("08:10"))

    so_far = day_so_far(day_rows(SATURDAY), plan, at("08:12"))

    assert so_far.busy_until_min == 8 * 60 + 10 + one.seconds // 60
    assert so_far.done == {(f"line-{one.line_id}", f"lesson-{one.lesson_id}")}


def test_on_another_day_nothing_has_begun():
    plan = published()

    so_far = day_so_far(day_rows(SATURDAY), plan, NOW)

    assert (so_far.now_min, so_far.standing, so_far.busy_until_min) == (None, {}, None)


def test_an_impossible_day_names_who_can_not_go_together():
    _, _, lessons = small_day(windows=False)
    School.objects.update(handling={"start_s": 3600})

    run = searched("order", NOW)

    assert run.plan.status == "impossible"
    names = run.result["conflict"]["lessons"]
    assert set(names) <= {f"lesson-{one.pk}" for one in lessons}
    assert names
    assert {"rule": "cancel", "lesson": names[0]} in run.result["conflict"]["cures"]


def test_a_day_out_of_time_names_nobody(monkeypatch):
    small_day(windows=False)
    monkeypatch.setattr(jobs, "CONFLICT_S", -1)
    School.objects.update(handling={"start_s": 3600})

    assert searched("order", NOW).result["conflict"] is None


def test_what_is_not_proved_names_nobody_either(monkeypatch):
    small_day(windows=False)
    monkeypatch.setattr(jobs, "proved_impossible", lambda day: False)
    School.objects.update(handling={"start_s": 3600})

    assert searched("order", NOW).result["conflict"] is None


def test_what_if_tries_days_and_keeps_no_plan():
    small_day()

    run = searched("what-if", NOW, seconds=5)

    assert run.plan is None
    assert run.tried == run.to_try
    names = {one["name"] for one in run.result["answers"]}
    assert names == {"crew", "line", "gap", "wings"}
    assert not DayPlan.objects.exists()


def test_bands_hold_what_suits_every_horse():
    _, _, lessons = small_day()
    horses = [{"low_cm": 300, "high_cm": 340}, {"low_cm": 320, "high_cm": 360}]
    fitted = {"gaps": [{"horses": horses}]}
    LessonGrid.objects.filter(lesson=lessons[0]).update(fitted=fitted)
    far = [{"low_cm": 300, "high_cm": 310}, {"low_cm": 320, "high_cm": 360}]
    LessonGrid.objects.filter(lesson=lessons[1]).update(
        fitted={"gaps": [{"horses": far}]}
    )
    LessonFactory(arena=lessons[0].arena, starts_at=at("15:00"))

    bands = bands_of(day_rows(SATURDAY))

    assert bands[f"lesson-{lessons[0].pk}"] == [(320, 340)]
    assert f"lesson-{lessons[1].pk}" not in bands


def test_a_flat_lesson_leaves_nothing_standing():
    arena, _, _ = small_day()
    flat = LessonFactory(arena=arena, starts_at=at("08:00"))
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    publish_plan(plan=plan, by=None, now=NOW)

    so_far = day_so_far(day_rows(SATURDAY), plan, flat.starts_at + timedelta(minutes=5))

    assert so_far.now_min == 8 * 60 + 5
    assert so_far.standing == {}
