"""What a build sheet says of a row: tape, pieces, cautions, the last check."""

from exercises.geometry.elements import Element, Kind
from exercises.geometry.units import HeightUnit, LengthUnit, Units
from school.sheets.build_sheet import (
    Overruled,
    SheetRow,
    TapePlace,
    check_before_the_first_horse,
)
from tests.school.sheets.builders import TWO, plain_sheet


def test_without_a_line_the_tape_is_read_from_the_first_foot() -> None:
    sheet = plain_sheet()

    assert [one.tape for one in sheet.fences] == ["0.00", "5.60 and 6.30"]
    assert [one.gap for one in sheet.fences] == ["", "5.60 m"]
    assert "read from the take-off foot of the first element" in sheet.tape


def test_on_a_line_the_tape_is_read_from_its_datum() -> None:
    sheet = plain_sheet(row=SheetRow(TWO, place=TapePlace("the gate", 700)))

    assert [one.tape for one in sheet.fences] == ["7.00", "12.60 and 13.30"]
    assert sheet.tape.endswith("from the gate; the row is ridden away from it.")
    assert ">12.60<" in sheet.side


def test_ridden_towards_the_datum_the_tape_reads_less() -> None:
    sheet = plain_sheet(row=SheetRow(TWO, place=TapePlace("the gate", 1330, True)))

    assert [one.tape for one in sheet.fences] == ["13.30", "7.70 and 7.00"]
    assert "ridden towards it" in sheet.tape
    assert ">7.70<" in sheet.side


def test_pieces_are_the_most_any_stage_needs_with_the_safety_cups() -> None:
    later = (Element(Kind.VERTICAL, 0, 80), TWO[1])
    sheet = plain_sheet(row=SheetRow(TWO, also=(later,)))

    # Cross: 2 wings, 2 poles and a ground line, 2 cups; its vertical of 80 takes 2
    # poles and 4 cups; the oxer 4 wings, 2 poles, 4 cups.
    assert sheet.bring == (
        ("6", "wings"),
        ("5", "poles"),
        ("8", "cups, 2 of them safety cups"),
        ("1", "tape and measuring stick"),
    )


def test_one_piece_is_said_in_the_singular() -> None:
    sheet = plain_sheet(row=SheetRow([Element(Kind.POLE, 0)]))

    assert sheet.bring[0] == ("1", "pole")


def test_each_caution_stands_once_and_measuring_is_in_the_check() -> None:
    sheet = plain_sheet(
        cautions=["Mind.", "Mind.", "Check every distance on the ground."],
        local_bodies="The national body ",
    )

    first, last = sheet.cautions
    assert first == "Mind."
    assert last.endswith("the vet come first: The national body.")


def test_what_was_overruled_is_kept_with_name_and_reason() -> None:
    one = Overruled("Too high for Mira.", "rode it last week", "Vera")

    assert plain_sheet(overruled=[one]).as_data()["overruled"] == (
        {"says": "Too high for Mira.", "reason": "rode it last week", "by": "Vera"},
    )


def test_the_check_speaks_of_what_stands() -> None:
    fences = check_before_the_first_horse(TWO)
    poles = check_before_the_first_horse([Element(Kind.POLE)])

    assert any("back rail in safety cups" in one for one in fences)
    assert any("No cup without a pole" in one for one in fences)
    assert any("Ground lines on the side" in one for one in fences)
    assert not any("cup" in one or "Height" in one for one in poles)
    assert any("do not roll" in one for one in poles)


def test_details_are_said_in_words() -> None:
    row = SheetRow(
        [
            Element(Kind.VERTICAL, 0, 110, guides=True),
            Element(Kind.RAISED_POLE, 600, 15),
        ]
    )

    first, second = plain_sheet(row=row).fences
    assert (first.details, first.height) == ("3 rails, two guide rails", "110 cm")
    assert (second.what, second.details) == ("raised pole", "")


def test_a_school_that_measures_in_feet_builds_in_feet() -> None:
    units = Units(LengthUnit.FEET, HeightUnit.HOLES)
    sheet = plain_sheet(
        row=SheetRow(TWO, place=TapePlace("the gate", 700)), units=units
    )

    # 7.00 m is 22 ft 11.6 in, 5.60 m 18 ft 4.5 in, 70 cm 2 ft 3.6 in (1 in = 2.54 cm).
    assert [one.tape for one in sheet.fences] == ["23'", "41'4\" and 43'8\""]
    assert sheet.fences[1].gap == "18 ft 4 in"
    assert sheet.fences[0].height == "hole 7 (50 cm)"
    assert sheet.fences[1].details == "spread 2 ft 4 in"
    assert sheet.tape.startswith("Tape in feet and inches, read from the gate")
    assert "18'4" in sheet.side
