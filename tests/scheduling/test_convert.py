from datetime import time, timedelta

import pytest

from scheduling.convert.clock import moment
from scheduling.convert.days import day_document, fingerprint
from scheduling.convert.lessons import is_lesson
from scheduling.dayplan.check import check_plan
from scheduling.dayplan.document import read_day
from scheduling.dayplan.order import order_day
from scheduling.models import Standing
from scheduling.queries.days import day_rows
from school.models import ArenaClosure, HorseState, InstructorHours
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory, LineFactory, StorePieceFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.factories.welfare import WelfareOverrideFactory
from tests.factories.yard import ArenaClosureFactory
from tests.scheduling.days import cross
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db


def document():
    return day_document(day_rows(SATURDAY))


def lesson_of(data, lesson):
    return next(one for one in data["lessons"] if one["id"] == f"lesson-{lesson.pk}")


def test_a_day_of_the_records_is_a_day_file():
    small_day()

    day = read_day(document())

    assert len(day.lessons) == 3
    assert all(lesson.grid for lesson in day.lessons)


def test_a_school_without_lessons_has_a_day_file_too():
    SchoolFactory()

    assert read_day(document()).lessons == ()


def test_a_lesson_holds_its_instructor_riders_and_horses():
    SchoolFactory()
    lesson = LessonFactory()
    ride = RideFactory(lesson=lesson)

    data = lesson_of(document(), lesson)

    assert data["people"] == [
        f"person-{lesson.instructor_id}",
        f"person-{ride.rider_id}",
    ]
    assert data["horses"] == [f"horse-{ride.horse_id}"]


def test_a_lesson_without_a_window_is_fixed():
    SchoolFactory()
    lesson = LessonFactory(starts_at=at("09:20"))

    data = lesson_of(document(), lesson)

    assert (data["not_before"], data["not_after"]) == ("09:20", "09:20")
    assert data["booked"] == {"start": "09:20", "arena": f"arena-{lesson.arena_id}"}


def test_a_cancelled_or_only_asked_lesson_is_not_planned():
    SchoolFactory()
    LessonFactory(state="cancelled", state_reason="ill")
    LessonFactory(state="asked")

    assert document()["lessons"] == []


def test_a_running_lesson_stays_where_it_is():
    SchoolFactory()
    lesson = LessonFactory(
        state="running", window_from=at("08:00"), window_to=at("10:00")
    )

    assert lesson_of(document(), lesson)["not_after"] == "09:00"


def test_a_lesson_may_go_to_its_other_arenas_too():
    SchoolFactory()
    lesson, other = LessonFactory(), ArenaFactory()
    lesson.other_arenas.add(other)

    assert lesson_of(document(), lesson)["arenas"] == [
        f"arena-{lesson.arena_id}",
        f"arena-{other.pk}",
    ]


def test_a_horses_vet_visit_ends_the_window():
    SchoolFactory()
    lesson = LessonFactory(window_from=at("08:00"), window_to=at("14:00"))
    horse = RideFactory(lesson=lesson).horse
    HorseState.objects.create(
        horse=horse,
        kind="vet",
        state_from=at("12:00"),
        state_to=at("13:00"),
        reason="teeth",
    )

    data = lesson_of(document(), lesson)

    assert (data["not_before"], data["not_after"]) == ("08:00", "11:00")


def test_a_horse_off_without_an_end_ends_the_window():
    SchoolFactory()
    lesson = LessonFactory(window_from=at("08:00"), window_to=at("14:00"))
    horse = RideFactory(lesson=lesson).horse
    HorseState.objects.create(
        horse=horse, kind="rest", state_from=at("11:30"), reason="tired"
    )

    assert lesson_of(document(), lesson)["not_after"] == "10:30"


def test_an_instructors_hours_bound_the_window():
    SchoolFactory()
    lesson = LessonFactory(window_from=at("08:00"), window_to=at("14:00"))
    InstructorHours.objects.create(
        instructor=lesson.instructor,
        weekday=SATURDAY.weekday(),
        from_at=time(8, 30),
        to_at=time(12),
    )

    data = lesson_of(document(), lesson)

    assert (data["not_before"], data["not_after"]) == ("08:30", "11:00")


def test_a_closed_arena_is_kept_free_by_an_entry_of_its_own():
    SchoolFactory()
    arena = ArenaFactory()
    ArenaClosure.objects.create(
        arena=arena, closed_from=at("10:00"), closed_to=at("11:30"), reason="harrowing"
    )

    (entry,) = document()["lessons"]

    assert not is_lesson(entry["id"])
    assert entry["arenas"] == [f"arena-{arena.pk}"]
    assert (entry["not_before"], entry["minutes"]) == ("10:00", 90)


def test_an_arena_that_opens_later_or_closes_earlier_is_kept_free_then():
    SchoolFactory()
    ArenaFactory(opens_at=time(8), closes_at=time(20))
    ArenaFactory(opens_at=time(9), closes_at=time(18))

    entries = document()["lessons"]

    assert [(one["not_before"], one["minutes"]) for one in entries] == [
        ("08:00", 60),
        ("18:00", 120),
    ]
    assert all(one["cool_down_min"] == one["minutes"] for one in entries)


def test_the_store_counts_working_pieces_of_every_place():
    SchoolFactory()
    StorePieceFactory(piece="pole", place="barn", working=30, broken=2)
    StorePieceFactory(piece="pole", place="field", working=20)

    assert document()["stock"] == {"pole": 50}


def test_what_stands_is_in_the_day_file():
    SchoolFactory()
    line = LineFactory()
    Standing.objects.create(line=line, elements=[cross(1200)], as_of_at=NOW)

    assert document()["arenas"][0]["lines"][0]["standing"] == [cross(1200)]


@pytest.mark.parametrize(
    ("people", "crew"),
    [
        ([], {"crew": 1}),
        ([(7, 20, True)], {"crew": 1, "crew_from": "07:00", "crew_to": "20:00"}),
        (
            [(7, 15, True), (9, 18, True)],
            {"crew": 2, "crew_from": "09:00", "crew_to": "15:00"},
        ),
        (
            [(7, 12, True), (12, 20, True)],
            {"crew": 1, "crew_from": "12:00", "crew_to": "20:00"},
        ),
        (
            [(7, 20, False), (7, 20, False)],
            {"crew": 1, "crew_from": "07:00", "crew_to": "20:00"},
        ),
    ],
    ids=["nobody", "one", "overlap", "shifts", "pair"],
)
def test_the_crew_is_who_is_there(people, crew):
    SchoolFactory()
    for first, last, alone in people:
        GroundspersonFactory(works_from=time(first), works_to=time(last), alone=alone)

    data = document()

    assert {key: data[key] for key in data if key.startswith("crew")} == crew


def test_the_fingerprint_does_not_depend_on_the_order_of_keys():
    assert fingerprint({"a": 1, "b": [2]}) == fingerprint({"b": [2], "a": 1})


def test_the_fingerprint_changes_with_a_grid():
    _, _, lessons = small_day()
    before = fingerprint(document())
    lessons[0].grid.delete()

    assert fingerprint(document()) != before


def test_a_clock_time_of_the_plan_is_a_moment_of_the_day():
    SchoolFactory()
    rows = day_rows(SATURDAY)

    assert moment(rows, "09:30") == at("09:30")
    assert moment(rows, "24:00").date().day == SATURDAY.day + 1


def test_reading_a_day_takes_as_many_queries_for_three_lessons_as_for_one(
    django_assert_num_queries,
):
    SchoolFactory()
    for n in range(3):
        lesson = LessonFactory(starts_at=at(f"{9 + 2 * n:02d}:00"))
        RideFactory(lesson=lesson)
        grid_of(lesson)
        if n in {0, 2}:
            with django_assert_num_queries(17):
                document()


def test_a_closure_over_several_days_fills_the_day():
    SchoolFactory()
    ArenaFactory(opens_at=time(8), closes_at=time(20))
    ArenaClosure.objects.create(
        arena=ArenaFactory(opens_at=time(8), closes_at=time(20)),
        closed_from=at("10:00", SATURDAY - timedelta(days=2)),
        closed_to=at("10:00", SATURDAY + timedelta(days=2)),
        reason="new surface",
    )

    (entry,) = document()["lessons"]

    assert (entry["not_before"], entry["minutes"]) == ("08:00", 12 * 60)


def test_what_forbids_the_booked_start_itself_leaves_the_window():
    SchoolFactory()
    lesson = LessonFactory(window_from=at("08:00"), window_to=at("14:00"))
    InstructorHours.objects.create(
        instructor=lesson.instructor,
        weekday=SATURDAY.weekday(),
        from_at=time(9, 30),
        to_at=time(18),
    )

    data = lesson_of(document(), lesson)

    assert (data["not_before"], data["not_after"]) == ("08:00", "14:00")


def test_what_was_overruled_is_a_horses_limit_for_the_day():
    SchoolFactory()
    lesson = LessonFactory()
    horse = RideFactory(lesson=lesson).horse
    for rule, figure in (("rest", 15), ("lessons-day", 4), ("minutes-day", 250)):
        WelfareOverrideFactory(lesson=lesson, horse=horse, rule=rule, figure=figure)
    other = RideFactory(lesson=lesson).horse

    limits = {one.pop("id"): one for one in document()["horses"]}

    assert limits[f"horse-{horse.pk}"] == {
        "rest_min": 15, "max_lessons": 4, "max_minutes": 250,
    }  # fmt: skip
    assert limits[f"horse-{other.pk}"]["max_minutes"] == 180


def dark_entries():
    return {
        one["id"].rpartition("-arena-")[0]: one
        for one in document()["lessons"]
        if not is_lesson(one["id"])
    }


def test_nothing_is_planned_in_the_dark_where_there_are_no_lights():
    SchoolFactory(latitude=52.37, longitude=4.9)
    ArenaFactory(opens_at=time(6), closes_at=time(20))

    entries = dark_entries()

    # Early in March the sun rises a little past seven and sets before half past six.
    # Somebody works from an hour before the arena opens: the dark holds then too.
    assert set(entries) == {"dark-until", "dark-from"}
    assert entries["dark-until"]["booked"]["start"] == "05:00"
    assert 120 <= entries["dark-until"]["minutes"] <= 140
    assert entries["dark-until"]["cool_down_min"] == 0
    assert "18:2" in entries["dark-from"]["booked"]["start"]
    assert entries["dark-from"]["cool_down_min"] == 0


def test_a_lit_arena_has_no_dark():
    SchoolFactory(latitude=52.37, longitude=4.9)
    ArenaFactory(opens_at=time(6), closes_at=time(20), lit=True)

    assert dark_entries() == {}


def test_the_dark_gives_way_to_what_is_booked_in_it():
    SchoolFactory(latitude=52.37, longitude=4.9)
    arena = ArenaFactory(opens_at=time(6), closes_at=time(20))
    LessonFactory(arena=arena, starts_at=at("18:30"))

    assert dark_entries()["dark-from"]["booked"]["start"] == "19:30"
    assert read_day(document())


def harrowed(arena, clock, **more):
    return ArenaClosureFactory(arena=arena, closed_from=at(clock), **more)


def off(lesson):
    lesson.state, lesson.state_reason = "cancelled", "ill"
    lesson.save()


def entries(data, name):
    return [
        (one["not_before"], one["minutes"], one["needs_clear"], one["cool_down_min"])
        for one in data["lessons"]
        if one["id"].startswith(name)
    ]


def test_a_harrow_lets_nothing_stand_and_no_changeover_be_made():
    SchoolFactory()
    harrowed(ArenaFactory(), "13:00")

    assert entries(document(), "closure") == [("13:00", 25, True, 0)]


def test_before_the_first_hour_a_harrow_opens_the_day_for_changeovers_alone():
    SchoolFactory()
    harrowed(ArenaFactory(opens_at=time(8)), "07:00")
    ArenaFactory(opens_at=time(8))

    data = document()

    assert data["opens"] == "07:00"
    assert entries(data, "closure") == [("07:00", 25, True, 0)]
    assert sorted(entries(data, "hours-from")) == [
        ("07:00", 60, False, 60),
        ("07:25", 35, False, 35),
    ]
    read_day(data)


def test_after_the_last_hour_a_harrow_closes_the_day_later():
    SchoolFactory()
    harrowed(ArenaFactory(closes_at=time(20)), "20:30")

    data = document()

    assert data["closes"] == "20:55"
    assert entries(data, "hours-to") == [("20:00", 30, False, 30)]


def test_what_stands_is_stripped_before_the_harrow_and_built_again_after_it():
    arena, _, lessons = small_day(windows=False)
    off(lessons[1])
    harrowed(arena, "10:30")

    plan = order_day(document(), seconds=120)

    before = [one for one in plan["resets"] if one["for"].startswith("closure")]
    after = [one for one in plan["resets"] if one["from"] >= "10:55"]
    assert plan["status"] == "proved"
    assert [[m["do"] for m in one["moves"]] for one in before] == [["strip", "strip"]]
    assert all("10:00" <= one["from"] < one["to"] <= "10:30" for one in before)
    assert [[m["do"] for m in one["moves"]] for one in after] == [["build", "build"]]


def test_a_harrow_without_time_to_take_the_poles_off_first_can_not_be():
    arena, _, lessons = small_day(windows=False)
    off(lessons[2])
    harrowed(arena, "11:30")

    assert order_day(document(), seconds=120)["status"] == "impossible"


def test_what_is_built_before_the_arenas_open_waits_for_the_light():
    SchoolFactory(latitude=52.37, longitude=4.9)
    GroundspersonFactory(works_from=time(6), works_to=time(18))
    dark = LineFactory(arena=ArenaFactory(opens_at=time(7, 15), closes_at=time(18)))
    lit = LineFactory(
        arena=ArenaFactory(opens_at=time(7, 15), closes_at=time(18), lit=True)
    )
    for line, hour in ((dark, "08:00"), (lit, "07:30")):
        grid_of(LessonFactory(arena=line.arena, starts_at=at(hour)), cross(0))

    data = document()
    plan = order_day(data, seconds=120)

    assert (data["opens"], data["crew_from"]) == ("06:00", "06:00")
    assert check_plan(read_day(data), plan) == []
    begins = {one["line"]: one["from"] for one in plan["resets"]}
    # The sun rises at sixteen past seven.
    assert begins[f"line-{dark.pk}"] >= "07:17"
    assert begins[f"line-{lit.pk}"] >= "06:00"
    assert len(begins) == 2


def test_a_reset_before_sunrise_is_told_against_by_the_judge():
    SchoolFactory(latitude=52.37, longitude=4.9)
    line = LineFactory(arena=ArenaFactory(opens_at=time(8), closes_at=time(18)))
    grid_of(LessonFactory(arena=line.arena, starts_at=at("08:00")), cross(0))
    GroundspersonFactory(works_from=time(6), works_to=time(18))
    data = document()
    plan = order_day(data, seconds=120)
    (reset,) = plan["resets"]
    length = at(reset["to"]) - at(reset["from"])
    early = {"from": "06:30", "to": f"{at('06:30') + length:%H:%M}"}

    broken = check_plan(read_day(data), {**plan, "resets": [reset | early]})

    assert [one.rule for one in broken] == ["arena ridden"]


def test_a_lesson_booked_before_sunrise_is_built_for_before_sunrise():
    SchoolFactory(latitude=52.37, longitude=4.9)
    arena = ArenaFactory(opens_at=time(6), closes_at=time(20))
    LessonFactory(arena=arena, starts_at=at("06:30"))

    early = dark_entries()["dark-until"]

    assert early["minutes"] == early["cool_down_min"] == 90
