from datetime import timedelta

import pytest

from scheduling.models import Standing
from scheduling.queries.changeovers import changeover_with_all
from scheduling.queries.keys import key_of
from scheduling.queries.plans import plan_of_day, published_plan
from scheduling.queries.standing import standing_before
from scheduling.services.changeovers import correct_standing
from scheduling.services.plans import make_plan, publish_plan
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import LineFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import ChangeoverFactory, DayPlanFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import pole
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db

SUNDAY = SATURDAY + timedelta(days=1)


def publish():
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    return publish_plan(plan=plan, by=None, now=NOW)


def test_a_day_without_plans_has_none():
    assert plan_of_day(SATURDAY) is None


def test_the_published_plan_counts_before_a_newer_draft():
    published = DayPlanFactory(state="published", version=1)
    DayPlanFactory(state="draft", version=2)

    assert plan_of_day(SATURDAY) == published_plan(SATURDAY) == published


def test_the_newest_draft_counts_where_nothing_is_published():
    DayPlanFactory(state="replaced", version=3)
    DayPlanFactory(state="draft", version=1)
    newest = DayPlanFactory(state="draft", version=2)

    assert plan_of_day(SATURDAY) == newest


def test_a_changeover_is_found_with_its_moves():
    one = ChangeoverFactory()

    assert changeover_with_all(one.pk) == one


def test_an_id_of_the_day_file_names_its_row():
    assert key_of("line-17") == 17


def test_what_was_last_seen_stands():
    SchoolFactory()
    line = LineFactory()
    Standing.objects.create(line=line, elements=[pole(100)], as_of_at=NOW)

    assert standing_before(SATURDAY) == {line.pk: [pole(100)]}


def test_the_day_after_begins_with_what_the_plan_leaves():
    _, line, _ = small_day()
    plan = publish()

    last = max(plan.plan["lessons"], key=lambda one: one["start"])
    feet = [one["at_cm"] for one in standing_before(SUNDAY)[line.pk]]

    assert min(feet) == last["offset_cm"]
    assert len(feet) == 2


def test_a_correction_after_the_plans_day_counts_instead():
    _, line, _ = small_day()
    publish()
    correct_standing(
        line=line,
        elements=[],
        by=AccountFactory(),
        now=at("07:00", SUNDAY + timedelta(days=1)),
    )

    assert standing_before(SUNDAY + timedelta(days=1))[line.pk] == []


def test_a_correction_before_the_day_is_seen_by_the_next_plan():
    _, line, _ = small_day()
    publish()
    correct_standing(
        line=line, elements=[pole(100)], by=AccountFactory(), now=at("07:00")
    )

    assert standing_before(SATURDAY)[line.pk] == [pole(100)]


def test_a_line_no_plan_uses_stays_as_it_was():
    arena, _, _ = small_day()
    other = LineFactory(arena=arena, name="Quarter", length_cm=600)
    Standing.objects.create(line=other, elements=[pole(100)], as_of_at=NOW)
    publish()

    assert standing_before(SUNDAY)[other.pk] == [pole(100)]


def test_a_correction_in_the_evening_of_the_plans_day_counts():
    _, line, _ = small_day()
    publish()
    correct_standing(line=line, elements=[], by=AccountFactory(), now=at("20:00"))

    assert standing_before(SUNDAY)[line.pk] == []


def test_a_flat_lesson_leaves_what_stands():
    arena, line, _ = small_day()
    LessonFactory(arena=arena, work="flat", starts_at=at("15:00"))
    plan = publish()

    last = max(
        (one for one in plan.plan["lessons"] if one["line"]),
        key=lambda one: one["start"],
    )
    feet = [one["at_cm"] for one in standing_before(SUNDAY)[line.pk]]
    assert min(feet) == last["offset_cm"]
