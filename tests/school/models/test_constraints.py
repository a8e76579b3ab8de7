"""Every rule the database keeps, each with a write that tries to break it.

The writes go past the services on purpose: what must hold holds whoever writes.
"""

from collections.abc import Callable
from datetime import date, time, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from school.models import (
    ArenaClosure,
    AuditEntry,
    Consent,
    GridOverride,
    Horse,
    HorseDayOff,
    HorseState,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    LessonGrid,
    LessonSeries,
    Occupancy,
    School,
    SeriesException,
    StorePiece,
)
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    ArenaFactory,
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.exercises import ExerciseFactory, ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
    PersonFactory,
    RiderFactory,
)
from tests.factories.ride_logs import (
    RiddenRideFactory,
    RideLogFactory,
    RideNoteFactory,
)
from tests.factories.schools import SchoolFactory
from tests.school.models.client_breaks import CLIENT_BREAKS
from tests.school.models.grid_breaks import GRID_BREAKS
from tests.school.models.mail_breaks import MAIL_BREAKS
from tests.school.models.plan_breaks import PLAN_BREAKS
from tests.school.models.rider_breaks import RIDER_BREAKS
from tests.school.models.table_breaks import TABLE_BREAKS
from tests.school.models.welfare_breaks import WELFARE_BREAKS
from tests.school.models.writes import series, twice
from tests.school.models.yard_breaks import YARD_BREAKS

pytestmark = pytest.mark.django_db


def series_lesson_twice() -> None:
    one = series()
    LessonFactory(series=one, series_date=SATURDAY)
    LessonFactory(series=one, series_date=SATURDAY)


def exception(reason: str = "holiday", of: LessonSeries | None = None) -> None:
    SeriesException.objects.create(series=of or series(), date=SATURDAY, reason=reason)


def exception_twice() -> None:
    one = series()
    twice(lambda: exception(of=one))


def closure(**changes: Any) -> None:
    fields: dict[str, Any] = {
        "closed_from": at("12:00"),
        "closed_to": at("13:00"),
        "reason": "harrowing",
    }
    ArenaClosure.objects.create(arena=ArenaFactory(), **(fields | changes))


def absence(**changes: Any) -> None:
    fields: dict[str, Any] = {
        "absent_from": at("12:00"),
        "absent_to": at("13:00"),
        "reason": "sick",
    }
    InstructorAbsence.objects.create(
        instructor=InstructorFactory(), **(fields | changes)
    )


def horse_state(**changes: Any) -> None:
    fields: dict[str, Any] = {
        "kind": "vet",
        "state_from": at("12:00"),
        "reason": "cough",
    }
    HorseState.objects.create(horse=HorseFactory(), **(fields | changes))


def day_off(weekday: int = 0, horse: Horse | None = None) -> None:
    HorseDayOff.objects.create(horse=horse or HorseFactory(), weekday=weekday)


def day_off_twice() -> None:
    horse = HorseFactory()
    twice(lambda: day_off(horse=horse))


def hours(**changes: Any) -> None:
    fields: dict[str, Any] = {"weekday": 5, "from_at": time(9), "to_at": time(17)}
    InstructorHours.objects.create(instructor=InstructorFactory(), **(fields | changes))


def paper_twice() -> None:
    instructor = InstructorFactory()
    twice(
        lambda: InstructorPaper.objects.create(
            instructor=instructor, name="First aid", expires_date=SATURDAY
        )
    )


def consent(rider: Any = None, expires: date = date(2028, 3, 1)) -> None:
    Consent.objects.create(
        rider=rider or RiderFactory(),
        name="Jumping",
        given_by=PersonFactory(),
        given_date=date(2027, 3, 1),
        expires_date=expires,
    )


def consent_twice() -> None:
    rider = RiderFactory()
    twice(lambda: consent(rider))


def grid(**changes: Any) -> LessonGrid:
    fields: dict[str, Any] = {
        "lesson": LessonFactory(),
        "revision": ExerciseRevisionFactory(),
        "tradition": "schooling",
        "start": [],
        "end": [],
        "approach_cm": 700,
        "runout_cm": 1500,
    }
    return LessonGrid.objects.create(**(fields | changes))


def override(reason: str = "seen it ridden", of: LessonGrid | None = None) -> None:
    GridOverride.objects.create(
        grid=of or grid(),
        subject="distance",
        says="short",
        reason=reason,
        by=AccountFactory(),
        at=NOW,
    )


def override_twice() -> None:
    one = grid()
    twice(lambda: override(of=one))


def occupancy(**changes: Any) -> None:
    fields: dict[str, Any] = {
        "what": "arena",
        "which": 1,
        "taken_from": at("09:00"),
        "taken_to": at("10:00"),
        "source": "closure",
        "source_id": 1,
    }
    Occupancy.objects.create(**(fields | changes))


def line_twice() -> None:
    arena = ArenaFactory()
    twice(lambda: LineFactory(arena=arena, name="Long"))


def store_twice() -> None:
    twice(lambda: StorePieceFactory(piece="pole", place="barn"))


def ride_twice(who: str) -> None:
    ride = RideFactory(lesson__state="asked")
    RideFactory(lesson=ride.lesson, **{who: getattr(ride, who)})


def one_place_twice() -> None:
    lesson = LessonFactory(places=1)
    twice(lambda: RideFactory(lesson=lesson))


def log_twice() -> None:
    lesson = LessonFactory()
    twice(lambda: RideLogFactory(lesson=lesson))


def ridden_twice(who: str) -> None:
    first = RiddenRideFactory()
    RiddenRideFactory(log=first.log, **{who: getattr(first, who)})


def note_twice(element: int | None) -> None:
    ridden = RiddenRideFactory()
    twice(lambda: RideNoteFactory(ridden=ridden, element=element))


def changed_log() -> None:
    log = RideLogFactory()
    log.passes = 4
    log.save()


def changed_revision() -> None:
    revision = ExerciseRevisionFactory()
    revision.spec = {"changed": True}
    revision.save()


def revision_twice() -> None:
    exercise = ExerciseFactory()
    twice(lambda: ExerciseRevisionFactory(exercise=exercise))


def librarys_but_another_is_ridden() -> None:
    exercise = ExerciseFactory()
    exercise.library = ExerciseRevisionFactory(exercise=exercise, number=1)
    exercise.current = ExerciseRevisionFactory(exercise=exercise, number=2)
    exercise.save()


BREAKS: dict[str, Callable[[], Any]] = {
    "school_only_one": lambda: School.objects.create(
        pk=2, name="b", zone="UTC", organiser_email="a@example.org"
    ),
    "school_name_filled": lambda: SchoolFactory(name=""),
    "school_zone_filled": lambda: SchoolFactory(zone=""),
    "school_tradition_known": lambda: SchoolFactory(tradition="own"),
    "school_place_every_in_range": lambda: SchoolFactory(place_every_cm=0),
    "school_start_every_in_range": lambda: SchoolFactory(start_every_min=0),
    "school_learned_handling_says_since_when": lambda: SchoolFactory(
        handling_changeovers=12
    ),
    "school_min_horse_age_in_range": lambda: SchoolFactory(min_horse_age_years=2),
    "arena_name_filled": lambda: ArenaFactory(name=""),
    "arena_length_in_range": lambda: ArenaFactory(length_cm=999),
    "arena_width_in_range": lambda: ArenaFactory(width_cm=999),
    "arena_opens_before_it_closes": lambda: ArenaFactory(
        opens_at=time(9), closes_at=time(9)
    ),
    "closure_begins_before_it_ends": lambda: closure(closed_to=at("12:00")),
    "closure_reason_filled": lambda: closure(reason=""),
    "absence_begins_before_it_ends": lambda: absence(absent_to=at("12:00")),
    "absence_reason_filled": lambda: absence(reason=""),
    "line_name_once_an_arena": line_twice,
    "line_name_filled": lambda: LineFactory(name=""),
    "line_length_in_range": lambda: LineFactory(length_cm=499),
    "store_piece_once_a_place": store_twice,
    "keeping_place_name_filled": lambda: KeepingPlaceFactory(name=""),
    "store_piece_known": lambda: StorePieceFactory(piece="flag"),
    "store_piece_weighs_something": lambda: StorePieceFactory(weight_g=0),
    "horse_name_filled": lambda: HorseFactory(name=""),
    "horse_level_known": lambda: HorseFactory(level="expert"),
    "horse_height_in_range": lambda: HorseFactory(height_cm=69),
    "horse_stride_in_range": lambda: HorseFactory(canter_stride_cm=149),
    "horse_weight_in_range": lambda: HorseFactory(weight_kg=79),
    "horse_highest_fence_in_range": lambda: HorseFactory(highest_fence_cm=161),
    "horse_max_minutes_in_range": lambda: HorseFactory(max_minutes=601),
    "horse_max_lessons_in_range": lambda: HorseFactory(max_lessons=11),
    "horse_bookable_after_birth": lambda: HorseFactory(
        bookable_from_date=date(2015, 3, 31)
    ),
    "horse_state_kind_known": lambda: horse_state(kind="tired"),
    "horse_state_begins_before_it_ends": lambda: horse_state(state_to=at("12:00")),
    "horse_state_reason_filled": lambda: horse_state(reason=""),
    "horse_day_off_once": day_off_twice,
    "horse_day_off_is_a_weekday": lambda: day_off(weekday=7),
    "person_first_name_filled": lambda: PersonFactory(first_name=""),
    "instructor_level_known": lambda: InstructorFactory(level="expert"),
    "instructor_highest_fence_in_range": lambda: InstructorFactory(
        highest_fence_cm=161
    ),
    "instructor_group_limit_in_range": lambda: InstructorFactory(group_limit=0),
    "instructor_hours_on_a_weekday": lambda: hours(weekday=7),
    "instructor_hours_begin_before_end": lambda: hours(to_at=time(9)),
    "paper_once": paper_twice,
    "paper_name_filled": lambda: InstructorPaper.objects.create(
        instructor=InstructorFactory(), name="", expires_date=SATURDAY
    ),
    "groundsperson_alone_days_known": lambda: GroundspersonFactory(alone_days=128),
    "groundsperson_begins_before_end": lambda: GroundspersonFactory(
        works_from=time(20), works_to=time(7)
    ),
    "rider_level_known": lambda: RiderFactory(level="expert"),
    "rider_height_in_range": lambda: RiderFactory(height_cm=69),
    "rider_weight_in_range": lambda: RiderFactory(weight_kg=9),
    "rider_highest_fence_in_range": lambda: RiderFactory(highest_fence_cm=161),
    "rider_level_signed": lambda: RiderFactory(level_signed_date=SATURDAY),
    "rider_emergency_name_filled": lambda: RiderFactory(emergency_name=""),
    "rider_emergency_phone_filled": lambda: RiderFactory(emergency_phone=""),
    "consent_once": consent_twice,
    "consent_given_before_it_expires": lambda: consent(expires=date(2027, 3, 1)),
    "series_name_filled": lambda: series(name=""),
    "series_on_a_weekday": lambda: series(weekday=7),
    "series_minutes_in_range": lambda: series(minutes=9),
    "series_begins_before_it_ends": lambda: series(last_date=date(2027, 3, 1)),
    "lesson_time_set_in_a_window": lambda: LessonFactory(time_set_at=NOW),
    "series_window_whole": lambda: series(window_from=time(9)),
    "series_starts_in_its_window": lambda: series(
        window_from=time(0), window_to=time(0, 1)
    ),
    "series_kind_known": lambda: series(kind="mass"),
    "series_work_known": lambda: series(work="sleep"),
    "series_places_in_range": lambda: series(places=0),
    "lesson_series_date": lambda: LessonFactory(series_date=SATURDAY),
    "series_exception_once": exception_twice,
    "client_language_known": lambda: ClientFactory(language="xx"),
    "client_calendar_by_known": lambda: ClientFactory(calendar_by="pigeon"),
    "school_collect_in_range": lambda: SchoolFactory(collect_min=61),
    "school_remind_in_range": lambda: SchoolFactory(remind_hours=337),
    "series_exception_reason_filled": lambda: exception(reason=""),
    "lesson_title_filled": lambda: LessonFactory(title=""),
    "lesson_kind_known": lambda: LessonFactory(kind="crowd"),
    "lesson_work_known": lambda: LessonFactory(work="sleep"),
    "lesson_state_known": lambda: LessonFactory(state="lost"),
    "lesson_begins_before_it_ends": lambda: LessonFactory(ends_at=at("09:00")),
    "lesson_lasts_four_hours_at_most": lambda: LessonFactory(ends_at=at("13:01")),
    "lesson_places_in_range": lambda: LessonFactory(places=13),
    "lesson_warm_up_in_range": lambda: LessonFactory(warm_up_min=61),
    "lesson_cool_down_in_range": lambda: LessonFactory(cool_down_min=61),
    "lesson_window_whole": lambda: LessonFactory(window_from=at("09:00")),
    "lesson_starts_in_its_window": lambda: LessonFactory(
        window_from=at("10:00"), window_to=at("11:00")
    ),
    "lesson_cancelled_with_a_reason": lambda: LessonFactory(state="cancelled"),
    "lesson_once_in_its_series": series_lesson_twice,
    "ride_rider_once_a_lesson": lambda: ride_twice("rider"),
    "ride_horse_once_a_lesson": lambda: ride_twice("horse"),
    "ride_cancelled_reason": lambda: RideFactory(state="cancelled", cancelled_at=NOW),
    "ride_cancelled_has_its_moment": lambda: RideFactory(state="cancelled"),
    "occupancy_what_known": lambda: occupancy(what="dog"),
    "occupancy_source_known": lambda: occupancy(source="dog"),
    "occupancy_begins_before_it_ends": lambda: occupancy(taken_to=at("08:00")),
    "lesson_grid_tradition_known": lambda: grid(tradition="own"),
    "grid_override_once": override_twice,
    "grid_override_with_a_reason": lambda: override(reason=""),
    "audit_action_filled": lambda: AuditEntry.objects.create(
        at=NOW, action="", subject="lesson", subject_id="1"
    ),
    "exercise_name_filled": lambda: ExerciseFactory(name=""),
    "exercise_is_the_librarys_unless_own": librarys_but_another_is_ridden,
    "revision_number_once": revision_twice,
    "revision_from_1": lambda: ExerciseRevisionFactory(number=0),
    "revision_never_changed": changed_revision,
    "ride_log_number_once": log_twice,
    "ride_log_number_from_1": lambda: RideLogFactory(number=0),
    "ride_log_stage_in_range": lambda: RideLogFactory(stage=21),
    "ride_log_passes_in_range": lambda: RideLogFactory(passes=21),
    "ride_log_passes_of_a_stage": lambda: RideLogFactory(stage=0),
    "ride_log_never_changed": changed_log,
    "ridden_ride_once_a_log": lambda: ridden_twice("ride"),
    "ridden_horse_once_a_log": lambda: ridden_twice("horse"),
    "ridden_went_known": lambda: RiddenRideFactory(went="fine"),
    "ridden_passes_in_range": lambda: RiddenRideFactory(passes=21),
    "ridden_nothing_without_riding": lambda: RiddenRideFactory(went="not-ridden"),
    "ride_note_once_an_element": lambda: note_twice(2),
    "ride_note_once_without_element": lambda: note_twice(None),
    "ride_note_what_known": lambda: RideNoteFactory(what="sneezed"),
    "ride_note_element_in_range": lambda: RideNoteFactory(element=21),
    "occupancy_no_two_at_once": lambda: twice(occupancy),
    "line_within_its_arena": lambda: LineFactory(length_cm=6001),
    "ride_horse_old_enough": lambda: RideFactory(
        horse=HorseFactory(bookable_from_date=date(2027, 3, 7))
    ),
    "lesson_places_not_exceeded": one_place_twice,
    **CLIENT_BREAKS,
    **GRID_BREAKS,
    **MAIL_BREAKS,
    **PLAN_BREAKS,
    **TABLE_BREAKS,
    **WELFARE_BREAKS,
    **RIDER_BREAKS,
    **YARD_BREAKS,
}

GUARDS = {
    "occupancy_no_two_at_once",
    "line_within_its_arena",
    "ride_horse_old_enough",
    "lesson_places_not_exceeded",
    "lesson_leaders_not_exceeded",
    "ride_rider_not_stopped",
    "ride_rider_old_enough",
    "ride_minor_has_consent",
    "ride_never_again_kept",
    "pack_not_overspent",
    "term_no_two_at_once",
    "term_break_within_its_term",
    "revision_never_changed",
    "ride_log_never_changed",
    "incident_never_changed",
}
"""Rules kept by triggers or by SQL of our own, which no model lists."""


@pytest.mark.parametrize("name", sorted(BREAKS))
def test_the_database_refuses_what_breaks(name: str) -> None:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        BREAKS[name]()

    says = str(caught.value)
    # SQLite names a plain unique rule by its columns.
    assert name in says or (connection.vendor == "sqlite" and "UNIQUE" in says)


def test_every_constraint_has_a_write_that_breaks_it() -> None:
    named = {
        constraint.name
        for label in ("school", "exercises", "scheduling")
        for model in apps.get_app_config(label).get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, models.CheckConstraint | models.UniqueConstraint)
    }
    assert named | GUARDS == set(BREAKS)


def test_store_pieces_of_one_kind_may_lie_in_two_places() -> None:
    StorePieceFactory(place="barn")
    StorePieceFactory(place="by the arena")

    assert StorePiece.objects.count() == 2


def test_two_lessons_may_follow_each_other_without_a_gap() -> None:
    arena = ArenaFactory()
    LessonFactory(arena=arena)

    LessonFactory(arena=arena, starts_at=at("09:00") + timedelta(hours=1))

    assert Occupancy.objects.filter(what="arena", which=arena.pk).count() == 2
