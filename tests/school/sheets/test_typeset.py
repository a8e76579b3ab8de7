"""Paper: the same bytes everywhere, and what people typed stays text."""

from datetime import timedelta
from io import BytesIO
from xml.etree import ElementTree

import pypdf
import pytest

from school.sheets.build_sheet import TEMPLATE
from school.sheets.typeset import qr_code, typeset
from tests.clock import NOW
from tests.school.sheets.builders import LONG_ROW, plain_sheet, read_text

NASTY = '#panic("in") *bold* $x^2$ \\ // ] ) "quoted" </svg> <script> #image("/x") _a_'


def made(now=NOW, **changes) -> bytes:
    return typeset(TEMPLATE, plain_sheet(**changes).as_data(), now=now)


def test_the_same_moment_gives_the_same_bytes() -> None:
    assert made() == made(now=NOW + timedelta(microseconds=7))
    assert made() != made(now=NOW + timedelta(days=1))


def test_the_file_is_dated_and_titled_by_what_it_shows() -> None:
    about = pypdf.PdfReader(BytesIO(made())).metadata

    assert about.title == "Two fences"
    assert about.creation_date == NOW


def test_only_the_typesetters_own_fonts_are_in_it() -> None:
    page = pypdf.PdfReader(BytesIO(made())).pages[0]

    names = {
        font.get_object()["/BaseFont"] for font in page["/Resources"]["/Font"].values()
    }
    assert names
    assert all("Libertinus" in name for name in names)


@pytest.mark.parametrize("field", ["title", "aim"])
def test_what_people_typed_is_shown_and_never_markup(field: str) -> None:
    text = read_text(made(**{field: NASTY}))

    for part in ('#panic("in")', "*bold*", "$x^2$", "<script>", "_a_", '"quoted"'):
        assert part in text


def test_nasty_words_in_every_list_are_text_too() -> None:
    text = read_text(
        made(
            facts=[("Where", NASTY)],
            cautions=[NASTY],
            looks=[NASTY],
        )
    )

    assert text.count("*bold*") == 3


def test_long_words_and_a_long_row_still_fill_one_page_of_a4() -> None:
    pdf = made(
        row=LONG_ROW,
        title="An exercise with a name of as many letters as there may be " * 2,
        looks=["x" * 400, "The exercise is for advanced riders. " * 4],
        cautions=["A caution of some length. " * 12 for _ in range(5)],
    )
    reader = pypdf.PdfReader(BytesIO(pdf))

    (page,) = reader.pages
    assert [round(float(one)) for one in page.mediabox[2:]] == [595, 842]
    assert "Initials" in page.extract_text()


def test_a_code_has_its_quiet_zone_and_nothing_inline() -> None:
    root = ElementTree.fromstring(qr_code("https://example.org/lessons/7/"))  # noqa: S314 -- our own drawing

    # Version 3 has 29 modules a side (ISO/IEC 18004), with four around it: 37.
    assert root.get("viewBox") == "0 0 37 37"
    assert "style" not in root.attrib
