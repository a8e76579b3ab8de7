"""Finding a time: what a booking would refuse is offered nowhere, the best is first."""

from datetime import UTC, date, time, timedelta

import pytest
from django.db import transaction

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.finding.best import Choice
from scheduling.services.finding import Answer, UnableToFind, find_times
from scheduling.services.finding_diary import Wish
from school.enums import Liking
from school.models import (
    ArenaClosure,
    HorseDayOff,
    HorseState,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    LessonGrid,
    RiderHorse,
    School,
)
from school.services.grids import attach_grid
from school.services.lessons import book_lesson
from tests.clock import NOW, SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import vertical
from tests.scheduling.rows import grid_of, small_day

pytestmark = pytest.mark.django_db
SUNDAY = SATURDAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(place_every_cm=100, start_every_min=60, freeze_min=0)


EVERY = Choice(most=500, a_day=500, apart_min=0)


def found(now=NOW, choice=EVERY, **wish):
    given = {
        "work": "flat",
        "minutes": 60,
        "first_date": SATURDAY,
        "weeks": 1,
        "weekdays": frozenset({5}),
        "places": len(wish.get("riders", ())),
    } | wish
    return find_times(wish=Wish(**given), now=now, choice=choice)


def starts(**wish) -> list[str]:
    """The starts of all times of the Saturday, by the clock."""
    answers = found(**wish).answers
    return sorted({f"{one.starts_at:%H:%M}" for one in answers})


def day(first: int = 8, last: int = 19) -> list[str]:
    return [f"{hour:02}:00" for hour in range(first, last + 1)]


def without(*hours: int) -> list[str]:
    return [one for one in day() if int(one[:2]) not in hours]


def ridden(**ride):
    """A wish for one rider who has one horse to choose from."""
    rider = RiderFactory()
    return {"riders": [rider], "horses": [None]} | ride


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


class TestHorses:
    @pytest.fixture(autouse=True)
    def yard(self) -> None:
        ArenaFactory()
        InstructorFactory()

    def test_a_state_keeps_a_horse_from_its_hours(self) -> None:
        horse = HorseFactory()
        HorseState.objects.create(
            horse=horse,
            kind="vet",
            state_from=at("10:00"),
            state_to=at("12:00"),
            reason="teeth",
        )

        assert starts(**ridden()) == without(10, 11)

    def test_its_own_lessons_and_rest_keep_it(self) -> None:
        School.objects.update(start_every_min=30)
        RideFactory(horse=HorseFactory(rest_min=30), lesson__starts_at=at("12:00"))

        times = starts(**ridden(), from_at=time(10), to_at=time(14))

        assert times == ["10:00", "10:30", "13:30", "14:00"]

    @pytest.mark.parametrize(
        "limit",
        [{"max_lessons": 1}, {"max_minutes": 90}],
        ids=["lessons", "minutes"],
    )
    def test_its_limits_keep_it(self, limit: dict) -> None:
        RideFactory(horse=HorseFactory(**limit), lesson__starts_at=at("12:00"))

        assert starts(**ridden()) == []

    def test_its_age_keeps_it(self) -> None:
        HorseFactory(bookable_from_date=SUNDAY)

        assert starts(**ridden()) == []

    def test_its_day_off_keeps_it(self) -> None:
        HorseDayOff.objects.create(horse=HorseFactory(), weekday=5)

        assert starts(**ridden()) == []

    def test_a_seventh_day_in_a_row_keeps_it(self) -> None:
        horse = HorseFactory()
        for n in range(1, 7):
            when = at("12:00", SATURDAY - timedelta(days=n))
            RideFactory(horse=horse, lesson__starts_at=when)

        assert starts(**ridden()) == []

    def test_weight_and_never_again_keep_a_horse_from_a_rider(self) -> None:
        small = HorseFactory(weight_kg=200, name="Small")
        other = HorseFactory(name="Other")
        rider = RiderFactory(weight_kg=70)
        RiderHorse.objects.create(
            rider=rider, horse=other, liking=Liking.NEVER, reason="bolted", set_at=NOW
        )
        wish = {"riders": [rider], "horses": [None]}

        assert starts(**wish) == []
        assert starts(**wish | {"horses": [small]}) == []

    def test_the_horse_that_was_asked_for_goes(self) -> None:
        HorseFactory()
        asked = HorseFactory()
        RideFactory(horse=asked, lesson__starts_at=at("12:00"))

        answers = found(**ridden(horses=[asked])).answers

        assert {one.rides[0][1] for one in answers} == {asked}
        assert "12:00" not in {f"{one.starts_at:%H:%M}" for one in answers}

    def test_the_fresher_horse_goes_and_says_what_it_has_to_do(self) -> None:
        tired, fresh = HorseFactory(name="Tired"), HorseFactory(name="Fresh")
        RideFactory(horse=tired, lesson__starts_at=at("08:00"))

        best = found(**ridden(), from_at=time(15)).answers[0]

        assert best.rides[0][1] == fresh
        assert "1 of 3 lessons and 60 of 180 min" in best.reasons[1].says

    def test_a_rule_that_warns_is_said_and_counts_against_the_time(self) -> None:
        RideFactory(horse=HorseFactory(rest_min=0), lesson__starts_at=at("11:00"))

        answers = {f"{one.starts_at:%H:%M}": one for one in found(**ridden()).answers}

        assert any("rest 0 minutes" in x.says for x in answers["12:00"].reasons)
        assert answers["13:00"].points < answers["12:00"].points

    def test_two_riders_have_two_horses(self) -> None:
        HorseFactory()
        riders = [RiderFactory(), RiderFactory()]
        wish = {"riders": riders, "horses": [None, None], "places": 2}

        assert starts(**wish) == []
        HorseFactory()
        best = found(**wish).answers[0]
        assert len({horse for _, horse in best.rides}) == 2

    def test_places_without_a_name_want_horses_too(self) -> None:
        HorseFactory()
        busy = HorseFactory(rest_min=0)
        RideFactory(horse=busy, lesson__starts_at=at("12:00"))

        assert starts(places=2) == without(12)
        assert starts(places=3) == []


class TestFences:
    def test_the_same_grid_beside_its_like_comes_first(self) -> None:
        _, _, lessons = small_day(windows=False)
        load_library(now=NOW)
        grid = Exercise.objects.get(slug="bounce-pair").current
        LessonGrid.objects.filter(lesson=lessons[2]).delete()
        attach_grid(
            lesson=lessons[2], revision=grid, tradition="continental", by=None, now=NOW
        )
        other = LessonFactory(arena=lessons[2].arena, starts_at=at("16:00"))
        grid_of(other, vertical(0, 80, ground_line="both"), vertical(1050, 90))

        answers = found(**ridden(horses=[HorseFactory()]), exercise=grid).answers

        added = {one.added_s for one in answers}
        assert len(added) > 1
        assert answers[0].added_s == min(added)
        assert f"{answers[0].starts_at:%H:%M}" in {"13:00", "14:00"}

    def test_a_flat_lesson_adds_nothing(self) -> None:
        small_day(windows=False)

        assert {one.added_s for one in found().answers} == {0}

    def test_a_time_that_leaves_the_fences_none_is_not_offered(self) -> None:
        School.objects.update(start_every_min=30)
        first = LessonFactory(starts_at=at("09:00"), title="First")
        second = LessonFactory(
            arena=first.arena, starts_at=at("11:00"), instructor=first.instructor
        )
        first.arena.lines.create(name="Centre", length_cm=5500, datum="gate")
        grid_of(first)
        grid_of(second, vertical(0, 80, ground_line="both"), vertical(1050, 90))

        assert "10:00" not in starts(minutes=60)
        assert "10:00" in starts(minutes=30)

    def test_a_day_that_keeps_no_plan_comes_last_and_says_so(self) -> None:
        small_day(windows=False)
        School.objects.update(handling={"start_s": 3600})

        answers = found().answers

        assert {one.added_s for one in answers} == {None}
        assert "order it first" in answers[0].reasons[0].says

    def test_settings_that_make_no_day_leave_the_minutes_open(self) -> None:
        small_day(windows=False)
        School.objects.update(handling={"wing": {"fetch_s": -1}})

        assert {one.added_s for one in found().answers} == {None}

    def test_a_grid_that_fits_no_horse_is_refused_in_words(self) -> None:
        ArenaFactory()
        InstructorFactory()
        load_library(now=NOW)
        grid = Exercise.objects.get(slug="bounce-pair").current

        with pytest.raises(UnableToFind, match="can't be fitted"):
            found(exercise=grid)

    def test_without_a_named_horse_it_says_for_which_the_grid_is_fitted(self) -> None:
        small_day(windows=False)
        HorseFactory(name="Onyx", height_cm=199)
        load_library(now=NOW)
        grid = Exercise.objects.get(slug="bounce-pair").current

        (note,) = found(exercise=grid, from_at=time(18)).notes

        assert "the grid as it fits Horse" in note


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
