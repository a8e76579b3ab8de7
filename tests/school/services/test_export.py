"""Everything a manager keeps goes out in one press, and that it went is on record."""

import csv
import io
import zipfile

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from school.models import AuditEntry, School
from school.queries.everything import OTHERS, everything
from school.queries.tables import table_of
from school.services.export import export_everything
from school.tables.columns import Kind
from tests.clock import NOW, ZONE
from tests.factories.horses import HorseFactory
from tests.factories.people import AccountFactory
from tests.factories.riders import RidingConsentFactory
from tests.test_queries import one_more
from tests.test_sweeps import things

pytestmark = pytest.mark.django_db

IN_TABLES = {"Horse", "HorseDayOff", "Rider", "Person", "Instructor", "OwnReference"}
"""What the tables that are brought in say already."""

LEFT_OUT = {
    "Account": "who may sign in; no password leaves",
    "FeedToken": "a secret",
    "AuditEntry": "of what others did; an erasure empties it, a file would not be",
    "Occupancy": "kept by the database from the others",
    "GridDraft": "a grid in the making; what is kept is an exercise",
    "LessonGrid": "a document; the lesson names its exercise",
    "GridOverride": "stands with that document",
    "Invitation": "what calendars were told, of the lessons that are here",
    "InvitedDay": "as above",
    "OutboxMessage": "mails that went, handed out with each client's own data",
    "MailboxMark": "how far a mailbox is read",
    "Reply": "answers by mail, handed out with each client's own data",
    "TableFile": "a file that was sent, forgotten after two days",
}
"""Records that are not written out, and why."""


def unpacked(body: bytes) -> dict[str, list[dict[str, str]]]:
    with zipfile.ZipFile(io.BytesIO(body)) as packed:
        return {
            name: list(
                csv.DictReader(io.StringIO(packed.read(name).decode("utf-8-sig")))
            )
            for name in packed.namelist()
        }


def test_no_record_is_forgotten() -> None:
    written = {model.__name__ for model, _ in OTHERS.values()} | {School.__name__}
    there = {
        model.__name__
        for model in apps.get_app_config("school").get_models()
        if not model._meta.auto_created
    }

    assert there - written - IN_TABLES == set(LEFT_OUT)


def test_a_zip_has_a_csv_of_each_and_says_who_took_it() -> None:
    things()
    consent = RidingConsentFactory()
    by = AccountFactory(manager=True)

    files = unpacked(export_everything(form="zip", by=by, now=NOW))

    assert len(files) == len(Kind) + len(OTHERS) + 1
    (row,) = (
        one for one in files["consents.csv"] if one["Rider"] == str(consent.rider)
    )
    assert row == {
        "Rider": str(consent.rider), "Kind": "riding", "Name": "Riding lessons",
        "Signed by": str(consent.given_by), "From": "2026-09-30",
        "Until": "2027-09-30", "Withdrawn": "", "Why": "",
    }  # fmt: skip
    assert files["packs.csv"][0]["Pack"] == "Ten lessons"
    assert {"Setting": "zone", "Value": "Europe/Amsterdam"} in files["settings.csv"]
    entry = AuditEntry.objects.get(action="export everything")
    assert (entry.by, entry.at, entry.after) == (by, NOW, {"form": "zip"})


def test_moments_are_by_the_schools_clock_and_days_are_named() -> None:
    things()

    files = unpacked(export_everything(form="zip", by=AccountFactory(), now=NOW))

    lesson = files["all-lessons.csv"][0]
    (one,) = (x for x in files["lessons.csv"] if x["Title"] == lesson["Title"])
    assert lesson["Starts"] == f"{one['Date']} {one['Start']}"
    assert files["weekly-lessons.csv"][0]["Weekday"] == "Tue"


def test_a_workbook_has_a_sheet_of_each_and_no_formula() -> None:
    things()
    HorseFactory(name="=HYPERLINK(1)")

    body = export_everything(form="xlsx", by=AccountFactory(), now=NOW)

    book = load_workbook(io.BytesIO(body))
    assert len(book.sheetnames) == len(Kind) + len(OTHERS) + 1
    titles, rows = table_of(Kind.HORSES, ZONE)
    assert [cell.value for cell in book["horses"][1]] == titles
    assert book["horses"].max_row == len(rows) + 1
    for sheet in book:
        assert "f" not in {cell.data_type for row in sheet for cell in row}


def test_it_asks_no_more_for_more_rows() -> None:
    things()
    one_more(1)

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            list(everything())
        return len(queries)

    few = asked()
    one_more(2)

    assert asked() == few
