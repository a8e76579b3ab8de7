"""Finding a time: what a booking would refuse is offered nowhere, the best is first."""

from datetime import UTC, date, time, timedelta

import pytest
from django.db import transaction

from scheduling.finding.best import Choice
from scheduling.services.finding import Answer
from school.models import (
    ArenaClosure,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    School,
)
from school.services.booking import book_lesson
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.finding_wishes import (
    SUNDAY,
    day,
    found,
    ridden,
    starts,
    without,
)
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(place_every_cm=100, start_every_min=60, freeze_min=0)


def test_an_open_arena_and_a_free_instructor_are_offered_by_the_hour() -> None:
    arena, teacher = ArenaFactory(), InstructorFactory()

    answers = found().answers

    assert starts() == day()
    assert {(one.arena, one.instructor) for one in answers} == {(arena, teacher)}


def test_a_lesson_in_the_arena_is_kept_free() -> None:
    InstructorFactory()
    LessonFactory(starts_at=at("09:30"))

    assert starts() == without(9, 10)


def test_a_closed_arena_is_kept_free() -> None:
    InstructorFactory()
    ArenaClosure.objects.create(
        arena=ArenaFactory(),
        closed_from=at("13:00"),
        closed_to=at("15:00"),
        reason="frost",
    )

    assert starts() == without(13, 14)


def test_an_arena_without_lights_is_offered_by_daylight_only() -> None:
    # Sunrise 07:14 and sunset 18:29 at 52.0 N 5.2 E on 6 March (NOAA's solar
    # calculator, from memory, to a few minutes).
    School.objects.update(latitude=52.0, longitude=5.2)
    ArenaFactory(indoor=False, lit=False)
    InstructorFactory()

    assert starts() == day(8, 17)


def test_an_instructors_hours_and_other_lessons_are_kept() -> None:
    ArenaFactory(name="A")
    teacher = InstructorFactory()
    InstructorHours.objects.create(
        instructor=teacher, weekday=5, from_at=time(10), to_at=time(15)
    )
    LessonFactory(instructor=teacher, starts_at=at("12:00"))

    assert starts(instructor=teacher) == ["10:00", "11:00", "13:00", "14:00"]


def test_an_instructor_is_left_out_from_the_day_after_a_paper_ends() -> None:
    ArenaFactory()
    teacher = InstructorFactory(person__first_name="Maud")
    InstructorPaper.objects.create(
        instructor=teacher, name="First aid", expires_date=SATURDAY
    )

    result = found(weeks=2)

    assert {one.starts_at.date() for one in result.answers} == {SATURDAY}
    assert result.notes == ("Maud is left out after 6 March 2027: First aid ends.",)


def test_an_instructor_who_is_out_is_not_offered() -> None:
    ArenaFactory()
    InstructorAbsence.objects.create(
        instructor=InstructorFactory(),
        absent_from=at("10:00"),
        absent_to=at("12:00"),
        reason="flu",
    )

    assert starts() == without(10, 11)


def test_a_rider_who_may_not_ride_is_offered_nothing_and_told_why() -> None:
    ArenaFactory()
    InstructorFactory()
    HorseFactory()
    wish = ridden()
    RiderStopFactory(rider=wish["riders"][0], from_date=SATURDAY + timedelta(days=7))

    result = found(**wish, weeks=2)

    assert {one.starts_at.date() for one in result.answers} == {SATURDAY}
    assert "has been stopped from riding" in result.notes[0]


def test_a_minor_is_offered_the_days_of_the_guardians_consent() -> None:
    ArenaFactory()
    InstructorFactory()
    HorseFactory()
    minor = RiderFactory(minor=True)
    RidingConsentFactory(rider=minor, expires_date=SATURDAY + timedelta(days=1))

    result = found(riders=[minor], horses=[None], weeks=2)

    assert {one.starts_at.date() for one in result.answers} == {SATURDAY}
    assert "consent ended" in result.notes[0]


def test_who_may_not_teach_so_far_or_so_many_is_not_offered() -> None:
    ArenaFactory()
    InstructorFactory(level="novice", group_limit=6)
    InstructorFactory(level="advanced", group_limit=2)
    HorseFactory()
    jumping = ridden(work="jumping") | {"places": 1}

    by = {one.instructor.level for one in found(**jumping).answers}

    assert by == {"advanced"}
    assert not found(**jumping | {"places": 3}).answers


def test_a_rider_who_rides_elsewhere_is_kept_free() -> None:
    ArenaFactory()
    InstructorFactory()
    HorseFactory()
    rider = RiderFactory()
    RideFactory(rider=rider, horse=None, lesson__starts_at=at("12:00"))

    assert starts(riders=[rider], horses=[None]) == without(12)


def test_a_rider_who_teaches_then_is_kept_free() -> None:
    ArenaFactory()
    InstructorFactory()
    HorseFactory()
    lesson = LessonFactory(starts_at=at("12:00"))
    rider = RiderFactory(person=lesson.instructor.person)

    assert starts(riders=[rider], horses=[None]) == without(12)


def test_wished_hours_days_and_the_first_day_are_kept() -> None:
    ArenaFactory()
    InstructorFactory()

    assert starts(from_at=time(15), to_at=time(17)) == ["15:00", "16:00", "17:00"]
    days = {
        one.starts_at.date()
        for one in found(weeks=3, first_date=SUNDAY, weekdays=frozenset({0, 5})).answers
    }
    assert min(days) == date(2027, 3, 8)
    assert {one.weekday() for one in days} == {0, 5}
    assert max(days) == date(2027, 3, 27)


def test_public_holidays_are_left_out_by_name_where_asked() -> None:
    School.objects.update(country="NL")
    ArenaFactory()
    InstructorFactory()
    wish = {"first_date": date(2027, 4, 24), "weekdays": frozenset({1})}

    kept = found(**wish)
    left_out = found(**wish, skip_holidays=True)

    # King's Day, 27 April, by Dutch law.
    assert {one.starts_at.date() for one in kept.answers} == {date(2027, 4, 27)}
    assert left_out.answers == ()
    assert left_out.notes == ("Tuesday 27 April is left out: King's Day.",)


def test_what_starts_within_the_freeze_is_not_offered() -> None:
    School.objects.update(freeze_min=90)
    ArenaFactory()
    InstructorFactory()

    assert starts(now=at("11:00")) == day(13)


def test_what_starts_within_the_notice_says_so_and_counts_against_it() -> None:
    School.objects.update(notice_hours=4)
    ArenaFactory()
    InstructorFactory()

    answers = {f"{one.starts_at:%H:%M}": one for one in found(now=at("08:00")).answers}

    assert "within the 4 hours' notice" in answers["11:00"].reasons[-1].says
    assert "notice" not in answers["12:00"].reasons[-1].says
    assert answers["12:00"].points < answers["11:00"].points


def test_a_lesson_on_the_night_the_clocks_change_lasts_its_minutes() -> None:
    InstructorFactory()
    ArenaFactory(opens_at=time(1), closes_at=time(6))

    answers = found(first_date=date(2027, 3, 28), weekdays=frozenset({6})).answers

    lasts = {x.ends_at.astimezone(UTC) - x.starts_at.astimezone(UTC) for x in answers}
    assert lasts == {timedelta(hours=1)}
    assert all(one.ends_at.astimezone(ZONE).hour <= 6 for one in answers)


def test_a_choice_is_spread_over_the_days() -> None:
    ArenaFactory()
    InstructorFactory()

    answers = found(weekdays=frozenset(), choice=None).answers

    days = [one.starts_at.date() for one in answers]
    assert len(answers) == 10
    assert max(days.count(one) for one in days) == Choice().a_day


def booked(one: Answer):
    return book_lesson(
        title="Found",
        kind="private",
        work="jumping",
        starts_at=one.starts_at,
        minutes=60,
        arena=one.arena,
        instructor=one.instructor,
        places=max(1, len(one.rides)),
        rides=one.rides,
        by=None,
        now=NOW,
    )


def test_whatever_is_offered_can_be_booked() -> None:
    small_day(windows=False)
    HorseFactory()
    wish = ridden(work="jumping")

    answers = found(**wish).answers

    assert len(answers) > 5
    for one in answers:
        with transaction.atomic():
            booked(one)
            transaction.set_rollback(True)


@pytest.mark.parametrize("weeks", [1, 8])
def test_finding_takes_as_many_queries_for_eight_weeks_as_for_one(
    django_assert_num_queries, weeks: int
) -> None:
    small_day(windows=False)
    for n in range(1, weeks):
        RideFactory(lesson__starts_at=at("09:00", SATURDAY + timedelta(days=7 * n)))
    wish = ridden(horses=[HorseFactory()])

    with django_assert_num_queries(33):
        found(**wish, weeks=weeks)
