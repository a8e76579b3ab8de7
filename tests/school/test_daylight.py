"""Daylight: the times held against almanac values, and what is refused in the dark."""

from datetime import date, time, timedelta

import pytest
from django.test import Client as Browser

from scheduling.models import Changeover
from scheduling.queries.carrying import Carrying
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.sheets.reset_list import reset_sheet
from school.models import Lesson, School
from school.queries.daylight import daylight, light_of, light_words
from school.services.checks import check_arena
from school.services.refusals import UnableToBook
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import ChangeoverFactory, DayPlanFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

NOVEMBER = date(2026, 11, 26)
NEXT_YEAR = date(2027, 11, 26)


@pytest.mark.parametrize(
    ("zone", "place", "day", "rises", "sets"),
    [
        # The worked example of the Almanac for Computers (Nautical Almanac Office,
        # US Naval Observatory), value from memory.
        ("America/New_York", (40.9, -74.3), date(1990, 6, 25), "05:26", None),
        # London and Amsterdam as almanacs print them, values from memory.
        ("Europe/London", (51.5, -0.12), date(2024, 6, 21), "04:43", "21:21"),
        ("Europe/Amsterdam", (52.37, 4.9), date(2023, 12, 21), "08:48", "16:29"),
    ],
)
def test_the_sun_rises_and_sets_as_almanacs_say(zone, place, day, rises, sets) -> None:
    school = SchoolFactory(zone=zone, latitude=place[0], longitude=place[1])

    found = daylight(school, day)

    assert found is not None
    for said, value in ((rises, found.rises), (sets, found.sets)):
        if said is not None:
            minutes = time.fromisoformat(said).hour * 60 + int(said[3:])
            assert abs(value.hour * 60 + value.minute - minutes) <= 2


def test_where_the_sun_does_not_set_nothing_is_said() -> None:
    school = SchoolFactory(latitude=78.0, longitude=15.0)

    assert daylight(school, date(2026, 6, 21)) is None


def test_a_school_that_has_not_said_where_it_lies_has_no_dark() -> None:
    SchoolFactory()

    check_arena(ArenaFactory(), at("18:00", NOVEMBER), at("19:00", NOVEMBER))


def test_an_arena_without_lights_is_refused_in_the_dark_with_the_hour() -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)
    arena = ArenaFactory(name="Arena two")

    with pytest.raises(UnableToBook) as refused:
        check_arena(arena, at("16:15", NOVEMBER), at("17:15", NOVEMBER))

    assert refused.value.code == "dark"
    assert "It is dark from 16:3" in refused.value.says
    assert "on 26 November; Arena two has no lights." in refused.value.says


def test_it_is_dark_in_the_morning_too() -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)

    with pytest.raises(UnableToBook, match="dark until 08:2"):
        check_arena(ArenaFactory(), at("08:00", NOVEMBER), at("09:00", NOVEMBER))


@pytest.mark.parametrize("change", [{"lit": True}, {"indoor": True}])
def test_a_lit_or_covered_arena_is_used_in_the_dark(change) -> None:
    SchoolFactory(latitude=52.37, longitude=4.9)

    arena = ArenaFactory(**change)

    check_arena(arena, at("18:00", NOVEMBER), at("19:00", NOVEMBER))


@pytest.mark.parametrize(
    ("starts", "ends", "says"),
    [
        ("15:00", "16:04", ""),
        ("15:00", "16:05", "be done by 16:04"),
        ("15:00", "16:31", "The sun sets at 16:3"),
        ("15:00", "17:00", "It is dark from 16:3"),
        ("08:00", "09:00", "It is dark until 08:2"),
    ],
)
def test_the_last_half_hour_of_light_is_warned_of_with_the_hour(
    starts: str, ends: str, says: str
) -> None:
    school = SchoolFactory(latitude=52.37, longitude=4.9)
    arena = ArenaFactory(name="Arena two")

    light = daylight(school, NOVEMBER)
    words = light_words(light, arena, at(starts, NOVEMBER), at(ends, NOVEMBER))

    assert says in words
    assert bool(says) == bool(words)
    assert not words or "Arena two has no lights" in words
    lit = ArenaFactory(lit=True)
    assert light_words(light, lit, at(starts, NOVEMBER), at(ends, NOVEMBER)) == ""


def test_what_is_said_of_the_light_is_what_is_held() -> None:
    school = SchoolFactory(latitude=52.37, longitude=4.9)
    light = daylight(school, NOVEMBER)
    assert light is not None

    check_arena(ArenaFactory(), light.rises, light.sets)

    minute = timedelta(minutes=1)
    with pytest.raises(UnableToBook, match=f"dark until {light.rises:%H:%M}"):
        check_arena(ArenaFactory(), light.rises - minute, light.sets)
    with pytest.raises(UnableToBook, match=f"dark from {light.sets:%H:%M}"):
        check_arena(ArenaFactory(), light.rises, light.sets + minute)


def dusk_lesson() -> Lesson:
    SchoolFactory(latitude=52.37, longitude=4.9)
    return LessonFactory(
        title="Late hack",
        arena=ArenaFactory(name="Arena two"),
        starts_at=at("15:30", NEXT_YEAR),
        ends_at=at("16:15", NEXT_YEAR),
    )


def test_a_lesson_says_that_it_ends_in_the_last_light(client: Browser) -> None:
    lesson = dusk_lesson()
    assert "be done by 16:0" in light_of(lesson, School.objects.get())
    client.force_login(AccountFactory(manager=True, person=None))

    for path in (f"/lessons/{lesson.pk}/", f"/day/{NEXT_YEAR}/"):
        page = client.get(path).content.decode()
        assert "Arena two has no lights: be done by 16:0" in page
    # The board shades the dark.
    assert "dark from 16:3" in page
    assert "dark</text>" in client.get(f"/week/{NEXT_YEAR}/").content.decode()


def test_the_reset_list_says_it_on_the_page_and_on_paper(client: Browser) -> None:
    lesson = dusk_lesson()
    plan = DayPlanFactory(state="published", date=NEXT_YEAR)
    work = ChangeoverFactory(
        plan=plan,
        lesson=lesson,
        starts_at=at("16:05", NEXT_YEAR),
        ends_at=at("16:15", NEXT_YEAR),
    )
    client.force_login(AccountFactory(person=GroundspersonFactory().person))

    page = client.get(f"/resets/{NEXT_YEAR}/").content.decode()
    sheet = reset_sheet(
        day=NEXT_YEAR,
        changeovers=changeovers_of_day(NEXT_YEAR),
        school=School.objects.get(),
        carrying=Carrying({}),
        address="https://example.org/",
        now=NOW,
    )

    assert "Arena two has no lights: be done by 16:0" in page
    assert "be done by 16:0" in sheet.entries[0].light
    # What is done needs no light.
    Changeover.objects.filter(pk=work.pk).update(
        started_at=at("16:00", NEXT_YEAR), done_at=at("16:10", NEXT_YEAR)
    )
    assert "be done by" not in client.get(f"/resets/{NEXT_YEAR}/").content.decode()


def test_a_booking_is_warned_of_the_last_light_before_and_after(
    client: Browser,
) -> None:
    lesson = dusk_lesson()
    client.force_login(AccountFactory(manager=True, person=None))

    foretold = client.post(
        f"/board/lessons/{lesson.pk}/try/",
        {"date": str(NEXT_YEAR), "start": "15:35", "arena": lesson.arena_id,
         "minutes": "40", "instructor": lesson.instructor_id,
         "version": lesson.version},
    ).content.decode()  # fmt: skip
    booked = client.post(
        "/lessons/new/",
        {"title": "Later still", "kind": "private", "work": "flat", "places": "1",
         "date": str(NEXT_YEAR + timedelta(days=1)), "start": "15:20", "minutes": "50",
         "arena": lesson.arena_id, "instructor": lesson.instructor_id},
        follow=True,
    ).content.decode()  # fmt: skip

    assert "be done by 16:0" in foretold
    assert "is booked." in booked
    assert "be done by 16:0" in booked
