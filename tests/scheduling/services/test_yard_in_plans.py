"""What a plan lists beside the lessons: before a harrow, and in the evening."""

from datetime import time, timedelta

import pytest
from django.db import IntegrityError, transaction

from scheduling.convert.changeovers import is_morning, purpose_words, who_words
from scheduling.convert.days import day_document
from scheduling.models import Changeover, Standing
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.queries.days import day_rows
from scheduling.queries.plans import published_plan
from scheduling.queries.standing import standing_before
from scheduling.services.changeovers import (
    UnableToReset,
    finish_changeover,
    over_words,
    start_changeover,
)
from scheduling.services.news import news_of_day
from scheduling.services.plans import make_plan, publish_plan
from scheduling.services.progress import day_so_far
from school.models import Groundsperson, School
from school.services.yard import call_off, set_evening
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.people import GroundspersonFactory
from tests.factories.plans import ChangeoverFactory
from tests.factories.yard import YardWorkFactory
from tests.scheduling.days import cross
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db


def published():
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    return publish_plan(plan=plan, by=None, now=NOW)


def only(purpose) -> Changeover:
    (one,) = [x for x in changeovers_of_day(SATURDAY) if x.purpose == purpose]
    return one


def harrowed(clock="14:30"):
    """A small day whose arena is harrowed when its last lesson is over."""
    arena, line, lessons = small_day(windows=False)
    work = YardWorkFactory(arena=arena, starts_at=at(clock))
    published()
    return line, lessons, work


def test_poles_come_off_before_a_harrow_after_the_last_lesson():
    line, _, work = harrowed()

    one = only("work")

    assert one.before_work == work
    assert {move.do for move in one.moves.all()} == {"strip"}
    assert one.ends_at <= work.starts_at
    assert purpose_words(one, ZONE) == "before harrowing at 14:30: poles off first"
    assert standing_before(SATURDAY + timedelta(days=1))[line.pk] == []


def test_done_the_line_is_bare():
    line, _, _ = harrowed()

    finish_changeover(changeover=only("work"), by=None, now=at("13:20"))

    assert Standing.objects.get(line=line).elements == []


def test_a_harrow_called_off_needs_no_poles_off():
    _, _, work = harrowed()
    one = only("work")
    call_off(work=work, by=None, now=at("12:30"))

    one = Changeover.objects.select_related("before_work__arena").get(pk=one.pk)
    assert "called off" in over_words(one)
    assert one not in changeovers_of_day(SATURDAY)
    with pytest.raises(UnableToReset, match="called off"):
        start_changeover(changeover=one, by=None, now=at("13:10"))


def test_what_was_stripped_for_the_harrow_is_not_planned_again():
    line, _, work = harrowed()
    start_changeover(changeover=only("work"), by=None, now=at("13:10"))

    so_far = day_so_far(day_rows(SATURDAY), published_plan(SATURDAY), at("13:12"))

    name = f"closure-{work.closure_id}-arena-{line.arena_id}"
    assert (f"line-{line.pk}", name) in so_far.done


def test_a_new_plan_knows_the_same_strip_again():
    harrowed()
    old = only("work")
    start_changeover(changeover=old, by=None, now=at("13:10"))
    published()

    new = only("work")

    assert (new.uid, new.started_at) == (old.uid, at("13:10"))
    names = [one.name for one in news_of_day(SATURDAY, old.plan_id).rows]
    assert any(name.endswith("before harrowing") for name in names)


def test_a_yard_that_leaves_its_grids_standing_has_no_evening_strip():
    _, line, _ = small_day(windows=False)
    published()

    assert {one.purpose for one in changeovers_of_day(SATURDAY)} == {"lesson"}
    assert standing_before(SATURDAY + timedelta(days=1))[line.pk] != []


def stripped():
    _, line, lessons = small_day(windows=False)
    set_evening(strips=True, by=None, now=NOW)
    set_evening(strips=True, by=None, now=NOW)
    published()
    return line, lessons


def test_in_the_evening_all_goes_into_the_store():
    line, lessons = stripped()

    one = only("evening")

    assert (one.line, one.starts_at) == (line, lessons[2].ends_at)
    assert [move.do for move in one.moves.all()] == ["strip", "strip"]
    assert one.seconds == 60 + (64 + 40 + 12) + (64 + 20 + 12)
    assert purpose_words(one, ZONE) == "evening strip: all into the store"
    assert standing_before(SATURDAY + timedelta(days=1))[line.pk] == []


def test_the_next_morning_builds_on_a_bare_line():
    line, _ = stripped()

    data = day_document(day_rows(SATURDAY + timedelta(days=1)))

    assert data["arenas"][0]["lines"][0] == {
        "id": f"line-{line.pk}",
        "length_cm": line.length_cm,
        "standing": [],
    }


def test_what_is_seen_later_than_the_evening_strip_counts():
    line, _ = stripped()
    late = at("19:00")
    Standing.objects.create(line=line, elements=[cross(900)], as_of_at=late)

    assert standing_before(SATURDAY + timedelta(days=1))[line.pk] == [cross(900)]


def test_an_arena_without_lights_is_not_stripped_in_the_dark():
    # Sunset at 52 N 5 E on 6 March is about 18:25 local: the tests of daylight hold
    # such hours against published almanac values.
    _, _, lessons = small_day(windows=False)
    School.objects.update(strips_evening=True, latitude=52, longitude=5)
    late = lessons[2]
    late.starts_at, late.ends_at = at("17:25"), at("18:25")
    late.save()
    published()

    assert {one.purpose for one in changeovers_of_day(SATURDAY)} == {"lesson"}


def test_the_first_building_of_the_day_is_the_morning_build():
    _, _, _ = small_day(windows=False)
    plan = published()
    first = changeovers_of_day(SATURDAY)[0]
    first.starts_at = at("07:30")

    assert is_morning(first, ZONE)
    assert purpose_words(first, ZONE).endswith("morning build")
    assert plan.state == "published"


@pytest.mark.parametrize(
    "fields",
    [
        {"purpose": "work"},
        {"purpose": "evening"},
        {"lesson": None},
        {"purpose": "evening", "lesson": None, "with_work": True},
    ],
    ids=["work-for-a-lesson", "evening-for-a-lesson", "for-nothing", "evening-work"],
)
def test_the_database_keeps_one_purpose(fields):
    one = ChangeoverFactory()
    if fields.pop("with_work", False):
        fields["before_work"] = YardWorkFactory()

    with pytest.raises(IntegrityError), transaction.atomic():
        Changeover.objects.filter(pk=one.pk).update(**fields)


def test_the_evening_strip_after_everybodys_hours_is_for_who_works_last():
    small_day(windows=False)
    Groundsperson.objects.update(works_from=time(7), works_to=time(12))
    last = GroundspersonFactory(
        person__first_name="Sietske", works_from=time(7), works_to=time(13)
    )
    set_evening(strips=True, by=None, now=NOW)
    published()

    one = only("evening")

    assert one.who == last
    assert who_words(one, ZONE) == "Sietske, outside their hours (07:00 to 13:00)"


def test_where_nobody_has_hours_the_evening_strip_says_so():
    small_day(windows=False)
    Groundsperson.objects.all().delete()
    set_evening(strips=True, by=None, now=NOW)
    published()

    assert who_words(only("evening"), ZONE) == "nobody has hours then"
