"""Everything that a table holds, written as it is read."""

from collections import Counter
from datetime import time
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from school.enums import LessonState, RideState
from school.models import (
    Consent,
    Horse,
    HorseDayOff,
    Instructor,
    Lesson,
    OwnReference,
    Ride,
    Rider,
)
from school.tables.cells import (
    as_cell,
    dated_papers_as_cell,
    same_name,
    weekdays_as_cell,
    weekly_hours_as_cell,
)
from school.tables.columns import CONSENTS, TABLES, Kind

HERE = "here-"
"""Begins the reference of what has none of the school's own: "here-12"."""

PAIR = " / "
"""Between a rider and the horse, in the cell of a lesson's riders."""

Rows = list[list[str]]


def table_of(kind: Kind, zone: ZoneInfo) -> tuple[list[str], Rows]:
    """Return the titles and rows of a whole table, in a constant number of queries."""
    titles = [one.title for one in TABLES[kind]]
    if kind is Kind.HORSES:
        return titles, _horses()
    if kind is Kind.PEOPLE:
        return titles, _people()
    if kind is Kind.INSTRUCTORS:
        return titles, _instructors()
    return titles, _lessons(zone)


def held_lessons() -> QuerySet[Lesson]:
    """Return the lessons that are not cancelled, with what a table says of them."""
    rides = Ride.objects.filter(state=RideState.BOOKED).select_related(
        "rider__person", "horse"
    )
    return (
        Lesson.objects.exclude(state__in=[LessonState.CANCELLED, LessonState.ASKED])
        .select_related("arena", "instructor__person")
        .prefetch_related(
            Prefetch("rides", queryset=rides.order_by("pk"), to_attr="booked_rides")
        )
        .order_by("starts_at", "pk")
    )


def _references(attribute: str) -> dict[int, str]:
    pairs = OwnReference.objects.filter(**{f"{attribute}__isnull": False})
    return dict(pairs.values_list(f"{attribute}_id", "text"))


def _reference(key: int, own: dict[int, str]) -> str:
    return own.get(key) or f"{HERE}{key}"


def days_off() -> dict[int, tuple[int, ...]]:
    """Return the weekdays on which each horse is not ridden, Monday being 0."""
    found: dict[int, tuple[int, ...]] = {}
    pairs = HorseDayOff.objects.order_by("weekday").values_list("horse_id", "weekday")
    for horse, weekday in pairs:
        found[horse] = (*found.get(horse, ()), weekday)
    return found


def _horses() -> Rows:
    own, off = _references("horse"), days_off()
    return [
        [
            _reference(one.pk, own),
            *(
                weekdays_as_cell(off.get(one.pk, ()))
                if column.key == "days_off"
                else as_cell(getattr(one, column.key))
                for column in TABLES[Kind.HORSES][1:]
            ),
        ]
        for one in Horse.objects.order_by("name", "pk")
    ]


def _instructors() -> Rows:
    own, rows = _references("instructor"), []
    teachers = Instructor.objects.select_related("person").prefetch_related(
        "hours", "papers"
    )
    for one in teachers.order_by("person__last_name", "person__first_name", "pk"):
        row = {
            "reference": _reference(one.pk, own),
            "hours": weekly_hours_as_cell(hours_of(one)),
            "papers": dated_papers_as_cell(
                (paper.name, paper.expires_date) for paper in one.papers.all()
            ),
        }
        for key in ("first_name", "last_name", "email", "phone"):
            row[key] = as_cell(getattr(one.person, key))
        rows.append(
            [
                row[column.key]
                if column.key in row
                else as_cell(getattr(one, column.key))
                for column in TABLES[Kind.INSTRUCTORS]
            ]
        )
    return rows


def hours_of(instructor: Instructor) -> tuple[tuple[int, time, time], ...]:
    """Return the hours of an instructor's week, in order."""
    hours = instructor.hours.all()
    return tuple(sorted((one.weekday, one.from_at, one.to_at) for one in hours))


def latest_consents() -> dict[tuple[int, str], Consent]:
    """Return each rider's latest consent of each kind that tables have, in one query.

    One that was withdrawn only where there is no other.
    """
    found: dict[tuple[int, str], Consent] = {}
    for one in (
        Consent.objects.filter(kind__in=CONSENTS)
        .select_related("given_by")
        .order_by("given_date", "pk")
    ):
        known = found.get((one.rider_id, one.kind))
        if known is None or one.withdrawn_date is None:
            found[one.rider_id, one.kind] = one
    return found


def _people() -> Rows:
    own, consents, rows = _references("rider"), latest_consents(), []
    riders = Rider.objects.select_related(
        "person", "client__person", "level_signed_by__person"
    )
    for rider in riders.order_by("person__last_name", "person__first_name", "pk"):
        person, guardian = rider.person, rider.client.person
        row = {"reference": _reference(rider.pk, own)}
        for key in ("first_name", "last_name", "email", "phone"):
            row[key] = as_cell(getattr(person, key))
            if guardian != person:
                row[f"guardian_{key}"] = as_cell(getattr(guardian, key))
        row["language"] = rider.client.language
        for kind in CONSENTS:
            row |= _consent_cells(kind, consents.get((rider.pk, kind)))
        rows.append(
            [
                row[one.key] if one.key in row else as_cell(getattr(rider, one.key, ""))
                for one in TABLES[Kind.PEOPLE]
            ]
        )
    return rows


def _consent_cells(kind: str, consent: Consent | None) -> dict[str, str]:
    if consent is None or consent.withdrawn_date is not None:
        return {}
    return {
        f"{kind}_until": as_cell(consent.expires_date),
        f"{kind}_from": as_cell(consent.given_date),
        f"{kind}_by": str(consent.given_by),
    }


def _lessons(zone: ZoneInfo) -> Rows:
    own, rows = _references("lesson"), []
    twice = _not_to_be_named()
    for lesson in held_lessons():
        local = lesson.starts_at.astimezone(zone)
        length = lesson.ends_at - lesson.starts_at
        rides: list[Ride] = getattr(lesson, "booked_rides", [])
        row = {
            "reference": _reference(lesson.pk, own),
            "title": lesson.title,
            "kind": lesson.kind,
            "work": lesson.work,
            "date": as_cell(local.date()),
            "start": as_cell(local.time()),
            "minutes": str(length.seconds // 60),
            "arena": lesson.arena.name,
            "instructor": str(lesson.instructor),
            "places": str(lesson.places),
            "riders": "; ".join(_pair(one, twice) for one in rides),
        }
        rows.append([row[one.key] for one in TABLES[Kind.LESSONS]])
    return rows


def _pair(ride: Ride, twice: set[str]) -> str:
    rider = _named(str(ride.rider), ride.rider_id, twice)
    if ride.horse is None:
        return rider
    return f"{rider}{PAIR}{_named(ride.horse.name, ride.horse.pk, twice)}"


def _named(name: str, key: int, twice: set[str]) -> str:
    """Return a name, or a reference where the name would not be read as one."""
    if same_name(name) in twice or set(name) & set(";/[]"):
        return f"[{HERE}{key}]"
    return name


def _not_to_be_named() -> set[str]:
    """Return the names that several riders or several horses have."""
    riders = Rider.objects.values_list("person__first_name", "person__last_name")
    people = Counter(same_name(f"{first} {last}") for first, last in riders)
    horses = Counter(
        same_name(one) for one in Horse.objects.values_list("name", flat=True)
    )
    return {name for count in (people, horses) for name, n in count.items() if n > 1}
