"""Lessons in a table; and every table written and read back as it was."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from school.models import (
    Lesson,
    OutboxMessage,
    OwnReference,
    Ride,
    School,
)
from school.queries.tables import table_of
from school.services.table_files import (
    bring_in,
)
from school.tables.columns import Kind
from school.tables.writing import as_csv, as_workbook
from tests.clock import NOW, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.tables import lesson
from tests.school.services.table_files import bring, says, take, whats

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    SchoolFactory()
    return AccountFactory(manager=True, person=None)


# --- lessons -------------------------------------------------------------------------


@pytest.fixture
def yard(by):
    ArenaFactory(name="Hall")
    ArenaFactory(name="Meadow")
    InstructorFactory(person__first_name="Ines")
    HorseFactory(name="Bramble")
    RiderFactory(person__first_name="Wieke")
    return by


def test_lessons_are_booked_by_every_rule_of_booking(yard) -> None:
    rows = [
        lesson(1, **{"Riders and horses": "Wieke Example / Bramble"}),
        lesson(2, Start="10:30"),
        lesson(3, Start="21:00"),
        lesson(4, **{"Start": "11:15", "Riders and horses": "wieke example/bramble"}),
    ]

    file = take(Kind.LESSONS, rows, yard)

    assert whats(file) == ["new", "refused", "refused", "refused"]
    assert says(file)[1] == "Hall is taken by Lesson 1 until 11:00."
    assert "open from 08:00 to 20:00" in says(file)[2]
    assert "would rest 15 minutes" in says(file)[3]
    assert Lesson.objects.count() == 0

    bring_in(file=file, set_aside=True, by=yard, now=NOW)

    made = Lesson.objects.get()
    assert made.starts_at == at("10:00")
    assert str(made.rides.get().horse) == "Bramble"
    assert OutboxMessage.objects.count() == 0


def test_clients_are_written_to_where_that_is_asked(yard) -> None:
    rows = [lesson(1, **{"Riders and horses": "Wieke Example"})]

    bring(Kind.LESSONS, rows, yard, tell=True)

    assert OutboxMessage.objects.count() == 1


def test_a_lesson_is_moved_renamed_and_filled(yard) -> None:
    bring(Kind.LESSONS, [lesson(1), lesson(2)], yard)
    InstructorFactory(person__first_name="Jos")
    changed = lesson(
        1,
        Title="Row of crosses",
        Start="14:00",
        Minutes="45",
        Arena="Meadow",
        Instructor="Jos Example",
        **{"Riders and horses": "Wieke Example"},
    )

    file = bring(Kind.LESSONS, [changed, lesson(2)], yard, tell=True)

    assert whats(file) == ["changed", "same"]
    assert says(file)[0] == (
        "Title Lesson 1 → Row of crosses; Sat 6 Mar 10:00 → Sat 6 Mar 14:00; "
        "Minutes 60 → 45; Arena Hall → Meadow; Instructor Ines Example → Jos Example; "
        "Wieke Example joins"
    )
    horsed = changed | {"Riders and horses": "Wieke Example / Bramble"}
    assert "Wieke Example rides Bramble" in says(bring(Kind.LESSONS, [horsed], yard))[0]
    assert whats(take(Kind.LESSONS, [horsed, lesson(2)], yard)) == ["same", "same"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"Work": "flat"}, "booked as jumping"),
        ({"Kind": "lead-rein"}, "does not make it another kind"),
        ({"Places": "1"}, "has 2 riders already"),
        ({"Riders and horses": "Wieke Example"}, "not in the row"),
        ({"Riders and horses": "Nobody"}, "no rider called Nobody"),
        ({"Riders and horses": "Wieke Example / Pegasus"}, "no horse called Pegasus"),
        ({"Riders and horses": "[here-99999]"}, "no rider [here-99999]"),
        ({"Riders and horses": "Wieke Example; Wieke Example"}, "named twice"),
        ({"Arena": "Moon"}, "no arena called Moon"),
        ({"Our reference": "here-99999"}, "no lesson here-99999"),
        ({"Our reference": "other"}, "has the reference L1 here"),
    ],
)
def test_a_lessons_row_that_cannot_be_says_why(yard, change, words) -> None:
    RiderFactory(person__first_name="Anke")
    both = lesson(1, **{"Riders and horses": "Wieke Example / Bramble; Anke Example"})
    bring(Kind.LESSONS, [both], yard)

    file = take(Kind.LESSONS, [both | change], yard)

    assert whats(file) == ["refused"]
    assert words in says(file)[0]


def test_a_name_that_two_have_is_asked_for_as_a_reference(yard) -> None:
    twin = RiderFactory(person__first_name="Wieke")

    vague = take(
        Kind.LESSONS, [lesson(1, **{"Riders and horses": "Wieke Example"})], yard
    )
    exact = bring(
        Kind.LESSONS, [lesson(1, **{"Riders and horses": f"[here-{twin.pk}]"})], yard
    )

    assert "2 have the name Wieke Example" in says(vague)[0]
    assert whats(exact) == ["new"]
    assert Ride.objects.get().rider == twin


def test_a_lesson_is_found_by_its_start_and_arena(yard) -> None:
    bring(Kind.LESSONS, [lesson(1)], yard)
    row = lesson(1, Title="Other") | {"Our reference": ""}

    file = bring(Kind.LESSONS, [row], yard)

    assert says(file) == ["Title Lesson 1 → Other"]


def test_where_a_lesson_was_moved_away_a_later_row_books_another(yard) -> None:
    bring(Kind.LESSONS, [lesson(1)], yard)
    moved = lesson(1, Start="14:00")
    there = lesson(9, Start=lesson(1)["Start"], **{"Our reference": ""})

    file = bring(Kind.LESSONS, [moved, there], yard)

    assert whats(file) == ["changed", "new"]


def test_more_places_on_the_lead_rein_need_more_leaders(yard) -> None:
    School.objects.update(leaders=1)
    led = lesson(1, Kind="lead-rein", Places="1", **{"Riders and horses": ""})
    bring(Kind.LESSONS, [led], yard)

    file = take(Kind.LESSONS, [led | {"Places": "2"}], yard)

    assert whats(file) == ["refused"]
    assert "lead" in says(file)[0]


def test_what_was_given_to_a_lesson_by_an_earlier_row_is_not_given_again(yard) -> None:
    file = take(Kind.LESSONS, [lesson(1), lesson(1) | {"Our reference": ""}], yard)

    assert whats(file) == ["new", "refused"]
    assert "Row 2 speaks of the same" in says(file)[1]


# --- written and read back -----------------------------------------------------------


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("kind", list(Kind))
def test_what_is_written_is_the_same_when_it_is_read_back(yard, kind, form) -> None:
    guardian = ClientFactory(language="de", person__first_name="=Wieke")
    RiderFactory(client=guardian, health="asthma\nno nuts", person__last_name="-1")
    own = RiderFactory(client__person__first_name="Same")
    OwnReference.objects.create(rider=own, text="'quoted")
    ride = RideFactory(horse__name="+Fern; of / two", lesson__title="@Row")
    HorseFactory(notes="=1+1", canter_stride_cm=340)
    RideFactory(lesson=ride.lesson, rider=own, horse=None)
    for _ in range(2):
        RideFactory(lesson=ride.lesson, rider__person__first_name="Twin")
    titles, rows = table_of(kind, ZONE)
    body = as_csv(titles, rows) if form == "csv" else as_workbook("t", titles, rows)

    file = take(kind, body, yard)

    assert set(whats(file)) == {"same"}, says(file)


@pytest.mark.parametrize("kind", list(Kind))
def test_writing_a_table_asks_the_same_for_one_and_three_rows(yard, kind) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            table_of(kind, ZONE)
        return len(queries)

    RideFactory()
    one = asked()
    RideFactory(lesson__starts_at=at("15:00"))
    RideFactory(lesson__starts_at=at("12:00"))
    assert asked() == one
