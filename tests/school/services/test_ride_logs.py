"""Logging what was ridden: once it has begun, once a tap, corrected but kept."""

from datetime import timedelta
from uuid import UUID

import pytest

from school.models import AuditEntry, Lesson, LessonGrid, RideLog
from school.queries.ride_logs import log_of
from school.services.ride_logs import Entry, Noted, RodeAs, UnableToLog, log_ride
from tests.clock import at
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory
from tests.factories.ride_logs import STAGES

pytestmark = pytest.mark.django_db

AFTER = at("10:05")


def ridden_lesson(**changes) -> Lesson:
    lesson = RideFactory(
        lesson=LessonFactory(title="Jump", starts_at=at("09:00"), **changes),
        horse__name="Onyx",
        rider__person__first_name="Mira",
    ).lesson
    LessonGrid.objects.create(
        lesson=lesson,
        revision=ExerciseRevisionFactory(),
        tradition="schooling",
        start=STAGES[0]["elements"],
        end=STAGES[-1]["elements"],
        fitted={"stages": STAGES},
        approach_cm=700,
        runout_cm=700,
    )
    return lesson


def entry(lesson: Lesson, **changes) -> Entry:
    fields = {
        "token": UUID(int=7),
        "corrects": 0,
        "stage": 2,
        "passes": 4,
        "rides": tuple(RodeAs(one.pk) for one in lesson.rides.order_by("pk")),
    }
    return Entry(**(fields | changes))


def log(lesson: Lesson, *, by=None, now=AFTER, **changes) -> RideLog:
    return log_ride(lesson=lesson, entry=entry(lesson, **changes), by=by, now=now)


def only_ride(lesson: Lesson, **changes) -> tuple[RodeAs, ...]:
    return (RodeAs(lesson.rides.get().pk, **changes),)


def test_a_log_keeps_stage_passes_and_efforts_of_every_horse() -> None:
    lesson = ridden_lesson()
    by = AccountFactory()

    log(lesson, by=by)

    kept = log_of(lesson)
    (ridden,) = kept.ridden.all()
    assert (kept.number, kept.stage, kept.passes) == (1, 2, 4)
    assert (kept.logged_by, kept.logged_at) == (by, AFTER)
    assert (ridden.horse.name, ridden.went, ridden.passes) == ("Onyx", "good", 4)
    # One cross three times, then cross and vertical four times: 3 + 8 efforts.
    assert ridden.quarter_efforts == 44
    assert AuditEntry.objects.get().action == "log ride"


def test_a_log_keeps_the_stages_though_the_grid_goes() -> None:
    lesson = ridden_lesson()
    log(lesson)

    lesson.grid.delete()

    assert log_of(lesson).stages == STAGES


def test_what_happened_is_kept_by_horse_and_element() -> None:
    lesson = ridden_lesson()
    notes = (Noted("knocks behind", 2, often=True), Noted("refusing"))

    log(lesson, rides=only_ride(lesson, went="mixed", passes=2, notes=notes))

    (ridden,) = log_of(lesson).ridden.all()
    assert (ridden.went, ridden.passes) == ("mixed", 2)
    assert [(n.what, n.element, n.often) for n in ridden.notes.all()] == [
        ("knocks behind", 2, True),
        ("refusing", None, False),
    ]


def test_the_same_note_twice_is_one() -> None:
    lesson = ridden_lesson()
    notes = (Noted("flat", 1), Noted("flat", 1))

    log(lesson, rides=only_ride(lesson, notes=notes))

    (ridden,) = log_of(lesson).ridden.all()
    assert ridden.notes.count() == 1


@pytest.mark.parametrize(
    ("fields", "went"), [({"stage": 0}, "good"), ({}, "not-ridden")]
)
def test_who_did_not_jump_has_no_passes_efforts_or_faults(fields, went) -> None:
    lesson = ridden_lesson()
    rides = only_ride(lesson, went=went, notes=(Noted("flat", 1),))

    log(lesson, rides=rides, **fields)

    (ridden,) = log_of(lesson).ridden.all()
    assert (ridden.went, ridden.passes, ridden.quarter_efforts) == ("not-ridden", 0, 0)
    assert not ridden.notes.exists()


def test_a_second_tap_is_the_same_log() -> None:
    lesson = ridden_lesson()

    first, second = log(lesson), log(lesson)

    assert first == second
    assert RideLog.objects.count() == 1
    assert AuditEntry.objects.count() == 1


def test_a_form_logs_one_lesson_only() -> None:
    log(ridden_lesson())
    other = RideFactory(lesson__title="Other", lesson__starts_at=at("14:00")).lesson

    with pytest.raises(UnableToLog, match="open the page of Other again"):
        log(other, now=at("15:00"))


def test_a_correction_stands_beside_what_it_corrects() -> None:
    lesson = ridden_lesson()
    log(lesson)

    log(lesson, token=UUID(int=8), corrects=1, stage=1, measured={}, note=" Hurried ")

    assert log_of(lesson).stage == 1
    assert log_of(lesson).note == "Hurried"
    assert [one.stage for one in lesson.logs.order_by("number")] == [2, 1]
    entry_ = AuditEntry.objects.get(action="correct log")
    assert (entry_.before["stage"], entry_.after["stage"]) == (2, 1)


@pytest.mark.parametrize(("by", "who"), [("vera", "vera"), (None, "Somebody")])
def test_two_writers_see_each_other(by, who) -> None:
    lesson = ridden_lesson()
    log(lesson, by=AccountFactory(username=by) if by else None)

    with pytest.raises(UnableToLog, match=f"{who} logged this lesson") as caught:
        log(lesson, token=UUID(int=8))

    assert caught.value.code == "changed-meanwhile"
    assert RideLog.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"state": "asked"}, "not-held"),
        ({"state": "cancelled", "state_reason": "rain"}, "not-held"),
    ],
)
def test_a_lesson_that_is_not_held_has_no_log(changes, code) -> None:
    with pytest.raises(UnableToLog, match="nothing to log") as caught:
        log(ridden_lesson(**changes))

    assert caught.value.code == code


def test_a_log_waits_until_the_lesson_has_begun() -> None:
    lesson = ridden_lesson()

    with pytest.raises(UnableToLog, match="Jump has not begun"):
        log(lesson, now=lesson.starts_at - timedelta(seconds=1))
    assert log(lesson, now=lesson.starts_at).number == 1


def test_a_lesson_without_a_grid_has_no_log() -> None:
    lesson = ridden_lesson()
    lesson.grid.delete()

    with pytest.raises(UnableToLog, match="Jump has no grid"):
        log(lesson)


def test_a_rider_without_a_horse_is_named() -> None:
    lesson = ridden_lesson()
    lesson.rides.update(horse=None)

    with pytest.raises(UnableToLog, match="Give Mira the horse that was ridden first"):
        log(lesson)


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"stage": 4}, "stage"),
        ({"stage": -1}, "stage"),
        ({"passes": 21}, "passes"),
        ({"passes": -1}, "passes"),
        ({"measured": {1: 640}}, "measured"),
        ({"measured": {3: 640}}, "measured"),
        ({"measured": {2: 4000}}, "measured"),
        ({"measured": {2: 0}}, "measured"),
        ({"rides": (RodeAs(999),)}, "no-such-ride"),
    ],
)
def test_figures_the_grid_does_not_have_are_refused(fields, code) -> None:
    lesson = ridden_lesson()

    with pytest.raises(UnableToLog) as caught:
        log(lesson, **fields)

    assert caught.value.code == code
    assert caught.value.says.endswith(".")
    assert not RideLog.objects.exists()


@pytest.mark.parametrize(
    ("rode", "code"),
    [
        ({"went": "fine"}, "went"),
        ({"passes": 21}, "passes"),
        ({"notes": (Noted("sneezed"),)}, "note"),
        ({"notes": (Noted("flat", 3),)}, "note"),
        ({"notes": (Noted("flat", 0),)}, "note"),
    ],
)
def test_what_cannot_have_happened_is_refused(rode, code) -> None:
    lesson = ridden_lesson()

    with pytest.raises(UnableToLog) as caught:
        log(lesson, rides=only_ride(lesson, **rode))

    assert caught.value.code == code
    assert not RideLog.objects.exists()


def test_a_changed_distance_is_kept() -> None:
    lesson = ridden_lesson()

    log(lesson, measured={2: 640})

    assert log_of(lesson).measured == [{"gap": 2, "cm": 640}]


def test_a_grid_that_kept_no_stages_has_what_was_built_and_what_it_ended_as() -> None:
    lesson = ridden_lesson()
    lesson.grid.fitted = {}
    lesson.grid.save()

    log(lesson)

    assert [one["says"] for one in log_of(lesson).stages] == ["As built", "As it ends"]


def test_a_grid_that_does_not_change_has_one_stage() -> None:
    lesson = ridden_lesson()
    lesson.grid.fitted, lesson.grid.end = {}, lesson.grid.start
    lesson.grid.save()

    with pytest.raises(UnableToLog, match="a stage from 1 to 1"):
        log(lesson)
