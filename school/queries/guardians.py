"""Second guardians: who they are, and of which mails they have a copy."""

from datetime import date

from school.enums import MessageKind
from school.models import OutboxMessage, Person, Ride, Rider, SecondGuardian
from school.queries.riders import is_minor
from school.queries.schools import the_school

COPIED = {
    MessageKind.INVITE,
    MessageKind.CHANGED,
    MessageKind.CANCELLED,
    MessageKind.SERIES,
    MessageKind.SERIES_CHANGED,
    MessageKind.SERIES_CANCELLED,
    MessageKind.REMINDER,
    MessageKind.CONSENT_ENDS,
}
"""Mails about lessons and consents; what is paid or offered is the client's alone."""


def second_guardian_of(rider: Rider) -> SecondGuardian | None:
    """Return a rider's second guardian, if there is one."""
    return SecondGuardian.objects.filter(rider=rider).select_related("person").first()


def signers_of(rider: Rider, *, minor: bool) -> list[Person]:
    """Return who may sign for a rider, the client first."""
    second = second_guardian_of(rider)
    found = [rider.client.person]
    if minor and second is not None:
        found.append(second.person)
    if not minor and rider.person not in found:
        found.append(rider.person)
    return found


def to_be_copied(message: OutboxMessage, today: date) -> list[Person]:
    """Return the second guardians who wish for a copy of a client's mail."""
    if message.kind not in COPIED or message.copy_of_id is not None:
        return []
    wishing = list(
        SecondGuardian.objects.filter(rider__client=message.client_id, gets_mail=True)
        .exclude(person__email="")
        .select_related("person", "rider")
        .order_by("pk")
    )
    if not wishing:
        return []
    about, of_age = _riders_in(message), the_school().of_age_years
    return list(
        dict.fromkeys(
            one.person
            for one in wishing
            if one.rider_id in about and is_minor(one.rider.born_date, today, of_age)
        )
    )


def _riders_in(message: OutboxMessage) -> set[int]:
    """Return the client's riders that a mail is about."""
    if message.kind == MessageKind.CONSENT_ENDS:
        return set(message.told.get("riders", ()))
    rides = Ride.objects.filter(rider__client=message.client_id)
    invitation = message.invitation
    if message.day is not None:
        rides = rides.filter(lesson=message.day.lesson_id)
    elif invitation is not None and invitation.series_id is not None:
        rides = rides.filter(lesson__series=invitation.series_id)
    elif invitation is not None:
        rides = rides.filter(lesson=invitation.lesson_id)
    else:
        rides = rides.filter(lesson=message.lesson_id)
    return set(rides.values_list("rider_id", flat=True))


def wishes_copies(person: int, client: int) -> bool:
    """Say whether somebody still wishes for copies of a client's mails."""
    return SecondGuardian.objects.filter(
        person=person, rider__client=client, gets_mail=True
    ).exists()
