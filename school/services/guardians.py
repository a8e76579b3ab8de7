"""A minor's second guardian: named, changed, taken off."""

from datetime import datetime
from typing import Any, TypedDict

from django.db import transaction

from school.models import Account, Consent, Person, Rider, SecondGuardian
from school.queries.guardians import second_guardian_of
from school.queries.riders import is_minor
from school.queries.schools import local_day, the_school
from school.services.audit import record, snapshot
from school.services.refusals import UnableToBook
from school.tables.cells import same_name


class Guardian(TypedDict):
    """What is noted of a second guardian."""

    first_name: str
    last_name: str
    relation: str
    phone: str
    email: str
    gets_mail: bool


_PERSON = ("first_name", "last_name", "phone", "email")


def set_second_guardian(
    *, rider: Rider, guardian: Guardian, by: Account, now: datetime
) -> SecondGuardian:
    """Name a minor's second guardian, or change what is noted; twice is harmless.

    Named for a sister or brother already, by the same name, they are one person.

    Raises
    ------
    UnableToBook
        For a rider of age or without a first guardian, for the first one again, and
        for mails without an address.
    """
    with transaction.atomic():
        fresh = (
            Rider.objects.select_for_update(of=("self",))
            .select_related("person", "client__person")
            .get(pk=rider.pk)
        )
        _check(fresh, guardian, now)
        known = second_guardian_of(fresh)
        before = None if known is None else _plain(known)
        person = _person(fresh, known, guardian)
        for name in _PERSON:
            setattr(person, name, guardian[name].strip())  # type: ignore[literal-required]
        person.save()
        one = known or SecondGuardian(rider=fresh)
        old, one.person = (known.person_id if known else None), person
        one.relation = guardian["relation"].strip()[:40]
        one.gets_mail = guardian["gets_mail"]
        one.save()
        if old is not None and old != person.pk:
            _forget(old)
        after = _plain(one)
        if after != before:
            record(
                by=by, at=now, action="second guardian", subject=one, before=before,
                after=after,
            )  # fmt: skip
        return one


def end_second_guardian(*, rider: Rider, by: Account, now: datetime) -> None:
    """Take a second guardian off; what they signed stays. Twice is harmless."""
    with transaction.atomic():
        Rider.objects.select_for_update(of=("self",)).get(pk=rider.pk)
        one = second_guardian_of(rider)
        if one is None:
            return
        record(
            by=by, at=now, action="end second guardian", subject=one,
            before=_plain(one),
        )  # fmt: skip
        person = one.person_id
        one.delete()
        _forget(person)


def _check(rider: Rider, guardian: Guardian, now: datetime) -> None:
    first, of_age = rider.client.person, the_school().of_age_years
    name = rider.person.first_name
    if not is_minor(rider.born_date, local_day(now), of_age):
        raise UnableToBook("of-age", f"{name} is of age and has no guardian.")
    if rider.client_id == rider.pk:
        raise UnableToBook("no-guardian", f"{name} has no first guardian here.")
    if not guardian["first_name"].strip() or not guardian["relation"].strip():
        raise UnableToBook(
            "name", "Give the guardian's name, and what they are to the rider."
        )
    theirs = same_name(f"{guardian['first_name']} {guardian['last_name']}")
    if theirs in {same_name(str(first)), same_name(str(rider.person))}:
        raise UnableToBook(
            "same", f"{first} is {name}'s guardian already: name another one."
        )
    if guardian["gets_mail"] and not guardian["email"].strip():
        raise UnableToBook(
            "mail", "Give the mail address to which copies go.", field="email"
        )


def _person(rider: Rider, known: SecondGuardian | None, guardian: Guardian) -> Person:
    """Return who is meant: the one noted, a sister's or brother's, or a new one."""
    name = same_name(f"{guardian['first_name']} {guardian['last_name']}")
    siblings = SecondGuardian.objects.filter(rider__client=rider.client_id)
    for one in siblings.exclude(pk=rider.pk).select_related("person").order_by("pk"):
        if same_name(str(one.person)) == name:
            return one.person
    if known is None:
        return Person()
    alone = not siblings.exclude(pk=rider.pk).filter(person=known.person_id).exists()
    signed = Consent.objects.filter(given_by=known.person_id).exists()
    # Who has signed, or is a brother's guardian too, does not become somebody else.
    same = same_name(str(known.person)) == name
    return known.person if same or (alone and not signed) else Person()


def _forget(person: int) -> None:
    """Delete a person of whom nothing else is kept."""
    if SecondGuardian.objects.filter(person=person).exists():
        return
    if not Consent.objects.filter(given_by=person).exists():
        Person.objects.filter(
            pk=person, client=None, rider=None, instructor=None, groundsperson=None,
            account=None, messages_copied=None,
        ).delete()  # fmt: skip


def _plain(one: SecondGuardian) -> dict[str, Any]:
    person = {name: getattr(one.person, name) for name in _PERSON}
    return snapshot(one) | person
