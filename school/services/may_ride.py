"""Whether a rider may be booked at all: what nobody can overrule."""

from collections.abc import Iterable
from datetime import date, datetime
from functools import cached_property

from school.enums import ConsentKind, LessonKind
from school.models import Consent, Rider, RiderStop, School
from school.queries.riders import is_minor, years_between
from school.queries.schools import local_day, the_school
from school.services.refusals import UnableToBook, on_day


def check_may_ride(
    riders: Iterable[Rider],
    starts_at: datetime,
    kind: str,
    *,
    known: "MayRide | None" = None,
) -> None:
    """Refuse who is stopped, too young, or under age without a consent for that day.

    Three queries for any number of riders, or none where it is `known` of them.

    Raises
    ------
    UnableToBook
        `stopped`, `too-young`, `led-only` or `no-consent`, with the rider's key; none
        can be overruled.
    """
    asked = list(riders)
    found = known or (MayRide(asked) if asked else None)
    refusal = found.refusal(local_day(starts_at), kind) if found else None
    if refusal is not None:
        raise refusal


class MayRide:
    """Whether some riders may be booked, on any number of days: read once."""

    def __init__(self, riders: Iterable[Rider]) -> None:
        self._riders = list(riders)
        stops = RiderStop.objects.filter(rider__in=self._riders, lifted_at=None)
        self._stops = list(
            stops.select_related("rider__person").order_by("from_date", "pk")
        )
        self._school = the_school()
        self._of_age = self._school.of_age_years

    def refusal(self, day: date, kind: str) -> UnableToBook | None:
        """Return why they can't all be booked for a day; None where they can."""
        for stop in self._stops:
            if stop.from_date <= day:
                return _stopped(stop)
        for rider in self._riders:
            if young := _too_young(rider, day, kind, self._school):
                return young
            if not is_minor(rider.born_date, day, self._of_age):
                continue
            mine = self._consents.get(rider.pk, [])
            if not any(one.holds_on(day) for one in mine):
                return _no_consent(rider, day, mine, self._of_age)
        return None

    @cached_property
    def _consents(self) -> dict[int, list[Consent]]:
        """The consents to ride, by rider; not read where nobody is under age."""
        given: dict[int, list[Consent]] = {}
        for one in Consent.objects.filter(
            rider__in=self._riders, kind=ConsentKind.RIDING
        ):
            given.setdefault(one.rider_id, []).append(one)
        return given


def _stopped(stop: RiderStop) -> UnableToBook:
    return UnableToBook(
        "stopped",
        f"{stop.rider.person.first_name} has been stopped from riding since "
        f"{on_day(stop.from_date)}. A manager lifts it on the rider's page, once "
        "whoever is to decide has; it can't be overruled.",
        rider=stop.rider_id,
    )


def _too_young(
    rider: Rider, day: date, kind: str, school: School
) -> UnableToBook | None:
    """Return why a rider is too young for a kind of lesson, by the house rules."""
    years, name = years_between(rider.born_date, day), rider.person.first_name
    on = on_day(day)
    if years < school.lead_rein_from_years:
        return UnableToBook(
            "too-young",
            f"{name} is {years} on {on}; here nobody rides before "
            f"{school.lead_rein_from_years}, led or not. The age is in the house "
            "rules.",
            rider=rider.pk,
        )
    if kind != LessonKind.LEAD_REIN and years < school.alone_from_years:
        return UnableToBook(
            "led-only",
            f"{name} is {years} on {on}; here who is under {school.alone_from_years} "
            "rides on the lead-rein only. Book a lead-rein lesson; the age is in the "
            "house rules.",
            rider=rider.pk,
        )
    return None


def _no_consent(
    rider: Rider, day: date, mine: list[Consent], of_age: int
) -> UnableToBook:
    why = "no guardian has given consent to it"
    if mine:
        last = max(mine, key=lambda one: (one.given_date, one.pk))
        why = f"the guardian's consent ended on {on_day(last.expires_date)}"
        if last.withdrawn_date is not None:
            why = f"the guardian withdrew it on {on_day(last.withdrawn_date)}"
    return UnableToBook(
        "no-consent",
        f"{rider.person.first_name} is under {of_age} and can't be booked for "
        f"{on_day(day)}: {why}. The guardian gives it on their own page, or you note "
        "it on the rider's. It can't be overruled.",
        rider=rider.pk,
    )
