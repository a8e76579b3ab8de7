"""The registers an inspector asks for: horses, papers, incidents."""

import csv
from datetime import date, timedelta
from io import StringIO
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError
from django.test import Client as Browser
from django.utils import timezone

from school.models import (
    AuditEntry,
    HorsePapers,
    Incident,
    InstructorPaper,
    Ride,
)
from school.queries.registers import TAKEN_OFF
from school.services.booking import book_lesson
from school.services.papers import papers_ended
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.factories.welfare import IncidentFactory, WelfareOverrideFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person__first_name="Tjalling"))
    return client


def incident(**changes: str) -> dict[str, str]:
    return {
        "happened_at": "2026-01-05T10:30",
        "who": "Jon, with Ines",
        "where": "Hall, sand",
        "what": "Slid off at the second fence, 6.20 m measured",
        "done": "Looked at, walked home",
        "witness": "The groundsperson",
    } | changes


def taken(manager: Browser, kind: str) -> list[list[str]]:
    """Return a register as a program reads it from its CSV."""
    body = manager.get(f"/registers/{kind}.csv").content.decode("utf-8-sig")
    return list(csv.reader(StringIO(body, newline="")))


def test_every_horse_is_registered_with_passport_and_chip(manager: Browser) -> None:
    """Every horse, passport number, microchip if any: SI 2018/486 schedule 5, 6(9)."""
    onyx = HorseFactory(name="Onyx")
    HorseFactory(name="Acorn")
    sent = {"horse": onyx.pk, "passport": "528-001", "microchip": "528 2100"}
    for _ in range(2):
        assert manager.post("/registers/horses/", sent).status_code == 302

    page = manager.get("/registers/horses/").content.decode()

    assert "528-001" in page
    assert page.count("no passport") == 1
    assert HorsePapers.objects.get().microchip == "528 2100"
    assert AuditEntry.objects.filter(action="note papers").count() == 1


def test_papers_that_end_are_warned_of_and_renewed(manager: Browser) -> None:
    ines = InstructorFactory(person__first_name="Ines")
    today = timezone.localdate()
    for name, days in (("First aid", -1), ("Licence", 30), ("Safeguarding", 400)):
        until = (today + timedelta(days=days)).isoformat()
        manager.post(
            "/registers/papers/",
            {"instructor": ines.pk, "name": name, "expires_date": until},
        )
    page = manager.get("/registers/papers/").content.decode()
    assert page.count("out of date") == 1
    assert page.count("ends soon") == 1

    manager.post(
        "/registers/papers/",
        {"instructor": ines.pk, "name": "first aid", "expires_date": "2099-01-01"},
    )

    assert InstructorPaper.objects.count() == 3
    assert "out of date" not in manager.get("/registers/papers/").content.decode()


def paper_over(**changes: Any) -> InstructorPaper:
    ines = InstructorFactory(person__first_name="Ines", person__last_name="Vermeer")
    fields = {"name": "First aid", "expires_date": date(2027, 2, 1)} | changes
    return InstructorPaper.objects.create(instructor=ines, **fields)


def test_a_paper_taken_off_holds_nobody_up_and_stays_in_the_register(
    manager: Browser,
) -> None:
    """Mistyped, it could else only be given a far date that is not true."""
    paper = paper_over()
    off = f"/registers/papers/{paper.pk}/off/"
    for _ in range(2):
        assert (
            manager.post(off, {"reason": "Noted for the wrong one"}).status_code == 302
        )

    assert papers_ended(paper.instructor, SATURDAY) == []
    assert AuditEntry.objects.filter(action=TAKEN_OFF).count() == 1
    row = next(one for one in taken(manager, "papers") if one[1] == "First aid")
    assert row[0] == "Ines Vermeer"
    assert row[2] == "2027-02-01"
    assert row[3].startswith("Taken off on 2027-03-01 by ")
    assert row[3].endswith(": Noted for the wrong one")


def test_a_paper_is_not_taken_off_without_a_reason(manager: Browser) -> None:
    paper = paper_over()

    page = manager.post(
        f"/registers/papers/{paper.pk}/off/", {"reason": " "}, follow=True
    ).content.decode()

    assert "Say why the paper is taken off." in page
    assert InstructorPaper.objects.filter(pk=paper.pk).exists()


def test_a_paper_that_never_was_is_not_found(manager: Browser) -> None:
    assert manager.post("/registers/papers/99/off/").status_code == 404


def test_an_incident_is_noted_and_added_to(manager: Browser) -> None:
    manager.post("/registers/incidents/", incident())
    first = Incident.objects.get()
    form = manager.get(f"/registers/incidents/?adds_to={first.pk}").content.decode()
    assert 'value="Jon, with Ines"' in form

    more = incident(adds_to=str(first.pk), what="Seen by a doctor: bruised")
    assert manager.post("/registers/incidents/", more).status_code == 302

    page = manager.get("/registers/incidents/").content.decode()
    assert "added later" in page
    assert "Seen by a doctor" in page
    # An addition to an addition belongs to the first.
    assert Incident.objects.latest("pk").adds_to == first


def test_an_incident_told_twice_is_noted_once_since_it_cannot_be_taken_back(
    manager: Browser,
) -> None:
    for _ in range(2):
        assert manager.post("/registers/incidents/", incident()).status_code == 302
    manager.post("/registers/incidents/", incident(what="A second fall, at the oxer"))

    assert Incident.objects.count() == 2
    assert AuditEntry.objects.filter(action="note incident").count() == 2


def test_a_paper_told_twice_is_noted_once_and_says_until_when_it_was_valid_before(
    manager: Browser,
) -> None:
    """What held on a day past is asked for three years later (common practice)."""
    ines = InstructorFactory(person__first_name="Ines")
    for until in ("2026-03-01", "2029-03-01", "2029-03-01"):
        manager.post(
            "/registers/papers/",
            {"instructor": ines.pk, "name": "First aid", "expires_date": until},
        )

    assert AuditEntry.objects.filter(action="note paper").count() == 2
    rows = taken(manager, "papers")
    assert rows[0] == ["Instructor", "Paper", "Valid until", "Before that until"]
    assert rows[1][1:] == ["First aid", "2029-03-01", "2026-03-01"]


def test_an_instructor_without_any_paper_is_shown_as_such(manager: Browser) -> None:
    InstructorFactory(person__first_name="Ines", person__last_name="Vermeer")

    page = manager.get("/registers/papers/").content.decode()

    assert "no paper noted" in page
    assert taken(manager, "papers")[1] == ["Ines Vermeer", "", "", ""]


@pytest.mark.parametrize(
    "wrong",
    [{"what": " "}, {"who": ""}, {"happened_at": "2999-01-01T10:00"}],
)
def test_an_incident_without_its_facts_is_refused(
    manager: Browser, wrong: dict[str, str]
) -> None:
    assert manager.post("/registers/incidents/", incident(**wrong)).status_code == 409
    assert not Incident.objects.exists()


def test_nothing_in_a_register_can_be_deleted() -> None:
    """Kept at least three years (general conditions of the same regulations): here
    nothing is deleted at all."""
    SchoolFactory()
    one, ride = IncidentFactory(), RideFactory()
    for delete in (one.delete, Incident.objects.all().delete):
        with pytest.raises(IntegrityError, match="never_changed"), transaction.atomic():
            delete()
    for kept in (ride.horse, ride.lesson, ride.rider, ride.lesson.instructor):
        with pytest.raises(ProtectedError):
            kept.delete()
    assert Ride.objects.filter(pk=ride.pk).exists()


def test_each_register_is_taken_as_csv_without_formulas(manager: Browser) -> None:
    HorseFactory(name="=Onyx")
    manager.post("/registers/incidents/", incident())

    horses = manager.get("/registers/horses.csv")
    incidents = manager.get("/registers/incidents.csv").content.decode()

    assert horses["Content-Type"].startswith("text/csv")
    assert "'=Onyx" in horses.content.decode()
    assert "6.20 m measured" in incidents
    assert manager.get("/registers/papers.csv").status_code == 200


def test_every_limit_overruled_is_listed_with_by_whom_and_why(
    manager: Browser,
) -> None:
    WelfareOverrideFactory(
        horse__name="Onyx", lesson__title="Novices", by__person__first_name="Tjalling"
    )

    row = taken(manager, "overruled")[1]

    assert row[2:] == [
        "2027-03-06 09:00, Novices",
        "Onyx",
        "Minutes of work on a day",
        "200",
        "180",
        "The mare at the vet's was to go",
    ]
    assert "Tjalling" in row[1]
    page = manager.get("/registers/overruled/").content.decode()
    assert "The mare at the vet&#x27;s was to go" in page
    assert "Note it" not in page


def test_a_lesson_taught_with_a_paper_that_had_ended_is_among_what_was_overruled(
    manager: Browser,
) -> None:
    paper = paper_over()
    book_lesson(
        title="Novices", kind="group", work="flat", starts_at=at("09:00"), minutes=60,
        arena=ArenaFactory(), instructor=paper.instructor,
        overrule="The course is on Friday", by=AccountFactory(manager=True), now=NOW,
    )  # fmt: skip

    row = taken(manager, "overruled")[1]

    assert row[3:] == [
        "Ines Vermeer",
        "A paper valid on the day: First aid",
        "2027-02-01",
        "2027-03-06",
        "The course is on Friday",
    ]


def test_what_was_overruled_is_written_where_it_happens_and_not_here(
    manager: Browser,
) -> None:
    assert manager.post("/registers/overruled/").status_code == 405


def test_there_is_no_other_register(manager: Browser) -> None:
    assert manager.get("/registers/pets/").status_code == 404
    assert manager.get("/registers/pets.csv").status_code == 404


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize(
    ("kind", "queries"), [("horses", 8), ("papers", 11), ("overruled", 9)]
)
def test_a_register_takes_the_same_queries_for_any_length(
    manager: Browser, kind: str, queries: int, count: int, django_assert_num_queries
) -> None:
    for _ in range(count):
        HorseFactory()
        WelfareOverrideFactory()
        InstructorPaper.objects.create(
            instructor=InstructorFactory(), name="Licence", expires_date="2099-01-01"
        )

    with django_assert_num_queries(queries):
        manager.get(f"/registers/{kind}.csv")
