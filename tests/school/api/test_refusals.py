"""Every door refuses alike: booking, API and a table brought in, in the same words.

One rule at a time refuses, with every other switched off.
"""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser

from school.models import Horse, HorseDayOff, Lesson, Rider
from school.services.booking import book_lesson
from school.services.refusals import UnableToBook
from school.services.rides import change_horse
from school.tables.columns import Kind
from school.welfare.rules import RULES
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import AccountFactory, InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.factories.tables import lesson as row
from tests.factories.welfare import DayHeatFactory
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of
from tests.school.services.table_files import says, take, whats

pytestmark = pytest.mark.django_db

EARLIER = SATURDAY + timedelta(days=12)
"""A day of another week, from which a lesson is moved to the Saturday."""

REFUSE = {
    "weight": 5,
    "weight-jumping": 5,
    "lessons-day": 1,
    "minutes-day": 70,
    "minutes-week": 100,
    "rest": 30,
    "in-a-row": 1,
    "days-in-a-row": 1,
    "day-off": 0,
    "jumping-day": 1,
    "jumping-week": 1,
    "jumping-running": 1,
    "efforts": 0,
    "efforts-high": 0,
    "young-jumping": 8,
    "old-jumping": 10,
    "heat": 100,
}
"""What refuses in the scene below, each alone."""

OF_THE_PAIR = {"weight", "weight-jumping", "young-jumping", "old-jumping"}
"""What no move makes worse, so that no move is refused for it."""

CODES = {
    "weight": "too-heavy",
    "weight-jumping": "too-heavy",
    "lessons-day": "horse-limit",
    "minutes-day": "horse-limit",
    "rest": "horse-rest",
    "day-off": "horse-day-off",
}


def scene(rule: str) -> tuple[Rider, Horse]:
    """Bramble jumps on the Friday, and on the Saturday from ten past eleven."""
    off = {one.name: {"warn": None, "refuse": None} for one in RULES}
    SchoolFactory(welfare=off | {rule: {"warn": None, "refuse": REFUSE[rule]}})
    born = date(2022, 4, 1) if rule == "young-jumping" else date(2014, 4, 1)
    horse = HorseFactory(
        name="Bramble", rest_min=0, born_date=born, bookable_from_date=date(2026, 4, 1)
    )
    if rule == "day-off":
        HorseDayOff.objects.create(horse=horse, weekday=5)
    else:
        HorseDayOff.objects.create(horse=horse, weekday=6)
    DayHeatFactory()
    friday = SATURDAY - timedelta(days=1)
    RideFactory(horse=horse, lesson__starts_at=at("09:00", friday))
    other = RideFactory(horse=horse, lesson__starts_at=at("11:10")).lesson
    grid_of(other, cross(0), vertical(600, 90 if rule == "efforts-high" else 60))
    ArenaFactory(name="Hall")
    InstructorFactory(person__first_name="Ines")
    return RiderFactory(person__first_name="Wieke"), horse


def work_of(rule: str) -> str:
    return "flat" if rule == "weight" else "jumping"


def refused(rider: Rider, horse: Horse, work: str) -> UnableToBook:
    """Return why the lesson of the table's row is not booked."""
    with pytest.raises(UnableToBook) as caught:
        book_lesson(
            title="Lesson 1",
            kind="private",
            work=work,
            starts_at=at("10:00"),
            minutes=60,
            arena=ArenaFactory(),
            instructor=InstructorFactory(),
            places=2,
            rides=[(rider, horse)],
            by=None,
            now=NOW,
        )
    return caught.value


def brought(rider: Rider, horse: Horse, work: str) -> str:
    cells = row(1, Work=work, **{"Riders and horses": f"{rider} / {horse}"})
    file = take(Kind.LESSONS, [cells], AccountFactory(manager=True, person=None))
    assert whats(file) == ["refused"]
    return says(file)[0]


@pytest.mark.parametrize("rule", [one.name for one in RULES])
def test_a_table_is_refused_by_every_rule_in_the_words_of_a_booking(rule: str) -> None:
    rider, horse = scene(rule)

    error, booked = refused(rider, horse, work_of(rule)), Lesson.objects.count()

    assert error.code == CODES.get(rule, "welfare")
    assert error.fields["rules"] == [rule]
    assert brought(rider, horse, work_of(rule)) == error.says
    assert Lesson.objects.count() == booked


def moved(client: Browser, lesson: Lesson):
    client.force_login(AccountFactory(manager=True))
    return client.patch(
        f"/api/lessons/{lesson.pk}/",
        {"version": 1, "starts_at": at("10:00").isoformat()},
        content_type="application/json",
    )


@pytest.mark.parametrize("rule", [x.name for x in RULES if x.name not in OF_THE_PAIR])
def test_the_api_refuses_by_every_rule_with_code_and_words(
    client: Browser, rule: str
) -> None:
    rider, horse = scene(rule)
    lesson = RideFactory(
        rider=rider, horse=horse, lesson__starts_at=at("10:00", EARLIER)
    ).lesson

    answer = moved(client, lesson)

    assert answer.status_code == 409
    told = answer.json()
    assert (told["code"], told["overridable"]) == (CODES.get(rule, "welfare"), True)
    assert told["fields"]["rules"] == [rule]
    assert told["says"] == refused(rider, horse, work_of(rule)).says
    lesson.refresh_from_db()
    assert lesson.starts_at == at("10:00", EARLIER)


@pytest.mark.parametrize("rule", sorted(OF_THE_PAIR))
def test_the_api_moves_what_a_move_makes_no_worse(client: Browser, rule: str) -> None:
    rider, horse = scene(rule)
    lesson = RideFactory(
        rider=rider, horse=horse, lesson__work=work_of(rule),
        lesson__starts_at=at("10:00", EARLIER),
    ).lesson  # fmt: skip

    assert moved(client, lesson).status_code == 200


@pytest.mark.parametrize("code", ["never-again", "stopped", "no-consent"])
def test_a_table_books_nobody_who_may_not_ride(code: str) -> None:
    SchoolFactory()
    ArenaFactory(name="Hall")
    InstructorFactory(person__first_name="Ines")
    horse = HorseFactory(name="Bramble")
    rider = RiderFactory(person__first_name="Wieke", minor=code == "no-consent")
    if code == "never-again":
        RiderHorseFactory(rider=rider, horse=horse)
    if code == "stopped":
        RiderStopFactory(rider=rider)

    error = refused(rider, horse, "flat")

    assert (error.code, error.overridable) == (code, False)
    assert brought(rider, horse, "flat") == error.says


@pytest.mark.parametrize("code", ["never-again", "horse-limit"])
def test_a_later_table_gives_no_horse_that_a_swap_would_not(code: str) -> None:
    SchoolFactory()
    limit = 50 if code == "horse-limit" else 240
    horse = HorseFactory(name="Bramble", max_minutes=limit)
    by = AccountFactory(manager=True, person=None)
    ride = RideFactory(
        horse=None, rider__person__first_name="Wieke", lesson__starts_at=at("10:00"),
        lesson__arena__name="Hall", lesson__instructor__person__first_name="Ines",
        lesson__kind="private", lesson__title="Lesson 1",
    )  # fmt: skip
    if code == "never-again":
        RiderHorseFactory(rider=ride.rider, horse=horse)
    cells = row(1, **{"Riders and horses": f"{ride.rider} / Bramble"})
    cells |= {"Our reference": "", "Places": str(ride.lesson.places)}

    with pytest.raises(UnableToBook) as caught:
        change_horse(ride=ride, horse=horse, by=by, now=NOW)

    assert caught.value.code == code
    file = take(Kind.LESSONS, [cells], by)
    assert (whats(file), says(file)) == (["refused"], [caught.value.says])


def test_the_api_moves_no_pair_that_is_noted_as_never_again(client: Browser) -> None:
    SchoolFactory()
    ride = RideFactory(lesson__starts_at=at("10:00", EARLIER))
    RiderHorseFactory(rider=ride.rider, horse=ride.horse)

    told = moved(client, ride.lesson).json()

    assert (told["code"], told["overridable"]) == ("never-again", False)
    assert told["says"] == refused(ride.rider, ride.horse, "flat").says


@pytest.mark.parametrize("code", ["stopped", "no-consent"])
def test_the_api_moves_nobody_to_a_day_who_may_not_ride_then(
    client: Browser, code: str
) -> None:
    SchoolFactory()
    thursday = SATURDAY - timedelta(days=2)
    rider = RiderFactory(minor=code == "no-consent")
    if code == "no-consent":
        RidingConsentFactory(rider=rider, expires_date=thursday)
    ride = RideFactory(rider=rider, lesson__starts_at=at("10:00", thursday))
    if code == "stopped":
        RiderStopFactory(rider=rider, from_date=SATURDAY)

    answer = moved(client, ride.lesson)

    assert answer.status_code == 409
    assert (answer.json()["code"], answer.json()["overridable"]) == (code, False)
    with pytest.raises(UnableToBook) as caught:
        book_lesson(
            title="The same day", kind="private", work="flat", starts_at=at("10:00"),
            minutes=60, arena=ArenaFactory(), instructor=InstructorFactory(),
            rides=[(ride.rider, None)], by=None, now=NOW,
        )  # fmt: skip
    assert answer.json()["says"] == caught.value.says
