"""Consents and levels of riders, and instructors, in tables."""

from datetime import date, time, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from school.enums import ConsentKind
from school.models import (
    AuditEntry,
    Consent,
    Horse,
    Instructor,
    InstructorHours,
    InstructorPaper,
    Person,
    Rider,
)
from school.queries.tables import table_of
from school.services.may_ride import check_may_ride
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
from tests.factories.riders import RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.factories.tables import horse, person, teacher
from tests.school.services.table_files import bring, says, take, whats

pytestmark = pytest.mark.django_db

TODAY = NOW.date()


@pytest.fixture
def by():
    SchoolFactory()
    return AccountFactory(manager=True, person=None)


def child(n: int, **changes: str) -> dict[str, str]:
    guardian = {
        "Guardian's first name": "Wieke",
        "Guardian's mail": "wieke@example.org",
    }
    return person(n, **{"Born": "2015-05-04", "Mail": ""}) | guardian | changes


def read_back(kind: Kind, by) -> set[str]:
    """Return the fates of a whole table, written and read as CSV and as a workbook."""
    titles, rows = table_of(kind, ZONE)
    found = set()
    for body in (as_csv(titles, rows), as_workbook("t", titles, rows)):
        file = take(kind, body, by)
        assert set(whats(file)) <= {"same"}, says(file)
        found |= set(whats(file))
    return found


# --- consents ------------------------------------------------------------------------


def test_a_new_minor_comes_with_the_consent_and_may_be_booked(by) -> None:
    row = child(1) | {
        "Consent until": "2027-09-30", "Consent from": "2026-09-30",
        "Consent signed by": "Wieke",
    }  # fmt: skip

    file = bring(Kind.PEOPLE, [row], by)

    one = Consent.objects.get()
    assert (one.kind, one.name) == ("riding", "Riding lessons")
    assert one.given_by == Rider.objects.get().client.person
    assert (one.given_date, one.expires_date) == (
        date(2026, 9, 30), date(2027, 9, 30),
    )  # fmt: skip
    assert "Riding lessons 2026-09-30 to 2027-09-30, signed by Wieke" in says(file)[0]
    check_may_ride(Rider.objects.all(), NOW, "private")
    assert AuditEntry.objects.filter(action="consent", by=by).count() == 1
    assert whats(take(Kind.PEOPLE, [row], by)) == ["same"]


def test_a_consent_is_from_today_and_by_the_guardian_unless_said(by) -> None:
    bring(Kind.PEOPLE, [child(1) | {"Consent until": "2027-12-31"}], by)

    one = Consent.objects.get()
    assert (one.given_date, one.given_by.first_name) == (TODAY, "Wieke")


def test_a_later_consent_stands_beside_the_one_before(by) -> None:
    rider = RidingConsentFactory(expires_date=date(2027, 3, 10)).rider
    row = {
        "Our reference": f"here-{rider.pk}",
        "Consent from": "2027-03-01",
        "Consent until": "2028-03-01",
    }

    bring(Kind.PEOPLE, [row], by)

    assert [one.expires_date.year for one in rider.consents.order_by("pk")] == [
        2027, 2028,
    ]  # fmt: skip


def test_a_last_day_is_set_right_where_the_first_is_the_same(by) -> None:
    one = RidingConsentFactory(expires_date=date(2027, 9, 30))
    row = {"Our reference": f"here-{one.rider_id}", "Consent until": "2027-06-30"}

    bring(Kind.PEOPLE, [row], by)

    one.refresh_from_db()
    assert one.expires_date == date(2027, 6, 30)
    entry = AuditEntry.objects.get(action="consent")
    assert (entry.before["expires_date"], entry.after["expires_date"]) == (
        "2027-09-30", "2027-06-30",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"Consent until": "2027-09-30", "Consent signed by": "Rider1 Example"},
         "Rider1 Example can't sign it for Rider1; Wieke can"),
        ({"Consent from": "2027-03-02", "Consent until": "2028-01-01"},
         "Consent to riding: A consent can't be given on a day to come"),
        ({"Consent from": "2026-03-01", "Consent until": "2026-03-01"},
         "ends after the day it was given"),
        ({"Consent from": "2026-03-01", "Consent until": "2028-03-02"},
         "two years later at most"),
        ({"Consent signed by": "Wieke"}, "say until when it is given"),
        ({"Photo consent until": "2027-02-28"},
         "Consent to photographs: A consent ends after"),
        ({"Level signed by": "Ilka"}, "signed by an instructor on the rider's page"),
        ({"Level signed on": "2027-01-01"}, "signed by an instructor on the"),
    ],
)  # fmt: skip
def test_what_cannot_be_signed_says_why_and_leaves_nobody_behind(
    by, cells, words
) -> None:
    people = Person.objects.count()

    file = bring(Kind.PEOPLE, [child(1) | cells], by, set_aside=True)

    assert whats(file) == ["refused"]
    assert words in says(file)[0]
    assert Person.objects.count() == people


def test_who_is_of_age_signs_for_themselves(by) -> None:
    row = person(1) | {"Photo consent until": "2027-12-31"}

    bring(Kind.PEOPLE, [row], by)

    assert Consent.objects.get().given_by == Rider.objects.get().person


def test_what_was_withdrawn_is_not_given_again_by_an_old_file(by) -> None:
    one = RidingConsentFactory(
        withdrawn_date=date(2027, 2, 1), withdrawn_reason="By telephone"
    )
    row = {
        "Our reference": f"here-{one.rider_id}",
        "Consent from": "2026-09-30",
        "Consent until": "2027-09-30",
    }

    file = take(Kind.PEOPLE, [row], by)

    assert whats(file) == ["refused"]
    assert "withdrawn on 2027-02-01" in says(file)[0]
    bring(Kind.PEOPLE, [row | {"Consent from": "2027-03-01"}], by)
    assert [c.withdrawn_date for c in one.rider.consents.order_by("pk")] == [
        date(2027, 2, 1), None,
    ]  # fmt: skip


def test_a_signed_level_is_written_and_read_as_it_is(by) -> None:
    RiderFactory(
        level_signed_by=InstructorFactory(), level_signed_date=date(2027, 1, 5)
    )

    titles, rows = table_of(Kind.PEOPLE, ZONE)

    row = dict(zip(titles, rows[0], strict=True))
    assert row["Level signed on"] == "2027-01-05"
    assert row["Level signed by"] == str(Instructor.objects.get())
    assert read_back(Kind.PEOPLE, by) == {"same"}


days = st.dates(date(2026, 3, 2), TODAY)
a_consent = st.tuples(
    st.sampled_from(ConsentKind.values),
    days,
    st.integers(1, 900),
    st.booleans(),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(st.lists(st.lists(a_consent, max_size=4), min_size=1, max_size=3))
def test_any_consents_written_and_read_back_are_as_they_were(by, riders) -> None:
    with transaction.atomic():
        for consents in riders:
            rider = RiderFactory(minor=True)
            for n, (kind, first, length, withdrawn) in enumerate(consents):
                RidingConsentFactory(
                    rider=rider, kind=kind, name=f"{kind} {n}", given_date=first,
                    expires_date=first + timedelta(days=length),
                    withdrawn_date=first if withdrawn else None,
                    withdrawn_reason="By telephone" if withdrawn else "",
                )  # fmt: skip
        assert read_back(Kind.PEOPLE, by) == {"same"}
        transaction.set_rollback(True)


# --- horses' days off ----------------------------------------------------------------


def test_days_off_come_in_go_out_and_are_the_whole_of_them(by) -> None:
    bring(Kind.HORSES, [horse(1) | {"Days off": "Monday, thu"}], by)
    one = Horse.objects.get()
    assert {day.weekday for day in one.days_off.all()} == {0, 3}
    assert read_back(Kind.HORSES, by) == {"same"}

    file = bring(Kind.HORSES, [horse(1) | {"Days off": "Sun"}], by)

    assert says(file) == ["Days off Mon, Thu → Sun"]
    assert [day.weekday for day in one.days_off.all()] == [6]
    assert AuditEntry.objects.filter(action="days off").count() == 2
    bring(Kind.HORSES, [horse(1)], by)
    assert one.days_off.count() == 1


def test_a_day_that_is_none_is_said(by) -> None:
    HorseFactory(name="Horse 1")

    file = take(Kind.HORSES, [horse(1) | {"Days off": "Mon, someday"}], by)

    assert "Days off has no weekday: someday" in says(file)[0]


# --- instructors ---------------------------------------------------------------------


def test_an_instructor_comes_with_hours_and_papers(by) -> None:
    bring(Kind.INSTRUCTORS, [teacher(1)], by)

    one = Instructor.objects.get()
    assert (str(one), one.level, one.highest_fence_cm, one.group_limit) == (
        "Teacher1 Example", "intermediate", 90, 6,
    )  # fmt: skip
    assert {(day.weekday, day.from_at, day.to_at) for day in one.hours.all()} == {
        (0, time(9), time(17)), (2, time(13), time(18)),
    }  # fmt: skip
    assert {paper.name: paper.expires_date for paper in one.papers.all()} == {
        "First aid": date(2027, 5, 1), "Licence": date(2028, 1, 31),
    }  # fmt: skip
    assert whats(take(Kind.INSTRUCTORS, [teacher(1)], by)) == ["same"]
    assert read_back(Kind.INSTRUCTORS, by) == {"same"}


def test_papers_are_renewed_and_added_hours_are_the_whole_week(by) -> None:
    bring(Kind.INSTRUCTORS, [teacher(1)], by)
    row = teacher(1, **{
        "Hours": "Tue 9.30 to 12.00",
        "Papers": "First aid: 2029-05-01; Safeguarding 1.6.2028",
        "Teaches up to": "advanced",
    })  # fmt: skip

    file = bring(Kind.INSTRUCTORS, [row], by)

    assert says(file) == [
        "Teaches up to intermediate → advanced; "
        "Hours Mon 09:00-17:00; Wed 13:00-18:00 → Tue 09:30-12:00; "
        "First aid: 2029-05-01; Safeguarding: 2028-06-01"
    ]
    assert {one.name: one.expires_date for one in InstructorPaper.objects.all()} == {
        "First aid": date(2029, 5, 1),
        "Licence": date(2028, 1, 31),
        "Safeguarding": date(2028, 6, 1),
    }
    assert InstructorHours.objects.get().weekday == 1
    renewed = AuditEntry.objects.get(action="note paper", before__isnull=False)
    assert renewed.before["expires_date"] == "2027-05-01"


def test_who_is_a_client_already_and_teaches_is_one_person(by) -> None:
    here = ClientFactory(
        person__first_name="Teacher1",
        person__last_name="Example",
        person__email="teacher1@example.org",
    )

    file = bring(Kind.INSTRUCTORS, [teacher(1)], by)

    assert Instructor.objects.get().pk == here.pk
    assert says(file) == ["known here already"]


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"Hours": "Mon 17:00-09:00"}, "Hours ends before it begins: Mon 17:00"),
        ({"Hours": "weekdays"}, "Hours is no day with hours: weekdays"),
        ({"Hours": "Mon 9-5"}, "is no clock time: 9"),
        ({"Papers": "First aid"}, "Papers is no paper with its last day: First aid"),
        ({"Papers": "First aid: 31.2.2027"}, "no day of the calendar"),
        ({"Papers": "A: 2027-01-01; A: 2028-01-01"}, "has A twice"),
        ({"Teaches up to": ""}, "Teaches up to: empty"),
        ({"Riders at once": "13"}, "from 1 to 12 is possible"),
        ({"Our reference": "here-999"}, "There is no instructor here-999"),
        ({"First name": "Same"}, "2 instructors have this name"),
    ],
)
def test_an_instructors_row_that_cannot_be_says_why(by, cells, words) -> None:
    for _ in range(2):
        InstructorFactory(person__first_name="Same", person__last_name="Example")

    file = bring(Kind.INSTRUCTORS, [teacher(1) | cells], by, set_aside=True)

    assert whats(file) == ["refused"]
    assert words in says(file)[0]
    assert Instructor.objects.count() == 2


def test_two_rows_of_one_instructor_are_one_too_many(by) -> None:
    file = take(Kind.INSTRUCTORS, [teacher(1), teacher(1)], by)

    assert whats(file) == ["new", "refused"]
    assert "Row 2 speaks of the same" in says(file)[1]


hours = st.lists(
    st.tuples(
        st.integers(0, 6),
        st.times(max_value=time(11)).map(lambda t: t.replace(second=0, microsecond=0)),
        st.times(time(12)).map(lambda t: t.replace(second=0, microsecond=0)),
    ),
    max_size=5,
    unique=True,
)
papers = st.dictionaries(
    st.text(st.characters(categories=["L"]) | st.sampled_from(" ;:,-'/()"), max_size=20)
    .map(str.strip)
    .filter(bool),
    st.dates(date(2020, 1, 1), date(2040, 1, 1)),
    max_size=4,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(hours, papers), min_size=1, max_size=3))
def test_any_instructors_written_and_read_back_are_as_they_were(by, teachers) -> None:
    with transaction.atomic():
        for week, held in teachers:
            one = InstructorFactory()
            for day, begin, end in week:
                InstructorHours.objects.create(
                    instructor=one, weekday=day, from_at=begin, to_at=end
                )
            for name, last in held.items():
                InstructorPaper.objects.create(
                    instructor=one, name=name, expires_date=last
                )
        assert read_back(Kind.INSTRUCTORS, by) == {"same"}
        transaction.set_rollback(True)


# --- as fast -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [Kind.INSTRUCTORS, Kind.PEOPLE])
def test_queries_do_not_grow_with_the_rows(by, kind) -> None:
    def make(n: int) -> dict[str, str]:
        if kind is Kind.INSTRUCTORS:
            return teacher(n)
        return child(n) | {"Consent until": "2027-12-31"}

    def asked(first: int, count: int) -> int:
        rows = [make(n) for n in range(first, first + count)]
        with CaptureQueriesContext(connection) as queries:
            bring(kind, rows, by)
        return len(queries)

    asked(0, 1)
    assert asked(10, 2) == asked(20, 30)
