"""Every record a manager keeps, as tables: what a school takes along, or files away.

The four that can be brought in come first, in the form in which they are read. Each
of the others is one query, whatever it holds.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Model

from school.models import (
    Arena,
    ArenaClosure,
    Client,
    Consent,
    DayHeat,
    EarlyEnd,
    Groundsperson,
    HorsePapers,
    HorseState,
    Incident,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    KeepingPlace,
    Lesson,
    LessonPack,
    LessonPrice,
    LessonSeries,
    LevelSigning,
    Line,
    MakeUpCredit,
    MessageText,
    Outcome,
    PackUse,
    RiddenRide,
    Ride,
    RideLog,
    RideNote,
    RiderConfidence,
    RiderHorse,
    RiderStop,
    School,
    SecondGuardian,
    SeriesException,
    SidewaysRule,
    StorePiece,
    Term,
    TermBreak,
    WaitingOffer,
    WaitingWish,
    WelfareOverride,
    YardRule,
    YardWork,
)
from school.queries.schools import school_zone, the_school
from school.queries.tables import Rows, table_of
from school.tables.cells import as_cell, weekdays_as_cell
from school.tables.columns import Kind

Path = str | tuple[str, ...]
"""Where a cell is found; several are joined by a space, as a name is."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table with a name: titles and rows, every cell a text."""

    name: str
    titles: list[str]
    rows: Rows


def _name(of: str) -> tuple[str, str]:
    return (f"{of}first_name", f"{of}last_name")


RIDER, CLIENT = _name("rider__person__"), _name("client__person__")
TEACHER = _name("instructor__person__")
_RIDE: Mapping[str, Path] = {
    "Lesson": "ride__lesson__title",
    "Starts": "ride__lesson__starts_at",
    "Rider": _name("ride__rider__person__"),
}
_LINE: Mapping[str, Path] = {"Arena": "arena__name", "Line": "name"}

OTHERS: Mapping[str, tuple[type[Model], Mapping[str, Path]]] = {
    "all lessons": (
        Lesson,
        {
            "Number": "pk", "Title": "title", "Kind": "kind", "Work": "work",
            "Starts": "starts_at", "Ends": "ends_at", "May start from": "window_from",
            "May start to": "window_to", "Arena": "arena__name",
            "Instructor": TEACHER, "Places": "places", "Level asked": "level",
            "Arena is cleared": "needs_clear", "Weekly lesson": "series__name",
            "Grid": "grid__revision__exercise__name", "State": "state",
            "State since": "state_at", "Why": "state_reason",
        },
    ),
    "places in lessons": (
        Ride,
        {
            "Lesson number": "lesson_id", "Lesson": "lesson__title",
            "Starts": "lesson__starts_at", "Rider": RIDER, "Horse": "horse__name",
            "State": "state", "Given back": "cancelled_at",
            "Why": "cancelled_reason", "By the school": "cancelled_for_school",
        },
    ),
    "weekly lessons": (
        LessonSeries,
        {
            "Number": "pk", "Name": "name", "Kind": "kind", "Work": "work",
            "Weekday": "weekday", "Starts": "local_start", "Minutes": "minutes",
            "May start from": "window_from", "May start to": "window_to",
            "First day": "first_date", "Last day": "last_date",
            "Arena": "arena__name", "Instructor": TEACHER, "Places": "places",
            "Term": "term__name",
        },
    ),
    "weekly lessons, days left out": (
        SeriesException,
        {"Weekly lesson": "series__name", "Day": "date", "Why": "reason"},
    ),
    "clients": (
        Client,
        {
            "First name": "person__first_name", "Last name": "person__last_name",
            "Mail": "person__email", "Phone": "person__phone",
            "Language of mails": "language", "Calendar by": "calendar_by",
        },
    ),
    "second guardians": (
        SecondGuardian,
        {
            "Rider": RIDER, "Name": _name("person__"), "Relation": "relation",
            "Mail": "person__email", "Phone": "person__phone",
            "Has copies of mails": "gets_mail",
        },
    ),
    "consents": (
        Consent,
        {
            "Rider": RIDER, "Kind": "kind", "Name": "name",
            "Signed by": _name("given_by__"), "From": "given_date",
            "Until": "expires_date", "Withdrawn": "withdrawn_date",
            "Why": "withdrawn_reason",
        },
    ),
    "levels signed": (
        LevelSigning,
        {
            "Rider": RIDER, "Level": "level", "Highest fence (cm)": "highest_fence_cm",
            "Signed by": _name("signed_by__person__"), "Signed on": "signed_date",
            "What was seen": "note",
        },
    ),
    "riders stopped": (
        RiderStop,
        {
            "Rider": RIDER, "From": "from_date", "Not before": "not_before_date",
            "Why": "reason", "Lifted": "lifted_at", "Why lifted": "lifted_reason",
        },
    ),
    "riders' horses": (
        RiderHorse,
        {
            "Rider": RIDER, "Horse": "horse__name", "What": "liking",
            "Why": "reason", "Since": "set_at",
        },
    ),
    "riders' confidence": (
        RiderConfidence,
        {"Rider": RIDER, "Confidence (1 to 5)": "confidence", "Since": "set_at"},
    ),
    "horses' states": (
        HorseState,
        {
            "Horse": "horse__name", "What": "kind", "From": "state_from",
            "To": "state_to", "Why": "reason",
        },
    ),
    "horses' papers": (
        HorsePapers,
        {"Horse": "horse__name", "Passport": "passport", "Chip": "microchip"},
    ),
    "instructors' hours": (
        InstructorHours,
        {
            "Instructor": TEACHER, "Weekday": "weekday", "From": "from_at",
            "To": "to_at",
        },
    ),
    "instructors' papers": (
        InstructorPaper,
        {"Instructor": TEACHER, "Paper": "name", "Last day": "expires_date"},
    ),
    "instructors away": (
        InstructorAbsence,
        {
            "Instructor": TEACHER, "From": "absent_from", "To": "absent_to",
            "Why": "reason",
        },
    ),
    "groundspeople": (
        Groundsperson,
        {
            "Name": _name("person__"), "Mail": "person__email",
            "Phone": "person__phone", "Works from": "works_from",
            "Works to": "works_to", "Alone on": "alone_days",
        },
    ),
    "waiting list": (
        WaitingWish,
        {
            "Rider": RIDER, "Work": "work", "Weekday": "weekday", "From": "from_at",
            "To": "to_at", "Instead of": "instead_of__title", "Note": "note",
            "Since": "made_at", "State": "state", "State since": "state_at",
        },
    ),
    "places offered": (
        WaitingOffer,
        {
            "Rider": _name("wish__rider__person__"), "Lesson": "lesson__title",
            "Starts": "lesson__starts_at", "Offered": "made_at", "Until": "ends_at",
            "State": "state",
        },
    ),
    "packs": (
        LessonPack,
        {
            "Number": "pk", "Client": CLIENT, "Pack": "name", "Lessons": "lessons",
            "Bought": "bought_date", "Last day": "expires_date",
        },
    ),
    "packs, lessons paid": (
        PackUse,
        {"Pack number": "pack_id", "Pack": "pack__name", **_RIDE, "Noted": "used_at"},
    ),
    "lessons to make up": (
        MakeUpCredit,
        {
            "Client": CLIENT, "For": "reason", "Given": "given_at",
            "Last day": "expires_date", "Used for": "used_for__lesson__title",
            "Used for, starts": "used_for__lesson__starts_at", "Used": "used_at",
        },
    ),
    "missed places": (
        Outcome,
        {
            **_RIDE, "What": "kind", "Minutes late": "minutes_late",
            "Rule": "charge", "Paid by": "paid_by", "Fee": "amount",
            "Currency": "currency", "Noted": "noted_at",
        },
    ),
    "lessons ended early": (
        EarlyEnd,
        {
            "Lesson": "lesson__title", "Starts": "lesson__starts_at",
            "Was to end": "booked_ends_at", "Ended": "lesson__ends_at",
            "Cause": "cause", "Note": "note",
        },
    ),
    "prices": (
        LessonPrice,
        {"Kind": "kind", "Minutes": "minutes", "Amount": "amount"},
    ),
    "terms": (
        Term,
        {"Term": "name", "First day": "first_date", "Last day": "last_date"},
    ),
    "terms' breaks": (
        TermBreak,
        {
            "Term": "term__name", "Break": "name", "First day": "first_date",
            "Last day": "last_date",
        },
    ),
    "arenas": (
        Arena,
        {
            "Arena": "name", "Length (cm)": "length_cm", "Width (cm)": "width_cm",
            "Indoor": "indoor", "Lit": "lit", "Surface": "surface",
            "Opens": "opens_at", "Closes": "closes_at",
            "Store along (cm)": "store_along_cm",
            "Store across (cm)": "store_across_cm",
        },
    ),
    "lines": (
        Line,
        {
            **_LINE, "Length (cm)": "length_cm",
            "From the long side (cm)": "from_long_side_cm", "Datum": "datum",
        },
    ),
    "lines that move": (
        SidewaysRule,
        {
            "Arena": "line__arena__name", "Line": "line__name",
            "Every so many days": "every_days", "Every so many lessons": "every_uses",
            "By (cm)": "step_cm", "Least (cm)": "least_cm", "Most (cm)": "most_cm",
        },
    ),
    "closures": (
        ArenaClosure,
        {
            "Arena": "arena__name", "From": "closed_from", "To": "closed_to",
            "Why": "reason", "Cleared": "needs_clear",
        },
    ),
    "keeping places": (
        KeepingPlace,
        {"Place": "name", "Arena whose own they are": "arena__name"},
    ),
    "store": (
        StorePiece,
        {
            "Piece": "piece", "Place": "place__name", "Working": "working",
            "Broken": "broken", "Weight of one (g)": "weight_g",
        },
    ),
    "weekly yard work": (
        YardRule,
        {
            "What": "kind", "Arena": "arena__name", "Weekday": "weekday",
            "Starts": "local_start", "Minutes": "minutes", "Since": "since_date",
            "Ended": "ended_at",
        },
    ),
    "yard work": (
        YardWork,
        {
            "What": "kind", "Arena": "arena__name", "Line": "line__name",
            "Starts": "starts_at", "Ends": "ends_at", "Who": _name("who__person__"),
            "Called off": "called_off_at", "Done": "done_at", "Note": "note",
        },
    ),
    "logs of rides": (
        RideLog,
        {
            "Number": "pk", "Lesson": "lesson__title",
            "Starts": "lesson__starts_at", "Log": "number",
            "Exercise": "revision__exercise__name", "Stage": "stage",
            "Passes": "passes", "Note": "note", "Logged": "logged_at",
        },
    ),
    "what was ridden": (
        RiddenRide,
        {
            "Log number": "log_id", "Lesson": "log__lesson__title",
            "Starts": "log__lesson__starts_at", "Rider": RIDER,
            "Horse": "horse__name", "Went": "went", "Passes": "passes",
            "Quarter efforts": "quarter_efforts",
        },
    ),
    "what happened": (
        RideNote,
        {
            "Log number": "ridden__log_id",
            "Rider": _name("ridden__rider__person__"),
            "Horse": "ridden__horse__name", "What": "what", "Element": "element",
            "More than once": "often",
        },
    ),
    "incidents": (
        Incident,
        {
            "Number": "pk", "Happened": "happened_at", "Who": "who",
            "Horse": "horse__name", "Where": "where", "What": "what",
            "Done at once": "done", "Witness": "witness", "Adds to": "adds_to_id",
            "Noted": "noted_at",
        },
    ),
    "rules overruled": (
        WelfareOverride,
        {
            "Lesson": "lesson__title", "Starts": "lesson__starts_at",
            "Horse": "horse__name", "Rider": RIDER, "Rule": "rule",
            "Figure": "figure", "Limit": "limit", "Why": "reason", "When": "at",
        },
    ),
    "heat": (
        DayHeat,
        {
            "Day": "date", "Temperature (°C)": "temperature_c",
            "Humidity (%)": "humidity_pct",
        },
    ),
    "words of mails": (
        MessageText,
        {
            "Mail": "kind", "Language": "language", "Subject": "subject",
            "Text": "body",
        },
    ),
}  # fmt: skip
"""Every other table: whose rows, and where the cell of each title is found."""


def everything() -> Iterator[Sheet]:
    """Yield every table, one at a time."""
    zone = school_zone()
    for kind in Kind:
        titles, rows = table_of(kind, zone)
        yield Sheet(kind.value, titles, rows)
    for name, (model, columns) in OTHERS.items():
        yield Sheet(name, list(columns), _rows(model, columns, zone))
    yield _house()


def _rows(model: type[Model], columns: Mapping[str, Path], zone: ZoneInfo) -> Rows:
    paths = [(one,) if isinstance(one, str) else one for one in columns.values()]
    flat = [one for path in paths for one in path]
    rows = []
    for values in model._default_manager.order_by("pk").values_list(*flat):
        cells = iter(
            _cell(path, value, zone) for path, value in zip(flat, values, strict=True)
        )
        rows.append([" ".join(next(cells) for _ in path).strip() for path in paths])
    return rows


def _cell(path: str, value: object, zone: ZoneInfo) -> str:
    if isinstance(value, datetime):
        return f"{value.astimezone(zone):%Y-%m-%d %H:%M}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, int) and path == "weekday":
        return weekdays_as_cell([value])
    if isinstance(value, int) and path == "alone_days":
        return weekdays_as_cell([day for day in range(7) if value >> day & 1])
    return as_cell(value)


def _house() -> Sheet:
    """Return the school's own settings, one a row."""
    school, zone = the_school(), school_zone()
    rows = [
        [field.name, _cell(field.name, getattr(school, field.name), zone)]
        for field in School._meta.concrete_fields
        if not field.primary_key
    ]
    return Sheet("settings", ["Setting", "Value"], rows)
