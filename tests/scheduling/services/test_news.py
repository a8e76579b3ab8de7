"""What is new since somebody looked, told by the rows of the list in the hand."""

from uuid import uuid4

import pytest

from scheduling.models import Changeover, DayPlan
from scheduling.services.news import as_data, news_of_day, progress_words
from school.models import Lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.yard import YardWorkFactory
from tests.scheduling.days import cross, oxer

pytestmark = pytest.mark.django_db


@pytest.fixture
def old() -> Changeover:
    SchoolFactory()
    one = ChangeoverFactory(
        plan=DayPlanFactory(state="published", published_at=NOW),
        lesson__title="Pony group",
        note="two cups",
    )
    for n, place in enumerate((300, 1240), start=1):
        ChangeoverMoveFactory(changeover=one, position=n, now=cross(place))
    return one


def anew(one: Changeover, *elements, **other) -> Changeover:
    DayPlan.objects.update(state="replaced")
    new = ChangeoverFactory(
        plan=DayPlanFactory(state="published", published_at=at("09:00")),
        **{"lesson": one.lesson, "line": one.line, "uid": one.uid} | other,
    )
    for n, element in enumerate(elements, start=1):
        ChangeoverMoveFactory(changeover=new, position=n, now=element)
    return new


def test_without_a_plan_there_is_no_news() -> None:
    assert not news_of_day(SATURDAY).words
    assert news_of_day(SATURDAY).plan is None


def test_an_unchanged_list_tells_who_is_how_far(old: Changeover) -> None:
    move = old.moves.get(position=2)
    move.ticked_at = at("09:46")
    move.save()
    Changeover.objects.update(started_at=at("09:45"))

    news = as_data(news_of_day(SATURDAY, old.plan_id))

    assert (news["plan"], news["added"]) == (old.plan_id, [])
    assert news["rows"] == [
        {
            "id": old.pk,
            "name": "08:45 for Pony group",
            "started": "08:45",
            "done": "",
            "note": ["two cups"],
            "over": "",
            "changed": [],
            "moves": {old.moves.get(position=1).pk: False, move.pk: True},
        }
    ]


def test_an_older_list_is_told_in_its_own_rows_what_changed(old: Changeover) -> None:
    new = anew(
        old,
        oxer(500),
        cross(1240),
        starts_at=at("10:00"),
        ends_at=at("10:12"),
        who=GroundspersonFactory(person__first_name="Okke"),
    )
    new.moves.filter(position=2).update(ticked_at=at("10:01"))

    news = news_of_day(SATURDAY, old.plan_id)

    (row,) = news.rows
    assert news.words[0].startswith("08:45 for Pony group: Now 09:00 to 09:12")
    assert (news.plan, row.now_pk) == (new.plan_id, new.pk)
    assert row.pk == old.pk
    assert row.ticked == {old.moves.get(position=2).pk: True}
    assert row.changed[:2] == (
        "Now 09:00 to 09:12 instead of 08:45 to 08:57.",
        "Now for Okke.",
    )
    assert row.changed[2].startswith("New step: Build an oxer")
    assert row.changed[3].startswith("No longer: Build a cross")


def test_what_is_nobodys_and_comes_in_another_order_is_said(old: Changeover) -> None:
    old.who = GroundspersonFactory()
    old.save()
    anew(old, cross(1240), cross(300))

    (row,) = news_of_day(SATURDAY, old.plan_id).rows

    assert row.changed == (
        "Now for nobody yet.",
        "The steps come in another order.",
    )


def test_a_cancelled_lesson_says_since_when(old: Changeover) -> None:
    Lesson.objects.update(
        state="cancelled", state_reason="ill", state_at=at("09:40"), title="Cobs"
    )

    (row,) = news_of_day(SATURDAY, old.plan_id).rows

    assert row.over.startswith("Cobs was cancelled at 08:40:")


def test_work_that_is_no_more_and_work_that_is_new_are_said(old: Changeover) -> None:
    later = LessonFactory(title="Cobs", starts_at=at("15:00"))
    new = anew(old, lesson=later, uid=uuid4())

    news = news_of_day(SATURDAY, old.plan_id)

    assert news.rows[0].over == "The plan was changed: this is no longer on the list."
    assert news.added == (
        f"New: 08:45 to 08:57, {old.line.arena.name}, {old.line.name}, for Cobs.",
    )
    Lesson.objects.filter(pk=new.lesson_id).update(
        state="cancelled", state_reason="rain"
    )
    assert news_of_day(SATURDAY, old.plan_id).added == ()


def test_a_plan_of_another_day_is_not_compared_with(old: Changeover) -> None:
    other = DayPlanFactory(date=NOW.date())

    assert not news_of_day(SATURDAY, other.pk).words


def test_how_far_it_is_is_said(old: Changeover) -> None:
    assert progress_words(old) == ""
    old.started_at = at("09:45")
    assert progress_words(old) == "Started 08:45, 0 of 2 steps"
    old.done_at = at("09:56")
    assert progress_words(old) == "Done 08:56"


@pytest.mark.parametrize("n", [1, 3])
def test_news_take_as_many_queries_for_three_rows_as_for_one(
    old: Changeover, n: int, django_assert_num_queries
) -> None:
    for _ in range(n - 1):
        one = ChangeoverFactory(plan=old.plan, who=GroundspersonFactory())
        ChangeoverMoveFactory(changeover=one)

    for k in range(n):
        YardWorkFactory(starts_at=at(f"1{k}:00"))

    with django_assert_num_queries(5):
        as_data(news_of_day(SATURDAY, old.plan_id))


def ground(news):
    return [one for one in as_data(news)["rows"] if str(one["id"]).startswith("work-")]


def test_work_of_the_ground_is_told_without_a_plan_too() -> None:
    work = YardWorkFactory(started_at=at("13:02"), note="The ground: too wet")

    (row,) = ground(news_of_day(SATURDAY))

    assert row["id"] == f"work-{work.pk}"
    assert row["started"] == "12:02"  # as the zone of the tests has it
    assert row["note"] == ["The ground: too wet"]
    assert row["fresh"] == f"New: 12:00 Harrowing, {work.arena.name}."


def test_work_called_off_on_its_day_says_so_and_before_it_is_left_out() -> None:
    SchoolFactory()
    off = {"closure": None}
    YardWorkFactory(called_off_at=at("08:00"), **off)
    YardWorkFactory(called_off_at=NOW, starts_at=at("15:00"), **off)

    (row,) = ground(news_of_day(SATURDAY))

    assert "called off at 08:00" in row["over"]
    assert row["fresh"] == ""
