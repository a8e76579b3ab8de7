"""What the store holds: what works, what is broken, and where."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from scheduling.convert.days import day_document
from scheduling.queries.days import day_rows
from school.models import Arena, AuditEntry, KeepingPlace, StorePiece
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    ArenaFactory,
    KeepingPlaceFactory,
    StorePieceFactory,
)
from tests.factories.lessons import LessonFactory
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, vertical
from tests.scheduling.rows import grid_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(person=GroundspersonFactory().person))
    return client


@pytest.fixture
def cups() -> StorePiece:
    return StorePieceFactory(
        piece="cup", place="Arena two", working=20, broken=1, weight_g=300
    )


def sent(**changes: object) -> dict[str, object]:
    return {
        "piece": "cup",
        "place": "Arena two",
        "working": 12,
        "broken": 9,
        "was_working": 20,
        "was_broken": 1,
    } | changes


def test_what_is_broken_is_seen_by_place_and_no_longer_planned_with(
    browser: Browser, cups: StorePiece
) -> None:
    StorePieceFactory(piece="cup", place="Hall", working=30, weight_g=300)

    page = browser.post("/store/", sent(), follow=True).content.decode()

    assert "Arena two: 12 that work, 9 broken, of the piece cup" in page
    assert "20 to 12 that work, 1 to 9 broken" in page
    assert day_document(day_rows(SATURDAY))["stock"]["cup"] == 42


def test_set_twice_it_is_written_down_once(browser: Browser, cups: StorePiece) -> None:
    browser.post("/store/", sent())
    browser.post("/store/", sent())

    assert AuditEntry.objects.filter(action="set store").count() == 1


def test_what_somebody_set_meanwhile_is_not_overwritten_unseen(
    browser: Browser, cups: StorePiece
) -> None:
    StorePiece.objects.update(working=18)

    answer = browser.post("/store/", sent())

    cups.refresh_from_db()
    assert answer.status_code == 409
    assert "Meanwhile Arena two has 18 that work" in answer.content.decode()
    assert cups.working == 18


def test_a_new_place_comes_into_the_book_with_what_one_weighs(
    browser: Browser,
) -> None:
    new = {"piece": "pole", "place": " Arena  two ", "working": 10, "broken": 0}

    assert browser.post("/store/", new).status_code == 409
    browser.post("/store/", new | {"kg": "11.5"})

    one = StorePiece.objects.get()
    assert (one.place.name, one.working, one.weight_g) == ("Arena two", 10, 11_500)


@pytest.mark.parametrize(
    "changes",
    [{"working": -1}, {"broken": 10_001}, {"place": " "}, {"piece": "flag"}, {"kg": 0}],
)
def test_what_is_no_stock_is_refused_and_changes_nothing(
    browser: Browser, cups: StorePiece, changes: dict[str, object]
) -> None:
    assert browser.post("/store/", sent(**changes)).status_code == 409

    cups.refresh_from_db()
    assert (cups.working, cups.broken) == (20, 1)


def test_an_empty_store_says_so(browser: Browser) -> None:
    assert "Nothing is in the book yet" in browser.get("/store/").content.decode()


def broke(count: object, **changes: object) -> dict[str, object]:
    seen = {key: one for key, one in sent().items() if key not in {"working", "broken"}}
    return seen | {"broke": count} | changes


def test_what_broke_is_marked_by_one_press_and_taken_back_by_another(
    browser: Browser, cups: StorePiece
) -> None:
    page = browser.post("/store/", broke(2), follow=True).content.decode()

    cups.refresh_from_db()
    assert (cups.working, cups.broken) == (18, 3)
    back = sent(working=20, broken=1, was_working=18, was_broken=3)
    assert "Take back: 2 marked broken" in page

    page = browser.post("/store/", back, follow=True).content.decode()

    cups.refresh_from_db()
    assert (cups.working, cups.broken) == (20, 1)
    assert "Take back" not in page


def test_pressed_twice_what_broke_is_counted_once(
    browser: Browser, cups: StorePiece
) -> None:
    browser.post("/store/", broke(2))
    browser.post("/store/", broke(2))

    cups.refresh_from_db()
    assert (cups.working, cups.broken) == (18, 3)
    assert AuditEntry.objects.filter(action="set store").count() == 1


def test_what_others_counted_since_is_not_taken_back(
    browser: Browser, cups: StorePiece
) -> None:
    browser.post("/store/", broke(2))
    StorePiece.objects.update(working=10)

    assert "Take back" not in browser.get("/store/").content.decode()


@pytest.mark.parametrize("count", [0, 21, "", "two"])
def test_no_more_breaks_than_works(
    browser: Browser, cups: StorePiece, count: object
) -> None:
    assert browser.post("/store/", broke(count)).status_code == 409

    cups.refresh_from_db()
    assert cups.working == 20


def test_a_place_is_an_arenas_own_once_somebody_says_so(
    browser: Browser, cups: StorePiece
) -> None:
    hall = ArenaFactory(name="Hall")
    asked = {"keeping": cups.place_id, "beside": hall.pk}

    page = browser.post("/store/", asked, follow=True).content.decode()
    browser.post("/store/", asked)

    assert "Arena two: its pieces are Hall&#x27;s own." in page
    assert KeepingPlace.objects.get().arena == hall
    assert AuditEntry.objects.filter(action="set keeping place").count() == 1

    browser.post("/store/", {"keeping": cups.place_id, "beside": ""})

    assert KeepingPlace.objects.get().arena is None


def test_a_new_place_named_like_an_arena_is_its_own(browser: Browser) -> None:
    arena = ArenaFactory(name="Arena two")
    new = {"piece": "pole", "working": 10, "broken": 0, "kg": "11.5"}

    browser.post("/store/", new | {"place": "arena two"})
    browser.post("/store/", new | {"place": "Rack", "beside": arena.pk})
    browser.post("/store/", new | {"place": "Barn"})

    places = KeepingPlace.objects.order_by("name").values_list("name", "arena__name")
    assert list(places) == [
        ("Barn", None), ("Rack", "Arena two"), ("arena two", "Arena two"),
    ]  # fmt: skip


def test_a_place_of_an_arena_that_goes_is_the_whole_yards(cups: StorePiece) -> None:
    place = KeepingPlaceFactory(name="Rack", arena=ArenaFactory())

    Arena.objects.all().delete()

    place.refresh_from_db()
    assert place.arena is None


def test_what_an_arenas_grids_need_stands_beside_what_it_has(
    browser: Browser, cups: StorePiece, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two cups a pole in cups, two in all on a cross: widely taught."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: at("07:00"))
    two = ArenaFactory(name="Arena two")
    KeepingPlace.objects.update(arena=two)
    StorePiece.objects.update(working=5, broken=15)
    StorePieceFactory(piece="cup", place="Barn", working=30)
    monday = SATURDAY + timedelta(days=2)
    for day, title, row in [
        (SATURDAY, "First", [cross(0)]),
        (monday, "Second", [cross(0), vertical(600, 80)]),
        (SATURDAY + timedelta(days=7), "Later", [vertical(0, 80), vertical(600, 80)]),
    ]:
        grid_of(LessonFactory(title=title, arena=two, starts_at=at("09:00", day)), *row)

    page = browser.get("/store/").content.decode()

    text = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "Cups 5 15 2 09:00 First 6 1 to fetch Mon 09:00 Second" in text
    assert "Later" not in text
    assert "Cups 30 0 none none" in text


def test_what_the_whole_yard_lacks_is_said_as_such(
    browser: Browser, cups: StorePiece, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    StorePiece.objects.update(working=1)
    grid_of(LessonFactory(starts_at=at("09:00")), cross(0))

    assert "1 too few" in browser.get("/store/").content.decode()


def test_the_page_takes_as_many_queries_for_three_places_as_for_one(
    browser: Browser,
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            browser.get("/store/")
        return len(asked)

    StorePieceFactory(piece="cup", place="Box")
    grid_of(LessonFactory(starts_at=at("09:00")), cross(0))
    browser.get("/store/")
    one = queries()
    for clock in ("11:00", "13:00"):
        place = KeepingPlaceFactory(name=f"Box {clock}", arena=ArenaFactory())
        StorePieceFactory(piece="cup", place=place)
        grid_of(LessonFactory(starts_at=at(clock)), cross(0))

    assert queries() == one
