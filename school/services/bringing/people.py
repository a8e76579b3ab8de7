"""Riders from a table, each with who is written to: themselves, or a guardian."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Model

from school.models import AuditEntry, Client, Person, Rider, SecondGuardian
from school.queries.riders import is_minor
from school.queries.schools import the_school
from school.services.audit import entry_of, snapshot
from school.services.bringing.consents import Consents, check_level_signed
from school.services.bringing.fates import (
    CHANGED,
    NEW,
    SAME,
    Fate,
    Hand,
    Known,
    Refused,
    as_one_name,
    changes_of,
    check_faults,
    check_needed,
    judged,
    write_down,
)
from school.tables.cells import same_name
from school.tables.columns import REFERENCE, Kind, Row

_PERSON = {key: key for key in ("first_name", "last_name", "email", "phone")}
_RIDER = {
    key: key
    for key in (
        "born_date", "height_cm", "weight_kg", "level", "highest_fence_cm", "health",
        "emergency_name", "emergency_phone",
    )
}  # fmt: skip
_GUARDIAN = {f"guardian_{key}": key for key in _PERSON}
_GUARDIANS_REACH = {key: _GUARDIAN[key] for key in ("guardian_email", "guardian_phone")}
_REACH = {"email": "email", "phone": "phone"}
_CLIENT = {"language": "language"}


def bring_people(rows: Sequence[Row], hand: Hand) -> list[Fate]:
    """Bring in the rows that can be; the caller's transaction decides whether to stay.

    A rider is found by the school's own reference, else by name and birth date. A
    guardian is a client with that mail address, else of that name. Queries do not
    grow with the rows.
    """
    bringing = _People(hand)
    fates = [bringing.fate(row) for row in rows]
    bringing.write()
    return fates


class _People:
    def __init__(self, hand: Hand) -> None:
        self.hand = hand
        school = the_school()
        self.today = hand.now.astimezone(ZoneInfo(school.zone)).date()
        self.of_age = school.of_age_years
        self.consents = Consents(hand, self.today, self.of_age)
        self.known = Known.of("rider")
        self.by_mail: dict[str, list[Client]] = {}
        self.clients: dict[str, list[Client]] = {}
        clients = {
            one.pk: one
            for one in Client.objects.select_related("person").order_by("pk")
        }
        for client in clients.values():
            self._note(client)
        self.here: dict[int, Rider] = {}
        self.by_name: dict[str, list[Rider]] = {}
        riders = Rider.objects.select_related("person", "level_signed_by__person")
        for rider in riders.order_by("pk"):
            # One object for a person, however it is reached: what one row says of
            # them, the next one sees.
            rider.client = clients[rider.client_id]
            if rider.pk in clients:
                rider.person = clients[rider.pk].person
            self.here[rider.pk] = rider
            self.by_name.setdefault(_name_of(rider.person), []).append(rider)
        self.riding = set(self.here)
        seconds = SecondGuardian.objects.select_related("person")
        self.seconds = {one.rider_id: one.person for one in seconds}
        self.persons: list[Person] = []
        self.new_clients: list[Client] = []
        self.riders: list[Rider] = []
        self.before: dict[tuple[type[Model], int], tuple[Model, dict[str, Any]]] = {}
        self.said: dict[tuple[int, str], tuple[object, int]] = {}

    def _note(self, client: Client) -> None:
        self.clients.setdefault(_name_of(client.person), []).append(client)
        if client.person.email:
            mail = same_name(client.person.email)
            self.by_mail.setdefault(mail, []).append(client)

    def fate(self, row: Row) -> Fate:
        return judged(row, self._fate)

    def _fate(self, row: Row) -> Fate:
        check_faults(row)
        born = row.values.get("born_date")
        if isinstance(born, date) and not date(1900, 1, 1) <= born <= self.today:
            raise Refused(f"Born {born.isoformat()} can't be right for a rider.")
        rider = self._find(row)
        return self._add(row) if rider is None else self._change(row, rider)

    def _find(self, row: Row) -> Rider | None:
        key = self.known.key_by_reference(row)
        if key is not None:
            if key not in self.here:
                raise Refused(
                    f"There is no rider {row.values[REFERENCE]} here. Leave the "
                    "reference empty for a new one."
                )
            return self.here[key]
        name = as_one_name(
            row.values.get("first_name", ""), row.values.get("last_name", "")
        )
        born = row.values.get("born_date")
        found = [
            one
            for one in self.by_name.get(name, [])
            if born is None or one.born_date == born
        ]
        if len(found) > 1:
            raise Refused(
                f"{len(found)} riders have this name. Say which by the reference that "
                "the written file has."
            )
        return found[0] if found else None

    def _add(self, row: Row) -> Fate:
        check_needed(Kind.PEOPLE, row)
        check_level_signed(row, None)
        values = row.values
        reference = self.known.new_reference(row, None, "")
        name = as_one_name(values["first_name"], values.get("last_name", ""))
        marks: list[object] = [(name, values["born_date"])]
        if reference:
            marks.append(("reference", reference))
        self._check_consents(row)
        guardian = self._guardian(row)
        self.known.once(row, *marks)
        own = _fields(values, _PERSON)
        client = guardian or self._client_of(own)
        person = client.person if client and not guardian else Person(**own)
        if client is None:
            client = self._new_client(Client(person=person), values)
        elif guardian is None:
            self.riding.add(client.pk or id(client))
            self._tell_of(row, client, {**_REACH, **_CLIENT})
        else:
            self.persons.append(person)
        rider = Rider(person=person, client=client, **_fields(values, _RIDER))
        planned = self.consents.plan(row, rider, self._signers(rider))
        said = self.consents.keep(planned)
        self.riders.append(rider)
        self.known.refer(reference, rider)
        if guardian:
            said.insert(0, f"for {guardian.person}")
        return Fate(row.number, NEW, "; ".join(said))

    def _check_consents(self, row: Row) -> None:
        """Refuse a new rider's consents before anything is noted of the row."""
        said = _fields(row.values, _GUARDIAN)
        person = Person(**_fields(row.values, _PERSON))
        guardian = Person(**said) if said else person
        if said and "first_name" not in said:
            known = self.by_mail.get(same_name(str(said.get("email", ""))), [])
            guardian = known[0].person if known else guardian
        client = Client(person=guardian)
        rider = Rider(
            person=person,
            client=client,
            **_fields(row.values, {"born_date": "born_date"}),
        )
        self.consents.plan(row, rider, self._signers(rider))

    def _signers(self, rider: Rider) -> list[Person]:
        """Return who may sign for a rider, the first of whom is meant unless said."""
        signers = [rider.client.person]
        if rider.pk in self.seconds:
            signers.append(self.seconds[rider.pk])
        if not is_minor(rider.born_date, self.today, self.of_age):
            signers.append(rider.person)
        return signers

    def _new_client(self, client: Client, values: Any) -> Client:
        client.language = values.get("language", client.language)
        self.persons.append(client.person)
        self.new_clients.append(client)
        self._note(client)
        return client

    def _client_of(self, own: dict[str, Any]) -> Client | None:
        """Return the client this rider is already: same name, same mail address."""
        mail = same_name(str(own.get("email", "")))
        name = as_one_name(own["first_name"], own.get("last_name", ""))
        for client in self.by_mail.get(mail, []):
            free = (client.pk or id(client)) not in self.riding
            if free and _name_of(client.person) == name:
                return client
        return None

    def _guardian(self, row: Row) -> Client | None:
        """Return the row's guardian, known or new; None where it names none."""
        said = _fields(row.values, _GUARDIAN)
        if not said:
            self._check_of_age(row)
            return None
        name = as_one_name(said.get("first_name", ""), said.get("last_name", ""))
        mail = same_name(str(said.get("email", "")))
        found = self.by_mail.get(mail, []) if mail else []
        if name:
            found = [one for one in found if _name_of(one.person) == name] or (
                [] if mail and found else self.clients.get(name, [])
            )
        if len(found) > 1:
            raise Refused(
                "Several clients have the guardian's name. Say which by the mail "
                "address."
            )
        if found:
            self._tell_of(row, found[0], {**_GUARDIANS_REACH, **_CLIENT})
            return found[0]
        if "first_name" not in said:
            raise Refused("The guardian has no first name, and no client is known by "
                          "that mail address.")  # fmt: skip
        client = self._new_client(Client(person=Person(**said)), row.values)
        self._check_agrees(row, client, {**_GUARDIANS_REACH, **_CLIENT})
        return client

    def _tell_of(self, row: Row, client: Client, names: dict[str, str]) -> list[str]:
        """Set what a row says of a client who is here, or is new by an earlier row."""
        self._check_agrees(row, client, names)
        reach = {key: name for key, name in names.items() if key not in _CLIENT}
        said = self._set(client.person, row.values, reach)
        return said + self._set(client, row.values, _CLIENT)

    def _check_of_age(self, row: Row) -> None:
        born = row.values["born_date"]
        assert isinstance(born, date)  # noqa: S101 -- needed, so it is there
        if is_minor(born, self.today, self.of_age):
            raise Refused(
                f"Under {self.of_age}: name a guardian, who books and is written to."
            )

    def _change(self, row: Row, rider: Rider) -> Fate:
        client, values = rider.client, row.values
        reference = self.known.new_reference(row, rider.pk, str(rider.person))
        self._check_guardian(row, rider)
        check_level_signed(row, rider)
        own = client.pk == rider.pk
        planned = self.consents.plan(row, rider, self._signers(rider))
        self.known.once(row, rider.pk)
        said = self._tell_of(
            row, client, {**({} if own else _GUARDIANS_REACH), **_CLIENT}
        )
        said += self._set(rider.person, values, _PERSON)
        said += self._set(rider, values, _RIDER)
        said += self.consents.keep(planned)
        if any(one.startswith("Level ") for one in said):
            # A level that a file says is no instructor's word.
            rider.level_signed_by = rider.level_signed_date = None
        self.known.refer(reference, rider)
        if reference:
            said.append(f"reference {reference}")
        return Fate(row.number, CHANGED if said else SAME, "; ".join(said))

    def _check_guardian(self, row: Row, rider: Rider) -> None:
        said = _fields(row.values, _GUARDIAN)
        own, guardian = rider.client_id == rider.pk, rider.client.person
        first = said.get("first_name", guardian.first_name)
        last = said.get("last_name", guardian.last_name)
        if said and (own or as_one_name(first, last) != _name_of(guardian)):
            here = "nobody" if own else str(guardian)
            raise Refused(
                f"The guardian is {here} here. A file does not give a rider another "
                "one: leave the guardian's cells empty."
            )

    def _check_agrees(self, row: Row, client: Client, names: dict[str, str]) -> None:
        """Refuse a row that says of a shared guardian what another row denies."""
        for key in names:
            if key not in row.values:
                continue
            value, number = self.said.setdefault(
                (client.pk or id(client), key), (row.values[key], row.number)
            )
            if value != row.values[key]:
                raise Refused(
                    f"Row {number} says otherwise of the same client: {value}. Make "
                    "the two agree."
                )

    def _set(self, thing: Model, values: Any, names: dict[str, str]) -> list[str]:
        before = snapshot(thing)
        said = changes_of(Kind.PEOPLE, thing, values, names)
        if said and thing.pk is not None:
            self.before.setdefault((type(thing), thing.pk), (thing, before))
        return said

    def write(self) -> None:
        Person.objects.bulk_create(self.persons, batch_size=200)
        Client.objects.bulk_create(self.new_clients, batch_size=200)
        Rider.objects.bulk_create(self.riders, batch_size=200)
        signed = ["level_signed_by", "level_signed_date"]
        for model, fields in (
            (Person, list(_PERSON)),
            (Client, list(_CLIENT)),
            (Rider, [*_RIDER, *signed]),
        ):
            things: list[Any] = [
                one for (kind, _), (one, _) in self.before.items() if kind is model
            ]
            if things:
                model._default_manager.bulk_update(things, fields, batch_size=50)
        write_down([*self._entries(), *self.consents.write()], self.known)

    def _entries(self) -> list[AuditEntry]:
        by, at = self.hand.by, self.hand.now
        new: list[Model] = [*self.new_clients, *self.riders]
        return [
            entry_of(by=by, at=at, action="bring in", subject=one, after=snapshot(one))
            for one in new
        ] + [
            entry_of(
                by=by, at=at, action="bring in", subject=one, before=before,
                after=snapshot(one),
            )
            for one, before in self.before.values()
        ]  # fmt: skip


def _name_of(person: Person) -> str:
    return as_one_name(person.first_name, person.last_name)


def _fields(values: Any, names: dict[str, str]) -> dict[str, Any]:
    return {name: values[key] for key, name in names.items() if key in values}
