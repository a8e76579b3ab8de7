"""Tables in the manager's pages: sent, tried, mapped, brought in, written out."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from school.models import Horse, TableFile
from school.tasks import forget_tables
from tests.clock import NOW
from tests.factories.horses import HorseFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory
from tests.factories.tables import as_file, horse

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def send(browser: Browser, body: bytes, **changes):
    fields = {"kind": "horses", "day_first": "yes"} | changes
    return browser.post(
        "/tables/", fields | {"file": SimpleUploadedFile("yard.csv", body)}
    )


def sent(browser: Browser, rows) -> TableFile:
    assert send(browser, as_file(rows)).status_code == 302
    return TableFile.objects.latest("pk")


def test_a_file_is_tried_then_brought_in_and_said_so(manager: Browser) -> None:
    file = sent(manager, [horse(1), horse(2, Level="wizard")])

    page = manager.get(f"/tables/{file.pk}/").content.decode()
    assert "Nothing is written yet" in page
    assert "Bring in 1, set 1 aside" in page
    assert "must be one of novice" in page
    assert Horse.objects.count() == 0

    done = manager.post(
        f"/tables/{file.pk}/bring-in/", {"set_aside": "yes"}, follow=True
    )
    assert "1 row written, 1 set aside" in done.content.decode()
    assert Horse.objects.get().name == "Horse 1"
    aside = manager.get(f"/tables/{file.pk}/to-mend.csv")
    assert b"must be one of novice" in aside.content
    assert "attachment" in aside["Content-Disposition"]


def test_bad_rows_are_not_left_behind_without_a_word(manager: Browser) -> None:
    file = sent(manager, [horse(1), horse(2, Level="wizard")])

    page = manager.post(f"/tables/{file.pk}/bring-in/")

    assert page.status_code == 409
    assert "1 row can" in page.content.decode()
    assert Horse.objects.count() == 0


def test_columns_are_mapped_in_the_page(manager: Browser) -> None:
    row = {"Ross": "Fern"} | {k: v for k, v in horse(1).items() if k != "Name"}
    file = sent(manager, [row])
    assert "Name not found" in manager.get(f"/tables/{file.pk}/").content.decode()
    keys = ["name", *file.mapping[1:]]

    manager.post(
        f"/tables/{file.pk}/columns/",
        {f"column-{n}": key for n, key in enumerate(keys)},
    )

    assert "Bring in 1 row<" in manager.get(f"/tables/{file.pk}/").content.decode()


def test_rows_are_shown_by_fate_and_by_page(manager: Browser) -> None:
    file = sent(manager, [horse(n) for n in range(120)])

    assert "Page 1 of 2" in manager.get(f"/tables/{file.pk}/").content.decode()
    page = manager.get(f"/tables/{file.pk}/?only=all&page=2").content.decode()
    assert "Page 2 of 2" in page
    assert "Horse 119" in page
    none = manager.get(f"/tables/{file.pk}/?only=changed").content.decode()
    assert "No such rows" in none


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "The file is empty"),
        (b"\x89PNG\x00", "neither a CSV file nor"),
        (b"a" * 50_000_000, "The file is too large: 2 MB at most"),
        (b"a" + b",a" * 999_000 + b"\n", "60 columns at most"),
    ],
)
def test_a_hostile_file_gets_a_clear_answer(manager: Browser, body, words) -> None:
    page = send(manager, body)

    assert page.status_code == 409
    assert words in page.content.decode()
    assert not TableFile.objects.exists()


def test_a_form_without_a_file_is_asked_for_one(manager: Browser) -> None:
    page = manager.post("/tables/", {"kind": "horses", "day_first": "yes"})

    assert "This field is required" in page.content.decode()


def test_a_file_is_seen_by_who_sent_it_alone_and_until_its_end(
    manager: Browser,
) -> None:
    file = sent(manager, [horse(1)])
    other = Browser()
    other.force_login(AccountFactory(manager=True, person=None))
    assert other.get(f"/tables/{file.pk}/").status_code == 404
    assert other.post(f"/tables/{file.pk}/bring-in/").status_code == 404
    assert other.post(f"/tables/{file.pk}/forget/").status_code == 302

    TableFile.objects.update(
        sent_at=NOW.replace(year=2020), expires_at=NOW.replace(year=2021)
    )
    assert manager.get(f"/tables/{file.pk}/").status_code == 404
    forget_tables()
    assert not TableFile.objects.exists()


def test_a_file_is_forgotten_by_a_press(manager: Browser) -> None:
    file = sent(manager, [horse(1)])

    assert "yard.csv" in manager.get("/tables/").content.decode()
    for _ in range(2):
        assert manager.post(f"/tables/{file.pk}/forget/").status_code == 302

    assert not TableFile.objects.exists()


@pytest.mark.parametrize("kind", ["horses", "people", "lessons"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_every_table_is_written_out_and_kept_from_caches(manager, kind, form) -> None:
    HorseFactory()

    answer = manager.get(f"/tables/{kind}.{form}")

    assert answer.status_code == 200
    assert answer["Cache-Control"] == "no-store"
    assert answer.content.startswith(b"PK" if form == "xlsx" else b"\xef\xbb\xbf")


@pytest.mark.parametrize("name", ["saddles.csv", "horses.pdf"])
def test_no_other_table_is_written(manager: Browser, name: str) -> None:
    assert manager.get(f"/tables/{name}").status_code == 404


def test_a_page_of_rows_asks_the_same_for_one_and_three(manager: Browser) -> None:
    def asked(rows) -> int:
        file = sent(manager, rows)
        with CaptureQueriesContext(connection) as queries:
            manager.get(f"/tables/{file.pk}/")
        return len(queries)

    assert asked([horse(1)]) == asked([horse(n) for n in range(3)])
