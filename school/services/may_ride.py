"""Whether a rider may be booked at all: what nobody can overrule."""

from collections.abc import Iterable
from datetime import date, datetime

from school.enums import ConsentKind
from school.models import Consent, Rider, RiderStop
from school.queries.riders import is_minor
from school.queries.schools import local_day, the_school
from school.services.refusals import UnableToBook, on_day


def check_may_ride(riders: Iterable[Rider], starts_at: datetime) -> None:
    """Refuse who is stopped from riding, or under age without a consent for that day.

    Three queries for any number of riders.

    Raises
    ------
    UnableToBook
        `stopped` or `no-consent`, with the rider's key; neither can be overruled.
    """
    asked = list(riders)
    if not asked:
        return
    day = local_day(starts_at)
    _check_stops(asked, day)
    of_age = the_school().of_age_years
    minors = [one for one in asked if is_minor(one.born_date, day, of_age)]
    if minors:
        _check_consents(minors, day, of_age)


def _check_stops(riders: list[Rider], day: date) -> None:
    stops = RiderStop.objects.filter(
        rider__in=riders, lifted_at=None, from_date__lte=day
    ).select_related("rider__person")
    stop = stops.order_by("from_date", "pk").first()
    if stop is None:
        return
    raise UnableToBook(
        "stopped",
        f"{stop.rider.person.first_name} has been stopped from riding since "
        f"{on_day(stop.from_date)}. A manager lifts it on the rider's page, once "
        "whoever is to decide has; it can't be overruled.",
        rider=stop.rider_id,
    )


def _check_consents(minors: list[Rider], day: date, of_age: int) -> None:
    given: dict[int, list[Consent]] = {}
    for one in Consent.objects.filter(rider__in=minors, kind=ConsentKind.RIDING):
        given.setdefault(one.rider_id, []).append(one)
    for rider in minors:
        mine = given.get(rider.pk, [])
        if any(one.holds_on(day) for one in mine):
            continue
        name = rider.person.first_name
        why = "no guardian has given consent to it"
        if mine:
            last = max(mine, key=lambda one: (one.given_date, one.pk))
            why = f"the guardian's consent ended on {on_day(last.expires_date)}"
            if last.withdrawn_date is not None:
                why = f"the guardian withdrew it on {on_day(last.withdrawn_date)}"
        raise UnableToBook(
            "no-consent",
            f"{name} is under {of_age} and can't be booked for {on_day(day)}: {why}. "
            "The guardian gives it on their own page, or you note it on the rider's. "
            "It can't be overruled.",
            rider=rider.pk,
        )
