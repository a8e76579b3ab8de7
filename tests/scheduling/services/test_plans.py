from datetime import time, timedelta

import pytest

from scheduling.convert.days import day_document, fingerprint
from scheduling.models import Changeover, DayPlan, Standing
from scheduling.queries.changeovers import (
    changeovers_of_day,
    changeovers_of_groundsperson,
)
from scheduling.queries.days import day_rows
from scheduling.queries.plans import draft_of_day, plan_of_day
from scheduling.services.changeovers import finish_changeover, start_changeover
from scheduling.services.plans import (
    UnableToPlan,
    UnableToPublish,
    is_stale,
    make_plan,
    publish_plan,
    store_plan,
)
from school.models import (
    ArenaClosure,
    AuditEntry,
    InstructorHours,
    Invitation,
    Lesson,
    LessonGrid,
    Line,
    School,
)
from school.services.lessons import cancel_lesson, move_lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.scheduling.days import cross
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)


def made(**kwargs):
    return make_plan(date=SATURDAY, by=None, now=NOW, seconds=120, **kwargs)


def published():
    return publish_plan(plan=made(), by=None, now=NOW)


def test_a_plan_is_kept_as_a_draft_with_its_proof():
    small_day()

    plan = made()

    assert plan.state == "draft"
    assert plan.status == "proved"
    assert plan.objective_s == plan.bound_s
    assert plan.reset_s < plan.as_booked_reset_s
    assert plan.lessons.count() == 3
    assert plan.changeovers.count() == len(plan.plan["resets"])


def test_a_draft_moves_nothing():
    _, _, lessons = small_day()

    made()

    for lesson in lessons:
        was = lesson.starts_at
        lesson.refresh_from_db()
        assert lesson.starts_at == was


def test_a_newer_draft_takes_the_place_of_the_older():
    small_day()

    first, second = made(), made()

    first.refresh_from_db()
    assert (first.state, second.version) == ("replaced", 2)
    assert draft_of_day(SATURDAY) == plan_of_day(SATURDAY) == second


def test_publishing_moves_the_lessons_to_where_the_plan_has_them():
    _, _, lessons = small_day()

    plan = published()

    for planned in plan.lessons.select_related("lesson"):
        assert planned.lesson.starts_at == planned.starts_at
    starts = []
    for lesson in lessons:
        lesson.refresh_from_db()
        starts.append(lesson.starts_at)
    # The two alike stand next to each other now.
    assert sorted(starts).index(starts[1]) in {0, 2}


def test_publishing_tells_the_clients_who_were_moved():
    small_day()

    plan = published()

    moved = [
        one.lesson_id
        for one in plan.lessons.all()
        if Invitation.objects.filter(lesson=one.lesson_id).exists()
    ]
    assert moved
    assert plan_of_day(SATURDAY) == plan


def test_publishing_twice_is_harmless():
    small_day()
    plan = published()
    entries = AuditEntry.objects.count()

    publish_plan(plan=plan, by=None, now=LATER)

    assert AuditEntry.objects.count() == entries


def test_a_published_plan_is_not_out_of_date():
    small_day()

    assert not is_stale(published())


def test_a_plan_is_out_of_date_once_a_lesson_is_cancelled():
    _, _, lessons = small_day()
    plan = made()
    cancel_lesson(lesson=lessons[0], reason="ill", by=None, now=LATER)

    assert is_stale(plan)
    with pytest.raises(UnableToPublish, match=r"cancelled .*Order the day again"):
        publish_plan(plan=plan, by=None, now=LATER)


def test_a_stale_plan_names_the_lesson_that_changed():
    _, _, lessons = small_day()
    plan = made()
    move_lesson(lesson=lessons[0], starts_at=at("09:15"), version=1, by=None, now=LATER)

    with pytest.raises(UnableToPublish, match=r"Ride of 09:00 was changed"):
        publish_plan(plan=plan, by=None, now=LATER)


def test_a_stale_plan_changes_nothing():
    _, _, lessons = small_day()
    plan = made()
    cancel_lesson(lesson=lessons[0], reason="ill", by=None, now=LATER)

    with pytest.raises(UnableToPublish):
        publish_plan(plan=plan, by=None, now=LATER)

    plan.refresh_from_db()
    assert plan.state == "draft"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("line", "a line or what stands"),
        ("crew", "settings"),
        ("lesson", "was added"),
    ],
)
def test_a_stale_plan_says_what_changed(change, says):
    _, line, lessons = small_day()
    plan = made()
    if change == "line":
        Line.objects.filter(pk=line.pk).update(length_cm=5400)
    elif change == "crew":
        School.objects.update(start_every_min=15)
    else:
        lessons[0].pk = lessons[0].uuid = None
        lessons[0].uuid = "00000000-0000-0000-0000-000000000001"
        lessons[0].starts_at, lessons[0].ends_at = at("15:00"), at("16:00")
        lessons[0].window_from = lessons[0].window_to = None
        lessons[0].save()

    with pytest.raises(UnableToPublish, match=says):
        publish_plan(plan=plan, by=None, now=LATER)


def test_a_replaced_draft_can_not_be_published():
    small_day()
    plan = made()
    made()

    with pytest.raises(UnableToPublish, match="newer plan"):
        publish_plan(plan=plan, by=None, now=NOW)


def test_a_plan_that_breaks_a_rule_can_not_be_published():
    _, line, _ = small_day(windows=False)
    Line.objects.filter(pk=line.pk).update(length_cm=1500)
    plan = made()

    assert plan.status == "impossible"
    with pytest.raises(UnableToPublish, match="breaks a rule"):
        publish_plan(plan=plan, by=None, now=NOW)


def test_a_day_that_makes_no_day_file_is_refused_in_words():
    _, line, _ = small_day()
    Standing.objects.create(line=line, elements=[cross(5490)], as_of_at=NOW)
    Line.objects.filter(pk=line.pk).update(length_cm=5000)

    with pytest.raises(UnableToPlan, match="beyond the line's ends"):
        made()


def test_one_plan_of_a_day_is_published():
    small_day()
    first = published()
    second = published()

    first.refresh_from_db()
    assert first.state == "replaced"
    assert plan_of_day(SATURDAY) == second


def test_a_changeover_keeps_its_calendar_entry_from_plan_to_plan():
    small_day()
    first = {one.uid for one in published().changeovers.all()}
    second = {one.uid for one in published().changeovers.all()}

    assert first == second


def test_a_changeover_is_given_to_who_is_on_duty():
    small_day()
    published()
    everyone = changeovers_of_day(SATURDAY)
    who = everyone[0].who

    assert who is not None
    mine = changeovers_of_groundsperson(who, at("00:00"), at("23:00"))
    assert mine == everyone


def test_what_was_done_stays_done_in_the_next_plan():
    small_day()
    published()
    one = changeovers_of_day(SATURDAY)[0]
    start_changeover(changeover=one, by=None, now=at("08:00"))
    finish_changeover(changeover=one, by=None, now=at("08:10"), note="wet sand")

    published()

    again = next(two for two in changeovers_of_day(SATURDAY) if two.uid == one.uid)
    assert again.pk != one.pk
    assert again.done_at == at("08:10")
    assert again.note == "wet sand"
    assert all(move.ticked_at for move in again.moves.all())


def test_working_off_the_list_does_not_make_the_plan_out_of_date():
    small_day()
    plan = published()
    one = changeovers_of_day(SATURDAY)[0]
    start_changeover(changeover=one, by=None, now=at("08:00"))
    finish_changeover(changeover=one, by=None, now=at("08:10"))

    assert not is_stale(plan)


def test_a_cancelled_lesson_has_no_changeover_any_more():
    _, _, lessons = small_day()
    published()
    wanted = {one.lesson_id for one in changeovers_of_day(SATURDAY)}
    gone = next(one for one in lessons if one.pk in wanted)
    gone.refresh_from_db()
    cancel_lesson(lesson=gone, reason="ill", by=None, now=LATER)

    assert gone.pk not in {one.lesson_id for one in changeovers_of_day(SATURDAY)}


def test_two_changeovers_of_one_gap_keep_apart():
    small_day()
    rows = day_rows(SATURDAY)
    plan = dict(made().plan)
    plan["resets"] = [plan["resets"][0], plan["resets"][0]]

    again = store_plan(
        rows=rows, document=day_document(rows), plan=plan, by=None, now=NOW
    )

    assert len({one.uid for one in again.changeovers.all()}) == 2


def test_a_changeover_before_a_closure_is_shown_before_the_next_lesson():
    small_day()
    rows = day_rows(SATURDAY)
    plan = dict(made().plan)
    first = dict(plan["resets"][0]) | {"for": "closure-0-arena-1", "to": "08:30"}
    last = dict(plan["resets"][0]) | {
        "for": "closure-0-arena-1",
        "from": "19:00",
        "to": "19:30",
    }
    plan["resets"] = [first, last]

    again = store_plan(
        rows=rows, document=day_document(rows), plan=plan, by=None, now=NOW
    )

    (one,) = Changeover.objects.filter(plan=again)
    assert one.lesson.pk in {planned.lesson_id for planned in again.lessons.all()}


def test_nobody_on_duty_leaves_a_changeover_without_a_name():
    small_day()
    rows = day_rows(SATURDAY)
    plan = dict(made().plan)
    plan["resets"] = [dict(plan["resets"][0]) | {"from": "05:00", "to": "05:30"}]

    again = store_plan(
        rows=rows, document=day_document(rows), plan=plan, by=None, now=NOW
    )

    assert again.changeovers.get().who is None


def test_the_reset_list_takes_as_many_queries_for_three_rows_as_for_one(
    django_assert_num_queries,
):
    small_day()
    plan = published()

    def read():
        for one in changeovers_of_day(SATURDAY):
            (
                str(one.lesson),
                str(one.line.arena),
                str(one.who.person),
                list(one.moves.all()),
            )

    with django_assert_num_queries(2):
        read()
    extra = plan.changeovers.first()
    extra.pk, extra.uid = None, "00000000-0000-0000-0000-000000000009"
    extra.save()
    with django_assert_num_queries(2):
        read()


def test_no_lesson_is_put_into_a_closure():
    arena, _, lessons = small_day()
    Lesson.objects.filter(pk=lessons[1].pk).update(
        starts_at=at("13:00"), ends_at=at("14:00"), window_to=at("14:00")
    )
    ArenaClosure.objects.create(
        arena=arena, closed_from=at("10:00"), closed_to=at("11:30"), reason="frost"
    )

    plan = published()

    assert plan.status == "proved"
    for one in plan.lessons.select_related("lesson"):
        assert one.starts_at >= at("11:30") or one.lesson.ends_at <= at("10:00")
    assert all(
        one.starts_at >= at("11:30") or one.ends_at <= at("10:00")
        for one in plan.changeovers.all()
    )


def test_fences_may_be_built_before_an_arena_opens():
    arena, _, _ = small_day()
    ArenaFactory(opens_at=time(6))
    arena.opens_at = time(9)
    arena.save()

    plan = made()

    assert plan.status == "proved"
    first = plan.changeovers.order_by("starts_at", "pk")[0]
    assert first.ends_at <= at("09:00")


def test_a_lesson_that_can_not_be_moved_stops_the_publishing():
    _, _, lessons = small_day()
    plan = made()
    InstructorHours.objects.create(
        instructor=lessons[1].instructor,
        weekday=SATURDAY.weekday(),
        from_at=time(6),
        to_at=time(7),
    )
    DayPlan.objects.update(fingerprint=fingerprint(day_document(day_rows(SATURDAY))))
    plan.lessons.filter(lesson=lessons[1]).update(starts_at=at("11:00"))

    with pytest.raises(UnableToPublish, match="does not teach"):
        publish_plan(plan=plan, by=None, now=NOW)

    plan.refresh_from_db()
    assert plan.state == "draft"


def test_what_was_done_is_not_kept_where_the_work_is_another():
    small_day()
    published()
    one = changeovers_of_day(SATURDAY)[0]
    start_changeover(changeover=one, by=None, now=at("08:00"))
    finish_changeover(changeover=one, by=None, now=at("08:10"))
    LessonGrid.objects.filter(lesson=one.lesson).update(
        start=[cross(0, height_cm=60)], end=[cross(0, height_cm=60)]
    )

    published()

    again = [two for two in changeovers_of_day(SATURDAY) if two.uid == one.uid]
    assert [two.done_at for two in again] == [None]
