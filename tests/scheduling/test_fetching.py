"""What a published plan's changeovers fetch from another arena's place, everywhere."""

import re

import pytest
from django.test import Client as Browser

from scheduling.convert.fetching import fetched_before
from scheduling.feeds.reset_list import reset_snapshot
from scheduling.models import Changeover, Standing
from scheduling.queries.carrying import Carrying
from scheduling.queries.changeovers import changeovers_of_day, changeovers_of_plan
from scheduling.services.plans import make_plan, publish_plan
from scheduling.sheets.reset_list import reset_sheet
from school.models import Arena, FeedToken, Groundsperson, Lesson, School, StorePiece
from school.queries.store import store_by_place
from school.services.lessons import cancel_lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of

pytestmark = pytest.mark.django_db

TWO_FETCHES = "2 cups from Pail (Hall) to Arena two"


@pytest.fixture
def yard() -> tuple[Arena, Arena]:
    """Two arenas: ten cups in the hall's pail, two in the box of arena two."""
    SchoolFactory(place_every_cm=100, start_every_min=30)
    GroundspersonFactory()
    arenas = []
    for name, place, working in (("Hall", "Pail", 10), ("Arena two", "Box", 2)):
        arena = LineFactory(arena__name=name, name=f"Line of {name}").arena
        kept = KeepingPlaceFactory(name=place, arena=arena)
        StorePieceFactory(piece="cup", place=kept, working=working)
        arenas.append(arena)
    return arenas[0], arenas[1]


def ridden(arena: Arena, clock: str, *row, end=None) -> Lesson:
    lesson = LessonFactory(title=f"Ride of {clock}", arena=arena, starts_at=at(clock))
    grid_of(lesson, *row, end=end)
    return lesson


def plan_the_day() -> None:
    publish_plan(plan=make_plan(date=SATURDAY, by=None, now=NOW), by=None, now=NOW)


def said() -> dict[str, str]:
    """What is fetched, by the lesson it is for."""
    changeovers = changeovers_of_day(SATURDAY)
    found = fetched_before(changeovers, store_by_place())
    return {one.title: found[one.pk] for one in changeovers if one.pk in found}


def test_what_an_arena_lacks_is_fetched_from_the_other(yard) -> None:
    # Two cups a pole in cups, two in all on a cross: widely taught.
    ridden(yard[0], "09:00", cross(0), vertical(600))
    ridden(yard[1], "10:00", cross(0), vertical(600))
    plan_the_day()

    assert said() == {"Ride of 10:00": TWO_FETCHES}


def test_what_the_row_is_raised_with_is_at_hand_from_the_start(yard) -> None:
    ridden(yard[1], "10:00", cross(0), end=[vertical(0, 80)])
    plan_the_day()

    assert said() == {
        "Ride of 10:00": f"{TWO_FETCHES}; some are what the lesson raises the row with"
    }


def test_what_stays_on_a_line_is_not_there_to_fetch(yard) -> None:
    Standing.objects.create(
        line=yard[0].lines.get(),
        elements=[vertical(700 + 600 * n, 80) for n in range(2)],
        as_of_at=NOW,
    )
    ridden(yard[1], "10:00", cross(0), vertical(600))
    plan_the_day()
    assert said() == {"Ride of 10:00": TWO_FETCHES}

    StorePiece.objects.filter(place__name="Pail").update(working=9, broken=1)

    assert said() == {
        "Ride of 10:00": "1 cup from Pail (Hall) to Arena two; 1 cup that lies free "
        "nowhere by then: count the store, or order the day anew"
    }


def test_what_is_called_off_fetches_nothing(yard) -> None:
    lesson = ridden(yard[1], "10:00", cross(0), vertical(600))
    plan_the_day()
    cancel_lesson(lesson=lesson, reason="Storm", by=None, now=NOW)

    every = changeovers_of_plan(Changeover.objects.get().plan)

    assert fetched_before(every, store_by_place()) == {}


def test_a_yard_whose_pieces_are_everybodys_fetches_nothing(yard) -> None:
    for place in yard[0].keeping_places.all() | yard[1].keeping_places.all():
        place.arena = None
        place.save()
    ridden(yard[1], "10:00", cross(0), vertical(600))
    plan_the_day()

    assert said() == {}


def test_it_stands_on_the_day_the_list_its_picture_paper_and_calendar(
    yard, client: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    ridden(yard[1], "10:00", cross(0), vertical(600))
    plan_the_day()
    client.force_login(AccountFactory(manager=True, person=None))
    one, day = Changeover.objects.get(), SATURDAY.isoformat()

    for path in (f"/day/{day}/", f"/resets/{day}/", f"/changeovers/{one.pk}/"):
        page = client.get(path).content.decode()
        text = " ".join(re.sub(r"<[^>]+>", " ", page).split())
        assert f"Fetch {TWO_FETCHES}" in text, path
    assert (
        "fetched from another place" in client.get(f"/resets/{day}/").content.decode()
    )
    school, who = School.objects.get(), Groundsperson.objects.get()
    (entry,) = reset_snapshot(school, FeedToken(person=who.person), NOW).entries
    assert f"Fetch {TWO_FETCHES}." in entry.description.splitlines()
    changeovers = changeovers_of_day(SATURDAY)
    sheet = reset_sheet(
        day=SATURDAY,
        changeovers=changeovers,
        school=school,
        carrying=Carrying({}),
        address="https://example.org/resets/",
        now=NOW,
        fetched=fetched_before(changeovers, store_by_place()),
    )
    assert [one.fetch for one in sheet.entries] == [TWO_FETCHES]
