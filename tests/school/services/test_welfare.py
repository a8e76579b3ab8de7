"""Bookings held against the rules of horses' work: warned, refused, overruled."""

from datetime import date, timedelta

import pytest

from school.models import (
    Account,
    AuditEntry,
    DayHeat,
    Horse,
    HorseDayOff,
    HorseState,
    Lesson,
    Ride,
    School,
    WelfareOverride,
)
from school.services.booking import book_lesson
from school.services.checks import horses_able
from school.services.heat import note_heat
from school.services.lessons import UnableToBook, move_lesson
from school.services.rides import add_ride, change_horse
from school.services.rules import birthday, set_welfare
from school.services.units import UnableToSet
from school.services.welfare import told_of_lesson
from school.welfare.rules import RULE, Bounds
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.ride_logs import RiddenRideFactory
from tests.factories.schools import SchoolFactory
from tests.factories.welfare import DayHeatFactory

pytestmark = pytest.mark.django_db

WHY = "The other pony lost a shoe"


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


@pytest.fixture
def by() -> Account:
    return AccountFactory(manager=True, person__first_name="Tjalling")


def book(horse: Horse | None, clock: str = "16:00", **more) -> Lesson:
    fields = {
        "title": "Evening ride",
        "kind": "private",
        "work": "flat",
        "starts_at": at(clock),
        "minutes": 60,
        "arena": ArenaFactory(),
        "instructor": InstructorFactory(),
        "rides": [(more.pop("rider", None) or RiderFactory(), horse)],
        "by": None,
        "now": NOW,
    }
    return book_lesson(**fields | more)


def busy_horse(**more) -> Horse:
    """Return a horse with two lessons of an hour and a half on the Saturday."""
    horse = HorseFactory(name="Onyx", **more)
    for clock in ("09:00", "12:00"):
        RideFactory(
            horse=horse,
            lesson__work="flat",
            lesson__starts_at=at(clock),
            lesson__ends_at=at(clock) + timedelta(minutes=90),
        )
    return horse


def test_a_limit_counts_minutes_and_can_be_overruled_with_reason_and_name(
    by: Account,
) -> None:
    horse = busy_horse()
    with pytest.raises(UnableToBook) as caught:
        book(horse, by=by)
    assert caught.value.overridable
    assert "would work 240 minutes on Saturday" in caught.value.says

    lesson = book(horse, by=by, overrule=f"  {WHY} ")

    kept = WelfareOverride.objects.get(lesson=lesson)
    assert (kept.rule, kept.figure, kept.limit) == ("minutes-day", 240, 180)
    assert (kept.reason, kept.by, kept.at) == (WHY, by, NOW)
    entry = AuditEntry.objects.get(action="overrule")
    assert entry.by == by
    assert entry.after is not None
    assert entry.after["reason"] == WHY
    assert entry.after["source"].startswith("between Swiss schools")


def test_a_reason_without_a_name_or_a_name_without_a_reason_is_none(
    by: Account,
) -> None:
    horse = busy_horse()
    for wrong in ({"by": None, "overrule": WHY}, {"by": by, "overrule": "  "}):
        with pytest.raises(UnableToBook):
            book(horse, **wrong)


def test_age_and_unfitness_are_never_overruled(by: Account) -> None:
    young = HorseFactory(bookable_from_date=date(2027, 5, 1))
    unfit = HorseFactory()
    HorseState.objects.create(
        horse=unfit, kind="unfit", state_from=at("08:00"), reason="lame"
    )

    for horse, code in ((young, "horse-too-young"), (unfit, "horse-unfit")):
        with pytest.raises(UnableToBook) as caught:
            book(horse, by=by, overrule=WHY)
        assert caught.value.code == code
        assert not caught.value.overridable


def test_a_warning_lets_a_booking_through_and_is_kept(by: Account) -> None:
    horse = HorseFactory()
    RideFactory(
        horse=horse,
        lesson__work="flat",
        lesson__starts_at=at("09:00"),
        lesson__ends_at=at("10:30"),
    )

    lesson = book(horse, by=by)

    (told,) = told_of_lesson(lesson)
    assert (told.hit.rule, told.hit.refuses) == ("minutes-day", False)
    entry = AuditEntry.objects.get(action="warned")
    assert entry.after is not None
    assert entry.after["hits"][0]["figure"] == 150
    assert not WelfareOverride.objects.exists()


def test_every_hit_is_told_before_a_reason_is_given(by: Account) -> None:
    horse = busy_horse(max_lessons=2)
    HorseDayOff.objects.create(horse=horse, weekday=SATURDAY.weekday())
    small = HorseFactory(name="Mote", weight_kg=200)
    rider = RiderFactory(weight_kg=60, person__first_name="Jon")

    with pytest.raises(UnableToBook) as caught:
        book(
            horse,
            by=by,
            places=2,
            rides=[(RiderFactory(), horse), (rider, small)],
        )

    assert caught.value.fields["rules"] == [
        "lessons-day", "minutes-day", "day-off", "weight",
    ]  # fmt: skip
    assert "Onyx has Saturday off" in caught.value.says
    assert "Mote with Jon would carry 35 % of its weight" in caught.value.details[-1]


def test_a_refusal_tells_nobody_a_weight() -> None:
    small = HorseFactory(name="Mote", weight_kg=200)

    with pytest.raises(UnableToBook) as caught:
        book(small, rider=RiderFactory(weight_kg=60))

    assert "%" not in caught.value.says
    assert caught.value.fields == {"horse": small.pk, "rules": ["weight"]}


def test_moving_swapping_and_joining_are_held_against_the_rules_too(
    by: Account,
) -> None:
    horse = busy_horse()
    other = RideFactory(
        horse=horse, lesson__starts_at=at("09:00", SATURDAY + timedelta(days=7))
    )
    fresh = RideFactory(lesson__starts_at=at("16:00"))
    open_ = LessonFactory(starts_at=at("18:00"))

    def move(**why) -> object:
        return move_lesson(
            lesson=other.lesson, starts_at=at("16:00"), version=1, now=NOW, **why
        )

    def swap(**why) -> object:
        return change_horse(ride=fresh, horse=horse, now=NOW, **why)

    def join(**why) -> object:
        return add_ride(lesson=open_, rider=RiderFactory(), horse=horse, now=NOW, **why)

    for do in (move, swap, join):
        with pytest.raises(UnableToBook, match="minutes on Saturday"):
            do(by=by)
    swap(by=by, overrule=WHY)
    join(by=by, overrule=WHY)

    assert set(WelfareOverride.objects.values_list("rule", "lesson_id")) >= {
        ("minutes-day", fresh.lesson_id),
        ("minutes-day", open_.pk),
        ("lessons-day", open_.pk),
    }


def test_what_was_overruled_counts_for_the_day_up_to_its_figure(by: Account) -> None:
    horse = busy_horse()
    lesson = book(horse, by=by, overrule=WHY)

    # Taken elsewhere on the day, with as many minutes: no reason is asked again.
    move_lesson(lesson=lesson, starts_at=at("17:00"), version=1, by=by, now=NOW)
    first = Ride.objects.filter(horse=horse).earliest("lesson__starts_at").lesson
    move_lesson(lesson=first, starts_at=at("08:00"), version=1, by=by, now=NOW)

    lesson.refresh_from_db()
    with pytest.raises(UnableToBook, match="would work 255 minutes"):
        move_lesson(
            lesson=lesson,
            starts_at=at("17:00"),
            minutes=75,
            version=lesson.version,
            by=by,
            now=NOW,
        )


def test_a_reason_for_one_rider_is_none_for_another(by: Account) -> None:
    small = HorseFactory(name="Mote", weight_kg=200)
    heavy = RiderFactory(weight_kg=60)
    lesson = book(small, rider=heavy, by=by, overrule=WHY, places=2)
    ride = lesson.rides.get()
    change_horse(ride=ride, horse=small, by=by, now=NOW)
    change_horse(ride=ride, horse=HorseFactory(), by=by, now=NOW)

    with pytest.raises(UnableToBook, match="should not carry"):
        add_ride(
            lesson=lesson, rider=RiderFactory(weight_kg=55), horse=small, by=by, now=NOW
        )


def test_a_stricter_rule_stops_no_move_that_makes_nothing_worse(by: Account) -> None:
    horse = HorseFactory()
    ride = RideFactory(horse=horse, lesson__work="flat")
    set_limits({"minutes-day": Bounds(None, 45)}, by)

    moved = move_lesson(
        lesson=ride.lesson, starts_at=at("15:00"), version=1, by=by, now=NOW
    )

    assert moved.starts_at == at("15:00")
    (told,) = told_of_lesson(moved)
    assert told.hit.refuses
    with pytest.raises(UnableToBook, match="school's own"):
        move_lesson(
            lesson=moved,
            starts_at=at("15:00"),
            minutes=90,
            version=moved.version,
            by=by,
            now=NOW,
        )


def set_limits(bounds: dict[str, Bounds], by: Account | None) -> School:
    return set_welfare(bounds=bounds, tacked_up_min=15, gear_kg=10, by=by, now=NOW)


def test_limits_are_set_audited_once_and_kept_only_where_they_differ(
    by: Account,
) -> None:
    for _ in range(2):
        school = set_limits(
            {"minutes-day": Bounds(90, 150), "heat": Bounds(150, 180)}, by
        )

    assert school.welfare == {"minutes-day": {"warn": 90, "refuse": 150}}
    assert AuditEntry.objects.filter(action="set welfare rules").count() == 1


@pytest.mark.parametrize(
    ("wrong", "says", "field"),
    [
        (
            {"bounds": {"weight": Bounds(15, 31)}},
            "from 5 to 30, or leave",
            "weight-refuse",
        ),
        (
            {"bounds": {"weight": Bounds(4, None)}},
            "from 5 to 30, or leave",
            "weight-warn",
        ),
        (
            {"bounds": {"weight": Bounds(20, 15)}},
            "warn before it refuses",
            "weight-warn",
        ),
        ({"bounds": {"rest": Bounds(20, 30)}}, "warn before it refuses", "rest-warn"),
        ({"tacked_up_min": 61}, "from 0 to 60", "tacked_up_min"),
        ({"gear_kg": -1}, "from 0 to 40", "gear_kg"),
    ],
)
def test_a_limit_out_of_reason_is_refused_beside_its_field(
    wrong: dict, says: str, field: str
) -> None:
    fine = {"bounds": {}, "tacked_up_min": 15, "gear_kg": 10, "by": None, "now": NOW}

    with pytest.raises(UnableToSet, match=says) as caught:
        set_welfare(**fine | wrong)

    assert caught.value.field == field


def test_a_hot_day_refuses_and_a_warm_one_warns(by: Account) -> None:
    DayHeatFactory(temperature_c=35, humidity_pct=86)
    horse = HorseFactory()

    with pytest.raises(UnableToBook, match="in a heat of 181"):
        book(horse, by=by)
    DayHeat.objects.update(temperature_c=32)
    assert [one.hit.rule for one in told_of_lesson(book(horse, by=by))] == ["heat"]


def test_heat_is_noted_once_a_day_and_audited(by: Account) -> None:
    for celsius in (30, 33):
        note_heat(day=SATURDAY, temperature_c=celsius, humidity_pct=55, by=by, now=NOW)

    noted = DayHeat.objects.get()
    assert (noted.temperature_c, noted.noted_by) == (33, by)
    entry = AuditEntry.objects.latest("pk")
    assert entry.before is not None
    assert entry.before["temperature_c"] == 30


@pytest.mark.parametrize(("celsius", "humidity"), [(56, 50), (-41, 50), (20, 101)])
def test_no_day_is_as_hot_as_that(celsius: int, humidity: int) -> None:
    with pytest.raises(UnableToSet):
        note_heat(
            day=SATURDAY,
            temperature_c=celsius,
            humidity_pct=humidity,
            by=None,
            now=NOW,
        )


def test_logged_efforts_count_and_a_tired_horse_is_not_offered() -> None:
    ridden = RiddenRideFactory(
        log__lesson__starts_at=at("09:00"), quarter_efforts=4 * 41
    )
    horse = ridden.horse
    lesson = RideFactory(horse=horse, lesson__starts_at=at("15:00")).lesson

    told = {one.hit.rule: one.hit.figure for one in told_of_lesson(lesson)}

    assert told["efforts"] == 41
    times = (at("18:00"), at("19:00"))
    assert horse not in horses_able(*times, work="jumping")
    assert horse in horses_able(*times, work="flat")


def test_a_lesson_that_holds_nothing_breaks_nothing() -> None:
    lesson = RideFactory(
        lesson__state="cancelled", lesson__state_reason="rain", horse__max_minutes=10
    ).lesson

    assert told_of_lesson(lesson) == []


@pytest.mark.parametrize("count", [1, 3])
def test_a_lesson_takes_the_same_queries_for_any_ride(
    count: int, django_assert_num_queries
) -> None:
    lesson = LessonFactory()
    for _ in range(count):
        RideFactory(lesson=lesson)

    with django_assert_num_queries(9):
        told_of_lesson(lesson)


def test_a_leap_days_birthday_is_on_the_first_of_march() -> None:
    """A day that is not there is taken as the next: the tool's own reading."""
    assert birthday(date(2020, 2, 29), 4) == date(2024, 2, 29)
    assert birthday(date(2020, 2, 29), 5) == date(2025, 3, 1)


@pytest.mark.parametrize(
    ("rule", "work"), [("days-in-a-row", "flat"), ("jumping-running", "jumping")]
)
def test_the_highest_limit_of_days_in_a_row_is_kept_day_by_day(
    rule: str, work: str
) -> None:
    most = int(RULE[rule].high)
    jumps = {"warn": None, "refuse": None}
    School.objects.update(
        welfare={"jumping-week": jumps, rule: {"warn": None, "refuse": most}}
    )
    horse = HorseFactory()
    days = [SATURDAY + timedelta(days=n) for n in range(most + 1)]
    lessons = [LessonFactory(starts_at=at("09:00", one), work=work) for one in days]

    def give(lesson: Lesson) -> None:
        rider = RiderFactory()
        add_ride(lesson=lesson, rider=rider, horse=horse, by=None, now=NOW)

    for lesson in lessons[:-1]:
        give(lesson)
    with pytest.raises(UnableToBook) as refused:
        give(lessons[-1])
    assert rule in refused.value.fields["rules"]
