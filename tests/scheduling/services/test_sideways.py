"""Lines that move sideways: when a move is due, where it goes, what a press does."""

from datetime import time, timedelta

import pytest

from scheduling.queries.wear import wear_of
from scheduling.services.line_rules import (
    Sideways,
    UnableToMoveLine,
    end_sideways,
    say_where_it_lies,
    set_sideways,
    usual_rule,
)
from scheduling.services.plans import make_plan, publish_plan
from scheduling.services.sideways import lay_out_moves
from school.models import AuditEntry, Line, SidewaysRule, YardWork
from school.services.yard import call_off
from school.services.yard_done import finish_work, start_work
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory, LineFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.plans import PlannedLessonFactory
from tests.factories.schools import SchoolFactory
from tests.factories.yard import SidewaysRuleFactory, YardWorkFactory
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)
FRIDAY = SATURDAY - timedelta(days=1)


@pytest.fixture
def rule() -> SidewaysRule:
    """A line due on the Saturday."""
    SchoolFactory()
    GroundspersonFactory(person__first_name="Renske")
    return SidewaysRuleFactory(
        line__name="Centre",
        line__arena__name="Hall",
        counted_from_at=at("09:00", SATURDAY - WEEK),
    )


def laid(rule, now=NOW) -> YardWork:
    assert lay_out_moves(now=now) == []
    return YardWork.objects.get(line=rule.line, called_off_at=None, done_at=None)


def use(rule, clock, day=SATURDAY, **keys):
    lesson = LessonFactory(arena=rule.line.arena, starts_at=at(clock, day), **keys)
    PlannedLessonFactory(
        lesson=lesson, line=rule.line, plan__date=day, plan__state="published"
    )
    return lesson


def test_a_move_is_in_the_book_on_the_day_it_is_due(rule):
    work = laid(rule)

    assert (work.date, work.to_cm) == (SATURDAY, 750)
    assert work.who.person.first_name == "Renske"
    assert work.what == "Moving a line sideways: Centre"


def test_twice_changes_nothing(rule):
    before = laid(rule)

    after = laid(rule)

    assert (after.pk, after.version) == (before.pk, before.version)


def test_nothing_is_in_the_book_a_fortnight_ahead(rule):
    lay_out_moves(now=at("09:00", SATURDAY - timedelta(days=12)))

    assert not YardWork.objects.exists()


def test_lessons_over_fences_make_it_due_before_its_day(rule):
    SidewaysRule.objects.update(every_days=30, every_uses=2)
    use(rule, "09:00", FRIDAY)
    thursday = FRIDAY - timedelta(days=1)
    use(rule, "10:30", thursday, state="cancelled", state_reason="ill")
    use(rule, "15:00", FRIDAY - timedelta(days=2))

    work = laid(rule)

    assert work.date == FRIDAY
    assert work.starts_at >= at("10:00", FRIDAY)


def test_wear_counts_what_was_ridden_since_the_last_move(rule):
    use(rule, "09:00", FRIDAY)
    use(rule, "09:00", SATURDAY)
    use(rule, "09:00", SATURDAY - 2 * WEEK)

    wear = wear_of([rule], at("18:00", FRIDAY))[rule.pk]

    assert (wear.uses, wear.due) == (1, SATURDAY)


def test_it_comes_after_the_last_lesson_of_its_arena(rule):
    lesson = LessonFactory(arena=rule.line.arena, starts_at=at("15:00"))
    LessonFactory(starts_at=at("18:00"))

    assert laid(rule).starts_at == lesson.ends_at


def test_it_comes_before_the_first_lesson_where_the_evening_is_ridden(rule):
    LessonFactory(arena=rule.line.arena, starts_at=at("09:00"))
    last = LessonFactory(arena=rule.line.arena, starts_at=at("19:00"))
    assert last.ends_at == at("20:00")

    work = laid(rule)

    assert work.ends_at <= at("09:00")


def test_straight_after_a_harrow_the_line_is_bare(rule):
    harrow = YardWorkFactory(arena=rule.line.arena, starts_at=at("13:00"))
    LessonFactory(arena=rule.line.arena, starts_at=at("15:00"))

    work = laid(rule)

    assert (work.starts_at, work.stands) == (harrow.ends_at, [])


def test_a_plan_published_puts_it_after_its_last_changeover():
    _, line, lessons = small_day(windows=False)
    SidewaysRuleFactory(line=line, counted_from_at=at("09:00", SATURDAY - WEEK))

    publish_plan(
        plan=make_plan(date=SATURDAY, by=None, now=NOW, seconds=5), by=None, now=NOW
    )

    work = YardWork.objects.get(line=line)
    assert work.starts_at == lessons[2].ends_at
    assert len(work.stands) == 2


def test_without_lights_it_is_done_by_daylight(rule):
    SchoolFactory._meta.model.objects.update(latitude=52.0, longitude=5.0)
    LessonFactory(arena=rule.line.arena, starts_at=at("17:30"))

    assert laid(rule).ends_at < at("17:30")


def test_done_the_line_lies_there_and_is_counted_anew(rule):
    work = laid(rule)

    finish_work(work=work, by=None, now=at("20:30"))
    finish_work(work=work, by=None, now=at("20:31"))

    rule.refresh_from_db()
    assert Line.objects.get().from_long_side_cm == 750
    assert rule.counted_from_at == at("20:30")
    assert AuditEntry.objects.filter(action="move line").count() == 1
    work = laid(rule, now=at("08:00", SATURDAY + timedelta(days=5)))
    assert (work.date, work.to_cm) == (SATURDAY + WEEK, 1000)


def test_what_is_not_done_goes_on_to_the_next_day_and_says_so(rule):
    before = laid(rule)

    after = laid(rule, now=at("07:30", SATURDAY + timedelta(days=1)))

    assert (after.pk, after.uid) == (before.pk, before.uid)
    assert after.date == SATURDAY + timedelta(days=1)
    assert after.version == before.version + 1
    assert after.note == "Not done on 6 March 2027."


def test_one_under_way_is_left_alone(rule):
    work = laid(rule)
    start_work(work=work, by=None, now=at("07:00"))
    say_where_it_lies(line=rule.line, at_cm=900, moved=False, by=None, now=at("07:02"))

    assert laid(rule, now=at("07:05")).starts_at == work.starts_at


def test_called_off_it_comes_again_the_next_day(rule):
    call_off(work=laid(rule), by=None, now=NOW)

    assert laid(rule).date == SATURDAY + timedelta(days=1)


def test_two_lines_of_an_arena_move_one_after_the_other_and_keep_apart(rule):
    Line.objects.filter(pk=rule.pk).update(from_long_side_cm=1000)
    side = LineFactory(arena=rule.line.arena, name="Side", from_long_side_cm=500)
    SidewaysRuleFactory(line=side, counted_from_at=rule.counted_from_at)

    lay_out_moves(now=NOW)

    first, second = YardWork.objects.order_by("starts_at")
    assert (first.line, first.to_cm) == (rule.line, 1250)
    # It may not go where the other still lies.
    assert second is None or second.to_cm <= 500
    assert first.ends_at <= second.starts_at


def test_a_line_shut_in_finds_no_room(rule):
    LineFactory(arena=rule.line.arena, from_long_side_cm=900)

    assert lay_out_moves(now=NOW) == [rule]
    assert not YardWork.objects.exists()


def test_a_correction_aims_the_move_anew(rule):
    laid(rule)

    _, warning = say_where_it_lies(
        line=rule.line, at_cm=1000, moved=False, by=None, now=NOW
    )

    assert warning == ""
    assert laid(rule).to_cm == 1250


def test_moved_by_hand_it_is_no_longer_due(rule):
    laid(rule)

    say_where_it_lies(line=rule.line, at_cm=1000, moved=True, by=None, now=NOW)

    assert not YardWork.objects.filter(called_off_at=None, date=SATURDAY).exists()


def test_a_place_too_near_another_line_is_kept_and_warned_of(rule):
    LineFactory(arena=rule.line.arena, name="Side", from_long_side_cm=1000)

    line, warning = say_where_it_lies(
        line=rule.line, at_cm=700, moved=False, by=None, now=NOW
    )

    assert line.from_long_side_cm == 700
    assert warning.startswith("Side lies only 3 m away")


def test_a_place_beside_the_side_is_warned_of(rule):
    _, warning = say_where_it_lies(
        line=rule.line, at_cm=100, moved=False, by=None, now=NOW
    )

    assert warning.startswith("A fence with its wings does not fit")


def test_a_place_outside_the_arena_is_refused(rule):
    with pytest.raises(UnableToMoveLine, match="Hall is 20 m wide"):
        say_where_it_lies(line=rule.line, at_cm=2000, moved=False, by=None, now=NOW)


USUAL = Sideways(7, None, 250, 450, 1550)


def test_the_usual_is_every_week_by_two_and_a_half_metres(rule):
    assert usual_rule(rule.line) == USUAL


@pytest.mark.parametrize(
    ("how", "field"),
    [
        (Sideways(None, None, 250, 450, 1550), "every_days"),
        (Sideways(91, None, 250, 450, 1550), "every_days"),
        (Sideways(None, 0, 250, 450, 1550), "every_uses"),
        (Sideways(7, None, 40, 450, 1550), "step"),
        (Sideways(7, None, 250, 200, 1550), "least"),
        (Sideways(7, None, 250, 450, 1800), "most"),
        (Sideways(7, None, 250, 450, 480), "most"),
    ],
)
def test_a_rule_out_of_range_is_refused(rule, how, field):
    with pytest.raises(UnableToMoveLine) as refused:
        set_sideways(line=rule.line, how=how, by=None, now=NOW)

    assert refused.value.field == field


def test_a_rule_set_twice_is_set_once():
    SchoolFactory()
    line = LineFactory()
    for _ in range(2):
        set_sideways(line=line, how=USUAL, by=None, now=NOW)

    assert SidewaysRule.objects.get().counted_from_at == NOW
    assert AuditEntry.objects.filter(action="set sideways").count() == 1


def test_an_ended_rule_takes_its_move_out_of_the_book(rule):
    work = laid(rule)

    end_sideways(line=rule.line, by=None, now=NOW)
    end_sideways(line=rule.line, by=None, now=NOW)

    work.refresh_from_db()
    assert work.called_off_at == NOW
    assert AuditEntry.objects.filter(action="end sideways").count() == 1


def test_without_anybody_at_work_it_is_in_the_arenas_hours():
    SchoolFactory()
    rule = SidewaysRuleFactory(
        line__arena=ArenaFactory(opens_at=time(9)),
        counted_from_at=at("09:00", SATURDAY - WEEK),
    )

    work = laid(rule)

    assert (work.starts_at.astimezone(ZONE).time(), work.who) == (time(9), None)
