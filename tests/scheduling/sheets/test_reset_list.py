"""The reset list on paper: whole changeovers, ticks by pen, back to the live list."""

from io import BytesIO

import pypdf
import pytest

from exercises.geometry.elements import Piece
from scheduling.queries.carrying import Carrying
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.sheets.reset_list import TEMPLATE, ResetSheet, reset_sheet
from school.queries.yard import yard_work_between
from school.sheets.typeset import typeset
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import LineFactory
from tests.factories.people import GroundspersonFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.yard import LineMoveFactory, YardWorkFactory

pytestmark = pytest.mark.django_db

ADDRESS = "https://example.org/resets/2027-03-06/"
VERTICAL = {"kind": "vertical", "at_cm": 1240, "height_cm": 60, "faces": "up"}


def sheet() -> ResetSheet:
    return reset_sheet(
        day=SATURDAY,
        changeovers=changeovers_of_day(SATURDAY),
        works=yard_work_between(SATURDAY, SATURDAY),
        school=SchoolFactory(),
        carrying=Carrying({Piece.WING: 9_000}),
        address=ADDRESS,
        now=NOW,
    )


def pages() -> list[str]:
    pdf = typeset(TEMPLATE, sheet().as_data(), now=NOW)
    read = pypdf.PdfReader(BytesIO(pdf)).pages
    return [" ".join(one.extract_text().split()) for one in read]


def changeover(moves: int = 1, **changes):
    fields = {
        "plan": DayPlanFactory(state="published")
        if "plan" not in changes
        else changes["plan"],
        "who": GroundspersonFactory(person__first_name="Renske"),
    }
    one = ChangeoverFactory(**(fields | changes))
    for position in range(1, moves + 1):
        ChangeoverMoveFactory(changeover=one, position=position)
    return one


def test_a_changeover_says_when_where_for_whom_and_what_to_carry() -> None:
    one = changeover(lesson__title="Pony *group* #1")
    line = LineFactory(arena=one.lesson.arena, name="centre", datum="the gate")
    one.line = line
    one.save()

    (page,) = pages()

    assert "09:45 to 09:57, 12 min" in page
    assert "Renske" in page
    assert f"{one.lesson.arena.name}, centre, for Pony *group* #1 at 10:00." in page
    assert "Tape from the gate." in page
    assert "Bring 2 wings (9 kg, one person), 2 poles (12 kg, one person)" in page
    assert "Heights last 12.40 m: 40 cm" in page
    assert "Stands now" in page
    assert "Wanted" in page
    assert "Build a cross (40 cm high) at 12.40 m from the gate." in page
    assert "is only in the live list" in page


def test_what_stood_is_said_beside_what_is_to_be() -> None:
    one = changeover(moves=0)
    ChangeoverMoveFactory(
        changeover=one, do="change", was=VERTICAL, now=VERTICAL | {"height_cm": 70}
    )
    ChangeoverMoveFactory(changeover=one, do="strip", was=VERTICAL, now=None)
    ChangeoverMoveFactory(changeover=one, do="keep", was=VERTICAL, now=VERTICAL)

    stripped, changed, kept = sheet().entries[0].moves

    assert changed.was == "was vertical 60 cm at 12.40 m"
    assert (stripped.was, kept.was) == ("", "")
    assert [one.heading for one in (stripped, changed, kept)] == [
        "Strip",
        "Build",
        "Stays",
    ]


def test_what_is_done_already_says_when() -> None:
    changeover(started_at=at("09:45"), done_at=at("09:55"), who=None)

    (one,) = sheet().entries
    assert (one.done, one.who) == ("done 09:55", "")


def test_no_changeover_is_split_over_two_pages() -> None:
    plan = DayPlanFactory(state="published")
    for n in range(6):
        changeover(
            moves=9,
            plan=plan,
            lesson__title=f"Lesson {n} of the day",
            starts_at=at(f"{8 + n:02d}:45"),
            ends_at=at(f"{8 + n:02d}:57"),
        )

    every = pages()

    assert len(every) > 1
    for n in range(6):
        (page,) = [one for one in every if f"Lesson {n} of the day" in one]
        first = page.index(f"{8 + n:02d}:45 to")
        rest = page[first:]
        assert rest[: rest.index("Trouble")].count("Build a cross") == 9


def test_one_longer_than_a_page_is_set_smaller_and_stays_whole() -> None:
    changeover(moves=60)

    (page,) = [one for one in pages() if "Build a cross" in one]
    assert page.count("Build a cross") == 60
    assert "Trouble" in page


def test_a_day_without_changeovers_says_so() -> None:
    (page,) = pages()

    assert "Nothing is to be changed on this day" in page


def test_one_alone_with_wings_for_two_is_warned() -> None:
    changeover(who=GroundspersonFactory(alone=True))

    heavy = reset_sheet(
        day=SATURDAY,
        changeovers=changeovers_of_day(SATURDAY),
        works=yard_work_between(SATURDAY, SATURDAY),
        school=SchoolFactory(),
        carrying=Carrying({Piece.WING: 24_000}),
        address=ADDRESS,
        now=NOW,
    )

    (one,) = heavy.entries
    assert one.bring.startswith("2 wings (24 kg, two people)")
    assert one.alone.startswith("Takes two people: 2 wings.")


def test_work_of_the_ground_stands_at_its_time_with_room_for_a_pen() -> None:
    changeover()
    early = YardWorkFactory(starts_at=at("07:00"), arena__name="Hall")
    YardWorkFactory(starts_at=at("13:00"), done_at=at("13:25"), started_at=at("13:00"))

    text = " ".join(pages())

    assert text.index("07:00 to 07:25, 25 min") < text.index("09:45 to 09:57")
    assert text.index("09:45 to 09:57") < text.index("13:00 to 13:25, 25 min")
    assert f"{early.arena.name}: harrowing" in text
    assert "poles and wings off the sand first" in text
    assert "done 13:25" in text
    assert text.count("Initials") == 3


def places(pdf: bytes) -> list[list[tuple[str, float]]]:
    """Return the texts of each page with how high each stands [points]."""
    every = []
    for page in pypdf.PdfReader(BytesIO(pdf)).pages:
        found: list[tuple[str, float]] = []

        def keep(text, user, matrix, font, size, found=found) -> None:
            # Where a text stands: its own matrix within that of the page.
            high = user[1] * matrix[4] + user[3] * matrix[5] + user[5]
            if text.strip():
                found.append((" ".join(text.split()), high))

        page.extract_text(visitor_text=keep)
        every.append(found)
    return every


def test_a_changeover_stands_whole_within_the_margins_of_one_page() -> None:
    plan = DayPlanFactory(state="published")
    for n, moves in enumerate((2, 3, 7, 1, 12, 4)):
        changeover(
            moves=moves, plan=plan, starts_at=at(f"{8 + n:02d}:45"),
            ends_at=at(f"{8 + n:02d}:57"),
        )  # fmt: skip

    every = places(typeset(TEMPLATE, sheet().as_data(), now=NOW))

    # An A4 page is 842 points high (ISO 216: 297 mm); the margins are 14 and 16 mm.
    low, high = 16 / 25.4 * 72, 842 - 14 / 25.4 * 72
    begun = [[y for text, y in page if text.endswith(", 12 min")] for page in every]
    ended = [[y for text, y in page if text.startswith("Trouble")] for page in every]
    assert sum(map(len, begun)) == 6
    assert [len(one) for one in begun] == [len(one) for one in ended]
    for first, last in zip(begun, ended, strict=True):
        for top, bottom in zip(first, last, strict=True):
            assert low < bottom < top < high


def test_a_line_moved_sideways_is_printed_from_where_to_where() -> None:
    changeover()
    LineMoveFactory(line__arena__name="Hall")

    (page, *_) = pages()

    assert "Hall: moving a line sideways: Centre" in page
    assert "from 5.00 m to 7.50 m" in page
    assert "The line lies 5.00 m from the long side." in page
