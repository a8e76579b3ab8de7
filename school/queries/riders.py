"""Riders with what a booking asks of them: age, consents, stops, levels."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, Q
from django.db.models.functions import TruncDate

from school.enums import HOLDING_STATES, ConsentKind, LessonState, RideState
from school.models import (
    Account,
    Consent,
    Lesson,
    LevelSigning,
    Ride,
    Rider,
    RiderStop,
)
from school.queries.schools import the_school

ENDS_SOON = timedelta(days=30)
"""What ends within this time is warned of."""

TEACHES_BACK = timedelta(days=1)
TEACHES_AHEAD = timedelta(days=14)
"""Around now an instructor's lesson lets them see what is sensitive of its riders."""


def years_between(born: date, day: date) -> int:
    """Return how many years old somebody is on a day."""
    return day.year - born.year - ((day.month, day.day) < (born.month, born.day))


def is_minor(born: date, day: date, of_age: int) -> bool:
    """Say whether somebody is under age on a day."""
    return years_between(born, day) < of_age


@dataclass(frozen=True, slots=True)
class RiderFile:
    """A rider with what stands for or against booking them, as of a day.

    `consents` holds the latest of each; `notes` what should be looked at, the worst
    first, as words; `uncovered` the rides booked for days without the consent they
    need, the next first; `riding` the consent to riding lessons that holds longest.
    """

    rider: Rider
    minor: bool
    consents: tuple[Consent, ...]
    stop: RiderStop | None
    notes: tuple["Note", ...] = field(default=())

    uncovered: tuple[Ride, ...] = field(default=())
    riding: Consent | None = None

    @property
    def blocked(self) -> bool:
        """Whether no booking for today would be taken."""
        return any(one.blocks for one in self.notes)


@dataclass(frozen=True, slots=True)
class Note:
    """Something to look at, and whether it keeps the rider from being booked.

    `lesson` is the one it speaks of, if any, and `more` how many others.
    """

    says: str
    blocks: bool = False
    lesson: Lesson | None = None
    more: int = 0


def _open_stops() -> "Prefetch[str]":
    return Prefetch(
        "stops",
        RiderStop.objects.filter(lifted_at=None).order_by("pk"),
        to_attr="open_stops",
    )


def rider_files(day: date) -> list[RiderFile]:
    """Return every rider by name, in five queries."""
    of_age = the_school().of_age_years
    riders = (
        Rider.objects.select_related("person", "client__person")
        .prefetch_related(
            Prefetch(
                "consents",
                Consent.objects.select_related("given_by").order_by("given_date", "pk"),
            ),
            _open_stops(),
        )
        .order_by("person__first_name", "person__last_name", "pk")
    )
    bare = uncovered_rides(day)
    return [rider_file(one, day, of_age, bare.get(one.pk, ())) for one in riders]


def find_rider(pk: int) -> Rider | None:
    """Return a rider with what their page shows."""
    return (
        Rider.objects.select_related(
            "person", "client__person", "level_signed_by__person"
        )
        .prefetch_related(
            Prefetch(
                "consents",
                Consent.objects.select_related("given_by").order_by("given_date", "pk"),
            ),
            _open_stops(),
        )
        .filter(pk=pk)
        .first()
    )


def uncovered_rides(
    day: date, rider: Rider | None = None
) -> dict[int, tuple[Ride, ...]]:
    """Return the rides of minors booked for days without a consent, by rider.

    From a day on, each rider's next first; two queries. With a rider only theirs.
    """
    school = the_school()
    zone, of_age = ZoneInfo(school.zone), school.of_age_years
    on = OuterRef("local_day")
    consent = Consent.objects.filter(
        Q(withdrawn_date=None) | Q(withdrawn_date__gt=on),
        rider=OuterRef("rider"),
        kind=ConsentKind.RIDING,
        given_date__lte=on,
        expires_date__gte=on,
    )
    rides = (
        Ride.objects.filter(
            state=RideState.BOOKED,
            lesson__state__in=HOLDING_STATES,
            lesson__starts_at__gte=datetime.combine(day, time(), tzinfo=zone),
            rider__born_date__gt=date(day.year - of_age - 1, 12, 31),
            **({} if rider is None else {"rider": rider}),
        )
        .annotate(local_day=TruncDate("lesson__starts_at", tzinfo=zone))
        .filter(~Exists(consent))
        .select_related("lesson", "rider")
        .order_by("lesson__starts_at", "pk")
    )
    found: dict[int, tuple[Ride, ...]] = {}
    for one in rides:
        on_day = one.lesson.starts_at.astimezone(zone).date()
        if is_minor(one.rider.born_date, on_day, of_age):
            found[one.rider_id] = (*found.get(one.rider_id, ()), one)
    return found


def rider_file(
    rider: Rider, day: date, of_age: int, uncovered: tuple[Ride, ...] = ()
) -> RiderFile:
    """Return a rider's file as of a day; consents and stops are prefetched."""
    latest: dict[tuple[str, str], Consent] = {}
    for one in rider.consents.all():
        latest[(one.kind, one.name)] = one
    consents = tuple(
        sorted(
            latest.values(),
            key=lambda one: (one.kind != ConsentKind.RIDING, one.expires_date, one.pk),
        )
    )
    minor = is_minor(rider.born_date, day, of_age)
    stops: list[RiderStop] = getattr(rider, "open_stops", [])
    stop = stops[0] if stops else None
    holding = [
        one
        for one in rider.consents.all()
        if one.kind == ConsentKind.RIDING and one.holds_on(day)
    ]
    riding = max(holding, key=lambda one: one.expires_date, default=None)
    notes = _notes(rider, consents, stop, day)
    if minor:
        notes = [*_minor_notes(rider, consents, riding, day, uncovered), *notes]
    notes.sort(key=lambda one: not one.blocks)
    return RiderFile(
        rider, minor, consents, stop, tuple(notes), uncovered=uncovered, riding=riding
    )


def _notes(
    rider: Rider,
    consents: tuple[Consent, ...],
    stop: RiderStop | None,
    day: date,
) -> list[Note]:
    notes = []
    if stop is not None:
        notes.append(Note(f"Not to ride since {_day(stop.from_date)}", blocks=True))
    for one in consents:
        if one.kind == ConsentKind.RIDING or one.withdrawn_date is not None:
            continue
        if one.expires_date <= day + ENDS_SOON:
            ends = "ended" if one.expires_date < day else "ends"
            notes.append(Note(f"{one.name} {ends} on {_day(one.expires_date)}"))
    if rider.level_signed_date is None:
        notes.append(Note("Level not signed by an instructor"))
    return notes


def _minor_notes(
    rider: Rider,
    consents: tuple[Consent, ...],
    riding: Consent | None,
    day: date,
    uncovered: tuple[Ride, ...],
) -> list[Note]:
    notes = []
    if riding is None:
        asked = [one for one in consents if one.kind == ConsentKind.RIDING]
        withdrawn = any(one.withdrawn_date for one in asked)
        why = "withdrawn" if withdrawn else "ended" if asked else "missing"
        notes.append(Note(f"Consent to ride {why}: can't be booked", blocks=True))
    elif riding.expires_date <= day + ENDS_SOON or uncovered:
        notes.append(Note(f"Consent to ride ends on {_day(riding.expires_date)}"))
    if uncovered:
        first, more = uncovered[0].lesson, len(uncovered) - 1
        notes.append(Note("Booked without a consent for that day", False, first, more))
    if rider.client_id == rider.pk:
        notes.append(Note("Under age and has no guardian here"))
    return notes


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def signings_of(rider: Rider) -> list[LevelSigning]:
    """Return every signing of a rider's level, the newest first."""
    return list(
        LevelSigning.objects.filter(rider=rider)
        .select_related("signed_by__person")
        .order_by("-signed_date", "-pk")
    )


def stops_of(rider: Rider) -> list[RiderStop]:
    """Return every stop of a rider, the newest first."""
    return list(
        RiderStop.objects.filter(rider=rider)
        .select_related("noted_by__person", "lifted_by__person")
        .order_by("-noted_at", "-pk")
    )


def lessons_to_come(rider: Rider, now: datetime) -> list[Lesson]:
    """Return the next lessons for which a rider is booked."""
    return list(
        Lesson.objects.filter(
            starts_at__gt=now,
            state__in=HOLDING_STATES,
            rides__rider=rider,
            rides__state=RideState.BOOKED,
        )
        .select_related("arena", "instructor__person")
        .order_by("starts_at", "pk")[:10]
    )


def taught_by(account: Account, rider: Rider, now: datetime) -> bool:
    """Say whether somebody has a lesson with a rider, about now."""
    return (
        account.person_id is not None
        and Lesson.objects.filter(
            instructor_id=account.person_id,
            ends_at__gt=now - TEACHES_BACK,
            starts_at__lt=now + TEACHES_AHEAD,
            rides__rider=rider,
            rides__state=RideState.BOOKED,
        )
        .exclude(state=LessonState.CANCELLED)
        .exists()
    )
