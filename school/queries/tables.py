"""Everything that a table holds, written as it is read: horses, people, lessons."""

from collections import Counter
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from school.enums import LessonState, RideState
from school.models import Horse, Lesson, OwnReference, Ride, Rider
from school.tables.cells import as_cell, same_name
from school.tables.columns import TABLES, Kind

HERE = "here-"
"""Begins the reference of what has none of the school's own: "here-12"."""

PAIR = " / "
"""Between a rider and the horse, in the cell of a lesson's riders."""

Rows = list[list[str]]


def table_of(kind: Kind, zone: ZoneInfo) -> tuple[list[str], Rows]:
    """Return the titles and rows of a whole table, in a constant number of queries."""
    titles = [one.title for one in TABLES[kind]]
    if kind is Kind.HORSES:
        return titles, _plain(kind, Horse.objects.order_by("name", "pk"), "horse")
    if kind is Kind.PEOPLE:
        return titles, _people()
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


def _plain(kind: Kind, things: Iterable[Horse], attribute: str) -> Rows:
    own = _references(attribute)
    keys = [one.key for one in TABLES[kind][1:]]
    return [
        [_reference(one.pk, own), *(as_cell(getattr(one, key)) for key in keys)]
        for one in things
    ]


def _people() -> Rows:
    own, rows = _references("rider"), []
    riders = Rider.objects.select_related("person", "client__person")
    for rider in riders.order_by("person__last_name", "person__first_name", "pk"):
        person, guardian = rider.person, rider.client.person
        row = {"reference": _reference(rider.pk, own)}
        for key in ("first_name", "last_name", "email", "phone"):
            row[key] = as_cell(getattr(person, key))
            if guardian != person:
                row[f"guardian_{key}"] = as_cell(getattr(guardian, key))
        row["language"] = rider.client.language
        rows.append(
            [
                row[one.key] if one.key in row else as_cell(getattr(rider, one.key, ""))
                for one in TABLES[Kind.PEOPLE]
            ]
        )
    return rows


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
