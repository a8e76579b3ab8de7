"""Tables are tried, brought in whole or with the bad rows set aside, and read back."""

from datetime import date, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from school.models import (
    AuditEntry,
    Client,
    Horse,
    OwnReference,
    Person,
    Rider,
    TableFile,
)
from school.queries.tables import table_of
from school.services.table_files import (
    KEPT,
    UnableToBringIn,
    bring_in,
    counted,
    forget_file,
    forget_old_files,
    map_columns,
    set_aside_file,
)
from school.tables.columns import Kind
from school.tables.writing import as_csv, as_workbook
from tests.clock import NOW, ZONE
from tests.factories.horses import HorseFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    InstructorFactory,
    RiderFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.tables import horse, lesson, person
from tests.school.services.table_files import bring, says, take, whats

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    SchoolFactory()
    return AccountFactory(manager=True, person=None)


# --- the whole way -----------------------------------------------------------------

BAD = {
    "a day that is none": ({"Born": "31.02.1990"}, "no day of the calendar"),
    "a two-figure year": ({"Born": "4.5.90"}, "four figures for the year"),
    "born tomorrow": ({"Born": "2099-01-01"}, "can't be right for a rider"),
    "no first name": ({"First name": ""}, "First name: empty"),
    "no weight": ({"Weight (kg)": ""}, "Weight (kg): empty"),
    "words for a number": ({"Weight (kg)": "light"}, "is no number: light"),
    "a weight of nobody": ({"Weight (kg)": "640"}, "from 10 to 180 is possible"),
    "a level nobody knows": ({"Level": "wizard"}, "must be one of novice"),
    "no emergency phone": ({"Emergency phone": ""}, "Emergency phone: empty"),
    "a mail without a place": ({"Mail": "rider at home"}, "is no mail address"),
    "a minor alone": ({"Born": "2015-05-04"}, "name a guardian"),
    "a name without an end": ({"First name": "x" * 61}, "has 61 characters"),
}


def thousand() -> tuple[list[dict[str, str]], dict[int, str]]:
    """A thousand riders; 37 are bad, each in one of twelve ways or there twice."""
    rows = [person(n) for n in range(1000)]
    expected = {}
    kinds = list(BAD.values())
    for k in range(36):
        n = 20 + 27 * k
        change, words = kinds[k % len(kinds)]
        rows[n], expected[n] = rows[n] | change, words
    rows[999] = person(5)
    expected[999] = "Row 7 speaks of the same"
    return rows, expected


def test_of_a_thousand_rows_37_are_set_aside_mended_and_read_again(by) -> None:
    rows, expected = thousand()
    people = Person.objects.count()
    with CaptureQueriesContext(
        connection,
    ) as asked:
        file = take(Kind.PEOPLE, rows, by)

    assert counted(file) == {"new": 963, "changed": 0, "same": 0, "refused": 37}
    assert Person.objects.count() == people
    for n, words in expected.items():
        number, what, said = file.fates[n]
        assert (number, what) == (n + 2, "refused")
        assert words in said
    assert len(asked) < 80

    with pytest.raises(UnableToBringIn, match="37 rows can't be brought in"):
        bring_in(file=file, set_aside=False, by=by, now=NOW)
    assert Rider.objects.count() == 0

    file = bring_in(file=file, set_aside=True, by=by, now=NOW)
    assert Rider.objects.count() == 963

    aside = set_aside_file(file).decode("utf-8-sig").splitlines()
    assert len(aside) == 38
    assert aside[0].endswith("What to mend")
    mended = [person(n) for n in expected if n != 999] + [person(999)]
    again = bring(Kind.PEOPLE, mended, by)
    assert counted(again)["new"] == 37
    assert Rider.objects.count() == Client.objects.count() == 1000

    whole = take(Kind.PEOPLE, [person(n) for n in range(1000)], by)
    assert counted(whole) == {"new": 0, "changed": 0, "same": 1000, "refused": 0}


def test_a_file_of_rows_set_aside_is_read_as_it_is(by) -> None:
    rows = [horse(1), horse(2, Level="wizard", Name="=Bramble")]
    file = bring(Kind.HORSES, rows, by, set_aside=True)

    again = take(Kind.HORSES, set_aside_file(file), by)

    assert again.headers[-1] == "What to mend"
    assert again.mapping[-1] == ""
    assert again.rows[0][:2] == ["H2", "=Bramble"]
    assert "must be one of novice" in says(again)[0]
    twice = set_aside_file(again).decode("utf-8-sig").splitlines()
    assert twice[0].count("What to mend") == 1


@pytest.mark.parametrize("kind", [Kind.HORSES, Kind.PEOPLE])
def test_queries_do_not_grow_with_the_rows(by, kind) -> None:
    make = horse if kind is Kind.HORSES else person

    def asked(first, count) -> int:
        rows = [make(n) for n in range(first, first + count)]
        with CaptureQueriesContext(connection) as queries:
            bring(kind, rows, by)
        return len(queries)

    assert asked(0, 1) == asked(10, 30)


# --- horses --------------------------------------------------------------------------


def test_a_new_horse_has_its_limits_and_may_be_ridden_from_the_schools_age(by) -> None:
    bring(Kind.HORSES, [horse(1, Born="29.2.2024")], by)

    made = Horse.objects.get()
    assert made.bookable_from_date == date(2028, 2, 29)
    assert (made.rest_min, made.max_lessons) == (30, 3)
    assert made.reference.text == "H1"
    assert AuditEntry.objects.filter(action="bring in", subject="horse").count() == 1


def test_a_horse_born_on_a_leap_day_is_old_enough_on_the_first_of_march(by) -> None:
    by_three = SchoolFactory()
    by_three.min_horse_age_years = 5
    by_three.save()

    bring(Kind.HORSES, [horse(1, Born="29/02/2020")], by)

    assert Horse.objects.get().bookable_from_date == date(2025, 3, 1)


def test_a_horse_is_found_by_its_name_and_changed_where_the_row_says_so(by) -> None:
    here = HorseFactory(name="Bramble", weight_kg=500, notes="kind")

    file = bring(
        Kind.HORSES,
        [horse(7, Name="bramble ", Born="2016-04-01") | {"Notes": ""}],
        by,
    )

    here.refresh_from_db()
    assert (here.name, here.weight_kg, here.notes) == ("bramble", 550, "kind")
    assert here.bookable_from_date == date(2020, 4, 1)
    assert "Weight (kg) 500 → 550" in says(file)[0]
    assert "reference H7" in says(file)[0]


def test_a_horse_is_renamed_by_its_reference(by) -> None:
    bring(Kind.HORSES, [horse(1)], by)
    bring(Kind.HORSES, [horse(1, Name="Sedge")], by)

    assert Horse.objects.get().name == "Sedge"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"Our reference": "here-999"}, "There is no horse here-999"),
        ({"Our reference": "X", "Name": "Bramble"}, "has the reference B here, not X"),
        ({"Our reference": "B", "Name": "Fern"}, "Another horse is called Fern"),
        ({"Born": "1950-01-01"}, "can't be right for a horse"),
        ({"Height (cm)": "12 hands"}, "is no number"),
        ({"Height (cm)": "16.0"}, "from 70 to 200"),
    ],
)
def test_a_horses_row_that_cannot_be_says_why(by, change, words) -> None:
    HorseFactory(name="Fern")
    OwnReference.objects.create(horse=HorseFactory(name="Bramble"), text="B")

    file = take(Kind.HORSES, [horse(1) | change], by)

    assert whats(file) == ["refused"]
    assert words in says(file)[0]


@pytest.mark.parametrize(
    ("cell", "cm"),
    [("1,48", 148), ("1.48 m", 148), ("148 cm", 148), ("148,5", 148), ("148", 148)],
)
def test_heights_are_read_in_metres_and_with_a_decimal_comma(by, cell, cm) -> None:
    bring(Kind.HORSES, [horse(1) | {"Height (cm)": cell}], by)

    assert Horse.objects.get().height_cm == cm


def test_the_order_of_day_and_month_is_as_said(by) -> None:
    rows = [horse(1, Born="03/04/2015")]

    bring(Kind.HORSES, rows, by, day_first=False)

    assert Horse.objects.get().born_date == date(2015, 3, 4)


def test_two_horses_whose_names_differ_in_case_alone_are_told_apart(by) -> None:
    for name in ("Bramble", "BRAMBLE"):
        HorseFactory(name=name)
    written = as_csv(*table_of(Kind.HORSES, ZONE))

    assert whats(take(Kind.HORSES, written, by)) == ["same", "same"]
    vague = take(Kind.HORSES, [horse(1, Name="bramble")], by)
    assert "2 horses are called bramble here" in says(vague)[0]


words = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Cn"]) | st.sampled_from("\n=+-@';,"),
    max_size=20,
)
a_horse = st.fixed_dictionaries({
    "name": words.map(str.strip).filter(bool),
    "notes": words,
    "height_cm": st.integers(70, 200),
    "canter_stride_cm": st.none() | st.integers(150, 450),
    "born_date": st.dates(date(2000, 1, 1), date(2020, 12, 31)),
    "max_minutes": st.integers(0, 600),
})  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(a_horse, min_size=1, max_size=5, unique_by=lambda one: one["name"]))
def test_any_horses_written_and_read_back_are_as_they_were(by, horses) -> None:
    with transaction.atomic():
        for one in horses:
            HorseFactory(**one, bookable_from_date=date(2026, 1, 1))
        titles, rows = table_of(Kind.HORSES, ZONE)
        for body in (as_csv(titles, rows), as_workbook("t", titles, rows)):
            file = take(Kind.HORSES, body, by)
            assert set(whats(file)) == {"same"}, says(file)
        transaction.set_rollback(True)


# --- people --------------------------------------------------------------------------


def child(n: int, **changes: str) -> dict[str, str]:
    return (
        person(
            n,
            **{
                "Born": "2015-05-04",
                "Mail": "",
                "Guardian's first name": "Wieke",
                "Guardian's mail": "wieke@example.org",
            },
        )
        | changes
    )


def test_two_children_of_one_guardian_have_one_client(by) -> None:
    bring(Kind.PEOPLE, [child(1), child(2)], by)

    assert Client.objects.get().riders.count() == 2
    assert Client.objects.get().person.email == "wieke@example.org"


def test_a_guardian_who_rides_is_one_person(by) -> None:
    own = person(
        3, **{"First name": "Wieke", "Last name": "", "Mail": "wieke@example.org"}
    )

    bring(Kind.PEOPLE, [child(1), own], by)

    assert Client.objects.count() == 1
    assert Rider.objects.filter(client=Client.objects.get()).count() == 2
    assert counted(take(Kind.PEOPLE, [child(1), own], by))["same"] == 2


def test_a_client_who_is_here_begins_to_ride(by) -> None:
    here = ClientFactory(person__first_name="Wieke", person__last_name="")
    row = person(3, **{
        "First name": "Wieke", "Last name": "", "Mail": here.person.email,
    }) | {"Phone": "555 0199"}  # fmt: skip

    bring(Kind.PEOPLE, [row], by)

    assert Rider.objects.get().pk == here.pk
    here.person.refresh_from_db()
    assert here.person.phone == "555 0199"
    assert counted(take(Kind.PEOPLE, [row], by))["same"] == 1


def test_a_guardian_who_is_here_is_found_by_name(by) -> None:
    here = ClientFactory(person__first_name="Wieke", person__last_name="Harkema")

    bring(
        Kind.PEOPLE,
        [child(1, **{"Guardian's mail": ""}) | {"Guardian's last name": "harkema"}],
        by,
    )

    assert Rider.objects.get().client == here


def test_a_level_from_a_file_is_not_signed(by) -> None:
    rider = RiderFactory(
        level="novice",
        level_signed_by=InstructorFactory(),
        level_signed_date=date(2027, 1, 1),
    )

    bring(Kind.PEOPLE, [{"Our reference": f"here-{rider.pk}", "Level": "advanced"}], by)

    rider.refresh_from_db()
    assert rider.level == "advanced"
    assert rider.level_signed_by is None


def test_a_riders_weight_is_rounded_up(by) -> None:
    bring(Kind.PEOPLE, [person(1, **{"Weight (kg)": "62,2"})], by)

    assert Rider.objects.get().weight_kg == 63


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([child(1), child(1)], "Row 2 speaks of the same"),
        (
            [child(n) | {"Guardian's phone": f"{n}"} for n in (1, 2)],
            "Row 2 says otherwise of the same client",
        ),
        ([child(1, **{"Guardian's first name": ""})], "no first name"),
        ([child(1, **{"Guardian's first name": "Twin", "Guardian's mail": ""})],
         "Several clients have the guardian's name"),
        ([child(4, **{"Our reference": "here-9999"})], "There is no rider here-9999"),
        ([child(4, **{"First name": "Same"})], "2 riders have this name"),
        ([{"Our reference": "KID", "Guardian's first name": "Other"}],
         "The guardian is Wieke Harkema here"),
    ],
)  # fmt: skip
def test_a_persons_row_that_cannot_be_says_why(by, rows, words) -> None:
    for _ in range(2):
        ClientFactory(person__first_name="Twin", person__last_name="")
        RiderFactory(person__first_name="Same", born_date=date(2015, 5, 4))
    guardian = ClientFactory(person__first_name="Wieke", person__last_name="Harkema")
    OwnReference.objects.create(rider=RiderFactory(client=guardian), text="KID")

    file = take(Kind.PEOPLE, rows, by)

    assert whats(file)[-1] == "refused"
    assert words in says(file)[-1]


# --- files ---------------------------------------------------------------------------


def test_the_same_file_sent_twice_is_kept_once_and_brought_in_once(by) -> None:
    first, second = take(Kind.HORSES, [horse(1)], by), take(Kind.HORSES, [horse(1)], by)
    assert first.pk == second.pk

    for _ in range(2):
        bring_in(file=first, set_aside=False, by=by, now=NOW)

    assert Horse.objects.count() == 1
    assert AuditEntry.objects.filter(subject="tablefile").count() == 1


def test_what_changed_since_the_trial_is_shown_before_it_is_written(by) -> None:
    file = take(Kind.HORSES, [horse(1)], by)
    HorseFactory(name="Horse 1")

    with pytest.raises(UnableToBringIn, match="look again"):
        bring_in(file=file, set_aside=False, by=by, now=NOW)

    file.refresh_from_db()
    assert whats(file) == ["changed"]
    assert Horse.objects.get().weight_kg == 550
    assert not OwnReference.objects.exists()
    assert bring_in(file=file, set_aside=False, by=by, now=NOW).applied_at == NOW


def test_columns_are_mapped_by_hand(by) -> None:
    rows = [{
        "Pferd": "Bramble", "Stockmass": "160", "Gewicht": "550", "geboren": "1.4.2015",
        "Stufe": "novice", "Sprung": "80",
    }]  # fmt: skip
    file = take(Kind.HORSES, rows, by)
    assert says(file) == [
        "No column is said to be Name, Height (cm), Weight (kg), Born, Level, Highest "
        "fence (cm)."
    ]

    keys = ["name", "height_cm", "weight_kg", "born_date", "level", "highest_fence_cm"]
    file = map_columns(file=file, mapping=keys, by=by, now=NOW)

    assert whats(file) == ["new"]
    with pytest.raises(UnableToBringIn, match="said to be Name"):
        map_columns(file=file, mapping=["name"] * 6, by=by, now=NOW)
    with pytest.raises(UnableToBringIn, match="not those of the file"):
        map_columns(file=file, mapping=["name"], by=by, now=NOW)
    bring_in(file=file, set_aside=False, by=by, now=NOW)
    with pytest.raises(UnableToBringIn, match="brought in already"):
        map_columns(file=file, mapping=keys, by=by, now=NOW)


def test_files_are_forgotten_when_their_time_is_over_or_on_a_word(by) -> None:
    file = take(Kind.HORSES, [horse(1)], by)
    assert forget_old_files(now=NOW + KEPT - timedelta(seconds=1)) == 0
    assert forget_old_files(now=NOW + KEPT) == 1

    file = take(Kind.HORSES, [horse(1)], by)
    forget_file(file=file)

    assert not TableFile.objects.exists()


def test_a_file_that_is_no_table_is_refused(by) -> None:
    with pytest.raises(UnableToBringIn, match="neither a CSV file nor"):
        take(Kind.HORSES, b"\x89PNG\x00\x01", by)
    many = [lesson(n) for n in range(301)]
    with pytest.raises(UnableToBringIn, match="301 lessons; 300 at most"):
        take(Kind.LESSONS, many, by)
