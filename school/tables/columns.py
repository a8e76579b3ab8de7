"""The tables that can be brought in: their columns, and the names these go by.

A horse's and rider's limits are those that the database keeps, so that a row is
refused in words before the database refuses it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from school.enums import LessonKind, Level, Work
from school.tables.cells import (
    Reader,
    Reading,
    Unreadable,
    a_choice,
    a_clock_time,
    a_day,
    a_mail_address,
    a_text,
    a_whole_number,
    dated_papers,
    same_name,
    weekdays,
    weekly_hours,
)


class Kind(StrEnum):
    """What the rows of a table are."""

    HORSES = "horses"
    PEOPLE = "people"
    INSTRUCTORS = "instructors"
    LESSONS = "lessons"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its key, its title in files that are written, what it may be called.

    `needed` columns must be filled for what is new; elsewhere an empty cell leaves
    things as they are.
    """

    key: str
    title: str
    read: Reader
    names: tuple[str, ...] = ()
    needed: bool = False


REFERENCE = "reference"
TO_MEND = "What to mend"
"""The last column of a file of rows set aside; it is left out when read again."""

_LEVELS = {one.value: one.value for one in Level} | {
    "beginner": "novice",
    "advanced beginner": "novice",
    "medium": "intermediate",
}
_LANGUAGES = {
    "en": "en", "english": "en", "de": "de", "german": "de", "deutsch": "de",
}  # fmt: skip
_KINDS = {one.value: one.value for one in LessonKind} | {
    "semi-private": "shared",
    "lead rein": "lead-rein",
    "lead-line": "lead-rein",
    "lead line": "lead-rein",
}
_WORK = {one.value: one.value for one in Work} | {"jump": "jumping", "flatwork": "flat"}
_OWN = Column(
    REFERENCE,
    "Our reference",
    a_text(60),
    ("reference", "ref", "id", "key", "number", "no", "no.", "customer number"),
)

HORSES = (
    _OWN,
    Column("name", "Name", a_text(60), ("horse", "pony", "horse name"), True),
    Column(
        "height_cm", "Height (cm)", a_whole_number(70, 200, "cm"),
        ("height", "withers", "height cm", "stick measure"), True,
    ),
    Column(
        "weight_kg", "Weight (kg)", a_whole_number(80, 1200, "kg"),
        ("weight", "weight kg", "kg"), True,
    ),
    Column("born_date", "Born", a_day, ("birth date", "date of birth", "dob"), True),
    Column("level", "Level", a_choice(_LEVELS), ("standard", "training level"), True),
    Column(
        "highest_fence_cm", "Highest fence (cm)", a_whole_number(0, 160, "cm"),
        ("highest fence", "max fence", "jumps up to", "max height"), True,
    ),
    Column(
        "canter_stride_cm", "Canter stride (cm)", a_whole_number(150, 450, "cm"),
        ("stride", "canter stride", "stride cm"),
    ),
    Column(
        "rest_min", "Rest between lessons (min)", a_whole_number(0, 600),
        ("rest", "rest min", "break"),
    ),
    Column(
        "max_lessons", "Lessons a day", a_whole_number(0, 10),
        ("max lessons", "lessons per day"),
    ),
    Column(
        "max_minutes", "Minutes a day", a_whole_number(0, 600),
        ("max minutes", "minutes per day"),
    ),
    Column("days_off", "Days off", weekdays, ("day off", "free days", "rest days")),
    Column("notes", "Notes", a_text(4000), ("note", "remarks", "comment", "comments")),
)  # fmt: skip


def _consent(kind: str, title: str, *names: str) -> tuple[Column, ...]:
    """Return the columns of one kind of consent: until when, from when, who signed."""
    return (
        Column(
            f"{kind}_until", f"{title} until", a_day,
            tuple(f"{one} until" for one in names)
            + tuple(f"{one} ends" for one in names),
        ),
        Column(
            f"{kind}_from", f"{title} from", a_day,
            tuple(f"{one} from" for one in names)
            + tuple(f"{one} signed on" for one in names),
        ),
        Column(
            f"{kind}_by", f"{title} signed by", a_text(130),
            tuple(f"{one} signed by" for one in names)
            + tuple(f"{one} by" for one in names),
        ),
    )  # fmt: skip


CONSENTS: Mapping[str, str] = {
    "riding": "Consent to riding",
    "treatment": "Consent to treatment",
    "photographs": "Consent to photographs",
}
"""The kinds of consent that a table of riders has columns for."""

PEOPLE = (
    _OWN,
    Column("first_name", "First name", a_text(60), ("given name", "forename"), True),
    Column("last_name", "Last name", a_text(60), ("surname", "family name")),
    Column("born_date", "Born", a_day, ("birth date", "date of birth", "dob"), True),
    Column(
        "height_cm", "Height (cm)", a_whole_number(70, 230, "cm"),
        ("height", "height cm"),
    ),
    # Rounded up: what a horse carries is not made less.
    Column(
        "weight_kg", "Weight (kg)", a_whole_number(10, 180, "kg", up=True),
        ("weight", "weight kg", "kg"), True,
    ),
    Column("level", "Level", a_choice(_LEVELS), ("standard", "riding level"), True),
    Column(
        "highest_fence_cm", "Highest fence (cm)", a_whole_number(0, 160, "cm"),
        ("highest fence", "max fence", "jumps up to", "max height"),
    ),
    Column("health", "Health", a_text(4000), ("medical", "allergies", "conditions")),
    Column(
        "emergency_name", "Emergency contact", a_text(120),
        ("emergency name", "in case of emergency", "ice name"), True,
    ),
    Column(
        "emergency_phone", "Emergency phone", a_text(30),
        ("emergency number", "ice", "ice phone"), True,
    ),
    Column("email", "Mail", a_mail_address, ("email", "e-mail", "mail address")),
    Column("phone", "Phone", a_text(30), ("telephone", "mobile", "tel")),
    Column(
        "guardian_first_name", "Guardian's first name", a_text(60),
        ("guardian first name", "parent first name", "guardian", "parent"),
    ),
    Column(
        "guardian_last_name", "Guardian's last name", a_text(60),
        ("guardian last name", "parent last name", "guardian surname"),
    ),
    Column(
        "guardian_email", "Guardian's mail", a_mail_address,
        ("guardian email", "guardian mail", "parent email", "parent mail"),
    ),
    Column(
        "guardian_phone", "Guardian's phone", a_text(30),
        ("guardian phone", "parent phone"),
    ),
    Column(
        "language", "Language of mails", a_choice(_LANGUAGES), ("language", "lang"),
    ),
    Column("level_signed_by", "Level signed by", a_text(130), ("signed by",)),
    Column("level_signed_date", "Level signed on", a_day, ("signed on",)),
    *_consent("riding", CONSENTS["riding"], "consent", "riding consent"),
    *_consent("treatment", CONSENTS["treatment"], "treatment consent"),
    *_consent("photographs", CONSENTS["photographs"], "photo consent"),
)  # fmt: skip

INSTRUCTORS = (
    _OWN,
    Column("first_name", "First name", a_text(60), ("given name", "forename"), True),
    Column("last_name", "Last name", a_text(60), ("surname", "family name")),
    Column("email", "Mail", a_mail_address, ("email", "e-mail", "mail address")),
    Column("phone", "Phone", a_text(30), ("telephone", "mobile", "tel")),
    Column(
        "level", "Teaches up to", a_choice(_LEVELS), ("level", "standard", "teaches"),
        True,
    ),
    Column(
        "highest_fence_cm", "Highest fence (cm)", a_whole_number(0, 160, "cm"),
        ("highest fence", "max fence", "fences up to", "max height"), True,
    ),
    Column(
        "group_limit", "Riders at once", a_whole_number(1, 12),
        ("group limit", "group size", "max riders"),
    ),
    Column("hours", "Hours", weekly_hours, ("working hours", "availability")),
    Column(
        "papers", "Papers", dated_papers,
        ("certificates", "licences", "qualifications", "papers until"),
    ),
)  # fmt: skip

LESSONS = (
    _OWN,
    Column("title", "Title", a_text(120), ("lesson", "name", "subject"), True),
    Column("kind", "Kind", a_choice(_KINDS), ("type", "lesson type"), True),
    Column("work", "Work", a_choice(_WORK), ("discipline", "flat or jumping"), True),
    Column("date", "Date", a_day, ("day", "on"), True),
    Column("start", "Start", a_clock_time, ("time", "from", "starts", "begin"), True),
    Column(
        "minutes", "Minutes", a_whole_number(10, 240, "min"),
        ("duration", "length", "min"), True,
    ),
    Column("arena", "Arena", a_text(60), ("where", "place", "ring"), True),
    Column(
        "instructor", "Instructor", a_text(130), ("teacher", "coach", "trainer"), True
    ),
    Column("places", "Places", a_whole_number(1, 12), ("size", "group size")),
    Column(
        "riders", "Riders and horses", a_text(2000),
        ("riders", "rider", "participants", "clients"),
    ),
)  # fmt: skip

TABLES: Mapping[Kind, tuple[Column, ...]] = {
    Kind.HORSES: HORSES,
    Kind.PEOPLE: PEOPLE,
    Kind.INSTRUCTORS: INSTRUCTORS,
    Kind.LESSONS: LESSONS,
}


def names_of(kind: Kind) -> dict[str, str]:
    """Return the key of each column by every name it may go by."""
    found: dict[str, str] = {}
    for column in TABLES[kind]:
        for name in (column.title, column.key.replace("_", " "), *column.names):
            found.setdefault(same_name(name), column.key)
    return found


def mapping_of(kind: Kind, headers: Sequence[str]) -> list[str]:
    """Return the key of the column that each header names, "" where none is known.

    A column is taken once: the first header that names it has it.
    """
    names, taken, found = names_of(kind), set[str](), list[str]()
    for header in headers:
        name = same_name(header.replace("_", " "))
        key = names.get(name) or names.get(name.partition("(")[0].strip(), "")
        found.append("" if key in taken else key)
        taken.add(key)
    return found


def missing(kind: Kind, mapping: Sequence[str]) -> list[str]:
    """Return the titles of the needed columns that no column of the file gives."""
    return [one.title for one in TABLES[kind] if one.needed and one.key not in mapping]


@dataclass(frozen=True, slots=True)
class Row:
    """A row as read: what it gives by column, and what can't be read of it."""

    number: int
    values: Mapping[str, object]
    faults: tuple[str, ...]


def read_row(
    kind: Kind, mapping: Sequence[str], cells: Sequence[str], number: int, how: Reading
) -> Row:
    """Read the cells of a row by the columns they belong to; empty ones say nothing."""
    columns = {one.key: one for one in TABLES[kind]}
    values: dict[str, object] = {}
    faults: list[str] = []
    for key, cell in zip(mapping, cells, strict=True):
        if not key or not cell:
            continue
        try:
            values[key] = columns[key].read(cell, how)
        except Unreadable as fault:
            faults.append(f"{columns[key].title} {fault}.")
    return Row(number, values, tuple(faults))
