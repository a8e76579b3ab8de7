"""What would make a manager throw the tool away, through the pages she works on.

What is not here is shown elsewhere: `test_curses.py` says where.
"""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from scheduling.models import Changeover
from scheduling.services.plans import make_plan, publish_plan
from school.models import Arena, Lesson, LessonGrid, StorePiece
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    KeepingPlaceFactory,
    LineFactory,
    StorePieceFactory,
)
from tests.factories.exercises import ExerciseRevisionFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import (
    AccountFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.plans import ChangeoverFactory, DayPlanFactory
from tests.factories.ride_logs import STAGES, RideLogFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingWishFactory
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of

pytestmark = pytest.mark.django_db

PART = {"HX-Request": "true"}


@pytest.fixture
def manager(client: Browser, monkeypatch: pytest.MonkeyPatch) -> Browser:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def plain(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def board(manager: Browser, ride, **other: object) -> str:
    """Return what the board says before a lesson is changed so."""
    lesson = ride.lesson
    asked = {
        "date": SATURDAY.isoformat(),
        "start": "09:00",
        "minutes": 60,
        "arena": lesson.arena_id,
        "instructor": lesson.instructor_id,
        "version": lesson.version,
        f"horse_{ride.pk}": ride.horse_id,
    } | other
    answer = manager.post(f"/board/lessons/{lesson.pk}/try/", asked, headers=PART)
    return answer.content.decode()


def test_a_warning_is_said_when_a_change_brings_it_and_not_ever_after(
    manager: Browser,
) -> None:
    """A horse of more than 120 minutes a day is warned of, and of 200 refused here."""
    horse = HorseFactory(name="Onyx", max_minutes=200)
    RideFactory(horse=horse, lesson__starts_at=at("14:00"), lesson__ends_at=at("15:30"))
    ride = RideFactory(horse=horse)

    brought = board(manager, ride, start="12:00", minutes=65)
    untouched = board(manager, ride, instructor=InstructorFactory().pk)
    refused = board(manager, ride, minutes=120)

    assert "Onyx would work 155 minutes" in brought
    assert 'class="note warn"' in brought
    assert "Over the limit" not in brought
    assert 'class="note warn"' not in untouched
    assert "Over the limit of a horse's work" in refused
    assert 'name="overrule"' in refused


def test_the_waiting_list_says_who_fits_a_gap_and_why_the_others_do_not(
    manager: Browser,
) -> None:
    HorseFactory(name="Juniper", weight_kg=600)
    gap = LessonFactory(kind="group", places=3)
    WaitingWishFactory(rider__person__first_name="Mira")
    WaitingWishFactory(rider__person__first_name="Sven", weekday=3)
    WaitingWishFactory(rider__person__first_name="Olga", rider__weight_kg=140)

    page = plain(manager.get(f"/lessons/{gap.pk}/waiting/").content.decode())

    fit, _, others = page.partition("They do not, and why")
    assert re.search(r"Mira .*day and hour as wished for.*level.*Juniper is free", fit)
    assert re.search(r"Sven .*wishes for Thursdays", others)
    assert re.search(r"Olga .*140 kg", others)


def test_cups_that_broke_at_one_arena_are_known_there_and_planned_without(
    manager: Browser, client: Browser
) -> None:
    lesson = RideFactory(horse__name="Onyx").lesson
    line = LineFactory(arena=lesson.arena)
    StorePieceFactory(piece="wing", working=28)
    StorePieceFactory(piece="pole", working=30, weight_g=12_000)
    cups = StorePieceFactory(piece="cup", place="Arena two", working=5, weight_g=300)
    one = ChangeoverFactory(
        plan=DayPlanFactory(state="published"), lesson=lesson, line=line
    )
    yard = Browser()
    yard.force_login(AccountFactory(person=GroundspersonFactory().person))
    yard.post(
        f"/changeovers/{one.pk}/trouble/",
        {"what": "A piece is broken", "says": "two cups"},
    )
    assert "two cups" in Changeover.objects.get().note

    day = manager.get(f"/day/{SATURDAY.isoformat()}/").content.decode()
    assert 'href="/store/"' in day
    manager.post(
        "/store/",
        {
            "piece": "cup", "place": cups.place, "working": 3, "broken": 2,
            "was_working": 5, "was_broken": 0,
        },
    )  # fmt: skip
    load_library(now=NOW)
    exercise = Exercise.objects.get(slug="placing-pole-double")
    grid = {"exercise": exercise.pk, "tradition": "schooling"}
    answer = manager.post(f"/lessons/{lesson.pk}/grid/", grid)

    assert StorePiece.objects.get(piece="cup").broken == 2
    assert re.search(r"more than the store has: \d cups of 3", answer.content.decode())
    assert not LessonGrid.objects.exists()


@pytest.fixture
def two_arenas(manager: Browser) -> tuple[Lesson, Arena, StorePiece]:
    """A lesson in the hall with six cups in its grid; arena two has a box of ten."""
    GroundspersonFactory()
    StorePieceFactory(piece="wing", working=28)
    StorePieceFactory(piece="pole", working=30)
    lines = [LineFactory(arena__name=name) for name in ("Hall", "Arena two")]
    boxes = [
        StorePieceFactory(
            piece="cup",
            place=KeepingPlaceFactory(name=line.arena.name, arena=line.arena),
            working=10,
        )
        for line in lines
    ]
    lesson = RideFactory(lesson__arena=lines[0].arena).lesson
    grid_of(lesson, cross(0), vertical(600, 80))
    return lesson, lines[1].arena, boxes[1]


def test_broken_cups_of_arena_two_are_said_wherever_a_grid_goes_there(
    manager: Browser,
    two_arenas: tuple[Lesson, Arena, StorePiece],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The store marks six of ten as broken; board, store and reset list know it."""
    lesson, two, box = two_arenas
    whole = board(manager, lesson.rides.get(), arena=two.pk)
    assert "cups" not in whole

    marked = manager.post(
        "/store/",
        {
            "piece": "cup", "place": box.place, "broke": 6,
            "was_working": 10, "was_broken": 0,
        },
        follow=True,
    )  # fmt: skip
    moved = board(manager, lesson.rides.get(), arena=two.pk)

    assert "Take back: 6 marked broken" in marked.content.decode()
    says = "cups: 4 work (6 of 10 are broken), this grid needs 6: fetch 2 from Hall."
    assert f"Arena two&#x27;s {says}" in moved
    assert "Not possible" not in moved

    Lesson.objects.update(arena=two)
    publish_plan(plan=make_plan(date=SATURDAY, by=None, now=NOW), by=None, now=NOW)

    for path in (f"/day/{SATURDAY}/", f"/resets/{SATURDAY}/"):
        text = plain(manager.get(path).content.decode())
        assert "Fetch 2 cups from Hall to Arena two" in text, path
    monkeypatch.setattr("django.utils.timezone.now", lambda: at("07:00"))
    assert "Cups 4 6 6 2 to fetch" in plain(manager.get("/store/").content.decode())


def test_what_was_marked_broken_by_mistake_is_taken_back_by_a_press(
    manager: Browser, two_arenas: tuple[Lesson, Arena, StorePiece]
) -> None:
    lesson, two, box = two_arenas
    StorePiece.objects.filter(pk=box.pk).update(working=4, broken=6)
    assert "fetch 2 from Hall" in board(manager, lesson.rides.get(), arena=two.pk)

    manager.post(
        "/store/",
        {
            "piece": "cup", "place": box.place, "working": 10, "broken": 0,
            "was_working": 4, "was_broken": 6,
        },
    )  # fmt: skip

    assert "fetch" not in board(manager, lesson.rides.get(), arena=two.pk)


def test_reports_tell_what_was_ridden_beside_what_was_planned(
    manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: at("20:00"))
    for clock, stage in (("09:00", len(STAGES)), ("11:00", 1)):
        lesson = LessonFactory(starts_at=at(clock))
        LessonGrid.objects.create(
            lesson=lesson, revision=ExerciseRevisionFactory(), tradition="schooling",
            start=[], end=[], approach_cm=0, runout_cm=0,
        )  # fmt: skip
        RideLogFactory(lesson=lesson, stage=stage)
    first = SATURDAY - timedelta(days=5)

    page = manager.get(f"/reports/ridden/?first={first}&last={SATURDAY}")

    text = plain(page.content.decode())
    columns = (
        "Every stage, as built Built otherwise Fewer stages Not jumped Not logged All"
    )
    assert f"{columns} 2027-03-01 1 0 1 0 0 2" in text
