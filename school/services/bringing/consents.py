"""Consents and signed levels in a table of riders."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from school.enums import ConsentKind
from school.models import AuditEntry, Consent, Person, Rider
from school.queries.tables import latest_consents
from school.services.audit import snapshot
from school.services.bringing.fates import Hand, Refused
from school.services.consents import LASTS, check_consent, note_consents
from school.services.refusals import UnableToBook
from school.tables.cells import same_name
from school.tables.columns import CONSENTS, Row

Planned = tuple[list[Consent], list[tuple[Consent, date, Person]]]
"""New consents, and known ones with the last day and signer they are to have."""


class Consents:
    """What a table says of consents, held against what is here; written at the end."""

    def __init__(self, hand: Hand, today: date, of_age: int) -> None:
        self.hand, self.today, self.of_age = hand, today, of_age
        self.latest = latest_consents()
        self.new: list[Consent] = []
        self.changed: list[tuple[Consent, dict[str, Any]]] = []

    def plan(self, row: Row, rider: Rider, signers: Iterable[Person]) -> Planned:
        """Return what a row says anew of a rider's consents, or refuse the row."""
        people = {same_name(str(one)): one for one in signers}
        new: list[Consent] = []
        changed: list[tuple[Consent, date, Person]] = []
        for kind, title in CONSENTS.items():
            given = {
                key: row.values[f"{kind}_{key}"]
                for key in ("until", "from", "by")
                if f"{kind}_{key}" in row.values
            }
            known = self.latest.get((rider.pk, kind)) if rider.pk else None
            if not given or (known and _says(known, given)):
                continue
            wanted = self._wanted(title, rider, known, given, people)
            if known and known.given_date == wanted.given_date:
                changed.append((known, wanted.expires_date, wanted.given_by))
            else:
                wanted.kind, wanted.name = kind, ConsentKind(kind).label
                new.append(wanted)
        return new, changed

    def _wanted(
        self,
        title: str,
        rider: Rider,
        known: Consent | None,
        given: dict[str, Any],
        people: dict[str, Person],
    ) -> Consent:
        """Return the consent that a row speaks of, or refuse it."""
        if known is not None and known.withdrawn_date is not None:
            if given.get("from", known.given_date) <= known.withdrawn_date:
                raise Refused(
                    f"{title} was withdrawn on {known.withdrawn_date.isoformat()}; say "
                    "from which later day it is given again."
                )
            known = None
        last = given.get("until") or (known and known.expires_date)
        if last is None and "from" not in given:
            raise Refused(f"{title}: say until when it is given.")
        first = given.get("from") or (known.given_date if known else self.today)
        signer = known.given_by if known else next(iter(people.values()))
        if "by" in given and same_name(given["by"]) != same_name(str(signer)):
            if same_name(given["by"]) not in people:
                names = " or ".join(str(one) for one in people.values())
                raise Refused(
                    f"{title}: {given['by']} can't sign it for "
                    f"{rider.person.first_name}; {names} can."
                )
            signer = people[same_name(given["by"])]
        last = last or first + LASTS
        try:
            check_consent(
                rider, signer, (first, last), today=self.today, of_age=self.of_age
            )
        except UnableToBook as error:
            raise Refused(f"{title}: {error.says}") from None
        return Consent(
            rider=rider, given_by=signer, given_date=first, expires_date=last
        )

    def keep(self, planned: Planned) -> list[str]:
        """Note what was planned, to be written; return each change in words."""
        said = []
        new, changed = planned
        for consent, last, signer in changed:
            before = snapshot(consent)
            consent.expires_date, consent.given_by = last, signer
            self.changed.append((consent, before))
            said.append(_in_words(consent))
        for consent in new:
            self.new.append(consent)
            said.append(_in_words(consent))
        return said

    def write(self) -> list[AuditEntry]:
        """Write what was noted; return its audit."""
        return note_consents(
            new=self.new, changed=self.changed, by=self.hand.by, now=self.hand.now
        )


def _says(known: Consent, given: dict[str, Any]) -> bool:
    """Say whether a row speaks of a consent as it is here."""
    if known.withdrawn_date is not None:
        return False
    mine = {
        "until": known.expires_date,
        "from": known.given_date,
        "by": same_name(str(known.given_by)),
    }
    if "by" in given:
        given = given | {"by": same_name(given["by"])}
    return all(mine[key] == value for key, value in given.items())


def _in_words(consent: Consent) -> str:
    return (
        f"{consent.name} {consent.given_date.isoformat()} to "
        f"{consent.expires_date.isoformat()}, signed by {consent.given_by}"
    )


def check_level_signed(row: Row, rider: Rider | None) -> None:
    """Refuse a signature of a level that is not here: only an instructor signs."""
    signed_by, signed_on = (
        row.values.get(key) for key in ("level_signed_by", "level_signed_date")
    )
    if signed_by is None and signed_on is None:
        return
    here_by = rider.level_signed_by if rider else None
    same_by = signed_by is None or (
        here_by is not None and same_name(str(signed_by)) == same_name(str(here_by))
    )
    same_on = signed_on is None or (rider and rider.level_signed_date == signed_on)
    if not (same_by and same_on):
        raise Refused(
            "A level is signed by an instructor on the rider's page, not by a file: "
            "leave Level signed by and Level signed on empty."
        )
